"""Boxes that came to nothing: no mixed pieces went back, no label stayed in use."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from kitting.domain.prints import DESTROYED, SCANNED
from kitting.domain.stages import BoxStage, MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import (
    Row,
    composed,
    grouped,
    how_many,
    rows,
    side_by_side,
)
from kitting.models import BoxEvent, Movement, Print

EVENT = BoxEvent._meta.db_table
MOVEMENT = Movement._meta.db_table


def unmixed(tally: Tally) -> None:
    """Of a cancelled box, lots of one part went back only if they could be told apart.

    Args:
        tally: Where cancelled boxes are counted and faults noted.
    """
    ends, moves = _came_to_nothing()
    streams = grouped(rows(ends)), grouped(rows(moves))
    for operation, (ended, into) in side_by_side(*streams):
        tally.count += 1
        if ended and not _told_apart(ended[0][0]):
            for part, pieces in _gone_back(into):
                words = (
                    f"Lots of part {part} went back mixed, by operation {operation}."
                )
                tally.add(MOVEMENT, None, words, 0, pieces)


@composed
def _came_to_nothing() -> Iterator[QuerySet[Any, Any]]:
    """What acts cancelled boxes, and what these moved."""
    ends = BoxEvent.objects.filter(before=BoxStage.OPEN, after=BoxStage.VOIDED)
    ends = ends.order_by("operation_id")
    yield ends.values_list("operation_id", "operation__link__outcome")
    kinds = (MovementKind.UNPACKED, MovementKind.SCRAPPED)
    moved = Movement.objects.filter(
        kind__in=kinds, operation__in=ends.values("operation")
    )
    yield moved.order_by("operation_id").values_list(
        *("operation_id", "lot__part_id", "lot_id", "delta")
    )


def _told_apart(outcome: str | None) -> bool:
    try:
        return json.loads(outcome or "")["apart"] is True
    except (ValueError, KeyError, TypeError):
        return False


def _gone_back(moves: list[Row]) -> list[tuple[int, int]]:
    """Parts of which several lots lay together, and what of them is in bags again."""
    lots: dict[int, set[int]] = {}
    stayed: dict[int, int] = {}
    for part, lot, delta in moves:
        lots.setdefault(part, set()).add(lot)
        stayed[part] = stayed.get(part, 0) + delta
    return [
        (part, stayed[part]) for part in lots if len(lots[part]) > 1 and stayed[part]
    ]


def labels_back(tally: Tally) -> None:
    """The printed label of a voided box was scanned when it came back, or is destroyed.

    Args:
        tally: Where voided boxes are counted and faults noted.
    """
    ends, unsaid = _voided()
    tally.count += how_many(ends)
    words = "A box was voided, and nobody said what became of its label."
    tally.each(EVENT, unsaid, words, "scanned or destroyed", "nothing")


@composed
def _voided() -> Iterator[QuerySet[Any, Any]]:
    """Ends of boxes that were closed, and those with a label that is still about."""
    ends = BoxEvent.objects.filter(after=BoxStage.VOIDED).exclude(before=BoxStage.OPEN)
    yield ends.order_by().values_list("pk")
    printed = Print.objects.filter(box=OuterRef("box"))
    stays = ends.filter(Exists(printed)).exclude(label__in=(SCANNED, DESTROYED))
    yield stays.order_by("pk").values_list("pk")


register(
    ("cancelled boxes", "boxes", unmixed, BoxEvent),
    ("voided labels", "boxes", labels_back, BoxEvent),
)
