"""Holds: nothing was packed, closed or labelled while one of them stopped the box."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import Case, F, Q, QuerySet, Value, When

from kitting.domain.stages import BoxStage, MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import batched, composed, grouped, rows
from kitting.models import Box, BoxEvent, Hold, Movement

BOX = Box._meta.db_table
_STOPPED_BY = {
    "box": "box",
    "bag": "bag",
    "lot": "lot",
    "run": "run",
    "revision": "lot__revision",
    "method": "lot__method",
}
"""What a hold may stand on, and the column by which pieces in a box are of it."""


def packed_while_held(tally: Tally) -> None:
    """Nothing went into a box, and none was closed or labelled, while it was held.

    It was held while a hold stood on the box, or on what pieces in it were of.

    Args:
        tally: Where holds are counted and faults noted.
    """
    for (name, column), stood in zip(_STOPPED_BY.items(), _stood(), strict=True):
        for target, since, until in rows(stood):
            tally.count += 1
            of = Q(**{column: target})
            packed = Movement.objects.filter(of, kind=MovementKind.PACKED)
            boxes = packed.order_by("box").values_list("box", flat=True).distinct()
            for some in batched(boxes):
                for box, seq in _acts_while_held(some, of, whole=name == "box"):
                    if (since or 0) < seq and (until is None or seq < until):
                        words = "It was packed, closed or labelled while it was held."
                        tally.add(BOX, box, words, "nothing done", f"link {seq}")


@composed
def _stood() -> Iterator[QuerySet[Any, Any]]:
    """What was held, and from which link to which, by what a hold may stand on."""
    for name in _STOPPED_BY:
        stood = Hold.objects.filter(**{f"{name}__isnull": False}).order_by("pk")
        told = ("operation__link__seq", "lift__operation__link__seq")
        yield stood.values_list(name, *told)


def _acts_while_held(
    boxes: list[int], of: Q, *, whole: bool
) -> Iterator[tuple[int, int]]:
    """The boxes and links of acts after which something was in the box of such pieces.

    Args:
        boxes: Ids of boxes.
        of: Which movements are of what is held.
        whole: Whether a box is held even while nothing is in it.

    Yields:
        The acts that packed into a box, closed or labelled it.
    """
    moved = Movement.objects.filter(
        box__in=boxes, kind__in=(MovementKind.PACKED, MovementKind.UNPACKED)
    )
    held = Case(When(of, then=F("delta")), default=0)
    # A box that is taken off a shipment is a labelled one again.
    steps = Q(before=BoxStage.OPEN, after=BoxStage.CLOSED)
    steps |= Q(before=BoxStage.CLOSED, after=BoxStage.LABELLED)
    acts = BoxEvent.objects.filter(steps, box__in=boxes)
    at = ("box", "operation__link__seq")
    done = [
        *moved.order_by().values_list(*at, "delta", held),
        *acts.order_by().values_list(*at, Value(-1), Value(0)),
    ]
    done = sorted((box, seq or 0, *what) for box, seq, *what in done)
    for box, all_of_it in grouped(done):
        inside = 0
        for seq, changes in grouped(all_of_it):
            inside -= sum(delta for _all, delta in changes)
            if (whole or inside > 0) and min(changes)[0] < 0:
                yield box, seq


register(("box holds", "holds", packed_while_held, Hold))
