"""What was undone at benches: each act once, by opposite movements of all that it moved."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from django.db.models import F, QuerySet

from kitting.domain.stages import MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import composed, rows
from kitting.models import Movement, Operation
from kitting.packing.queries.undo import CAN_BE_UNDONE, OPPOSITE, UNDO

MOVEMENT = Movement._meta.db_table
OPERATION = Operation._meta.db_table


def undone(tally: Tally) -> None:
    """Every undo names an earlier act of its bench, once, and corrects what that moved.

    Args:
        tally: Where acts are counted and faults noted.
    """
    [acts] = _acts()
    seen: set[int] = set()
    for pk, bench, seq, outcome in rows(acts):
        tally.count += 1
        of = _of(outcome)
        earlier = Operation.objects.filter(
            pk=of or 0, bench=bench, link__seq__lt=seq, name__in=CAN_BE_UNDONE
        )
        if of in seen or not earlier.exists():
            words = "It undoes what is no earlier act of its bench, or twice."
            tally.add(OPERATION, pk, words, "an act that stands", of or "none")
        seen.add(of or 0)
        _corrected(tally, pk, of or 0)


@composed
def _acts() -> Iterator[QuerySet[Any, Any]]:
    acts = Operation.objects.filter(name=UNDO, link__isnull=False).order_by("pk")
    yield acts.values_list("pk", "bench_id", "link__seq", "link__outcome")


def _of(outcome: str) -> int | None:
    try:
        return int(json.loads(outcome)["of"])
    except (ValueError, KeyError, TypeError):
        return None


def _corrected(tally: Tally, pk: int, of: int) -> None:
    """A bag goes back to its place only where that is there still; pieces always do."""
    moved = Movement.objects.filter(operation=of).order_by("pk")
    moved = moved.exclude(kind=MovementKind.PLACED)
    back = Movement.objects.filter(operation=pk).order_by("corrects_id", "pk")
    for row in back.exclude(corrects__operation=of, corrects__bag=F("bag")):
        words = "It corrects nothing of what the act moved that it undoes."
        tally.add(MOVEMENT, row.pk, words, "a movement of that act", row.corrects_id)
    key = ("bag_id", "box_id", "run_id", "pieces", "delta")
    wanted = [
        (OPPOSITE.get(MovementKind(kind), kind), *what, -delta)
        for kind, *what, delta in rows(moved.values_list("kind", *key))
    ]
    pieces = back.exclude(kind=MovementKind.PLACED)
    found = [(kind, *what) for kind, *what in rows(pieces.values_list("kind", *key))]
    if wanted != found:
        words = f"Operation {pk} does not put back what operation {of} moved."
        tally.add(MOVEMENT, None, words, wanted, found)


register(("undone", "acts", undone))
