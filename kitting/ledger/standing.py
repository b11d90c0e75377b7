"""The holds that stand, and which of them reach a thing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kitting.ledger.reach import held_boxes, reach_of
from kitting.models import Bag, Box, BoxLine, Hold, Lot, Run
from kitting.models.holds import TARGETS

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from django.db.models import Model

    from kitting.ledger.reach import Reach


@dataclass(frozen=True)
class Standing:
    """A hold that nobody has lifted, as a page shows it."""

    hold_id: int
    on: str
    """What it was placed on, in words."""
    reason: str
    by: str
    at: datetime


def standing_on(row: Model, *, boxes: Collection[int] = ()) -> list[Standing]:
    """The standing holds that reach a thing, oldest first.

    Args:
        row: A lot, bag, run or box; of anything else only its boxes count.
        boxes: Ids of the boxes in it, for a shipment.

    Returns:
        The holds.
    """
    holds = (
        Hold.objects.filter(lift__isnull=True)
        .select_related("operation", *(name for name in TARGETS if name != "source"))
        .order_by("pk")
    )
    return [_shown(hold) for hold in holds if _reaches(reach_of([hold]), row, boxes)]


def all_standing() -> list[Standing]:
    """Every hold that nobody has lifted, oldest first.

    Returns:
        The holds.
    """
    names = [name for name in TARGETS if name != "source"]
    holds = Hold.objects.filter(lift__isnull=True)
    return [
        _shown(hold)
        for hold in holds.select_related("operation", *names).order_by("pk")
    ]


def _reaches(reach: Reach, row: Model, boxes: Collection[int]) -> bool:
    if isinstance(row, Lot):
        return row.pk in reach.lots
    if isinstance(row, Bag):
        return reach.bag(row)
    if isinstance(row, Run):
        return row.pk in reach.runs
    if isinstance(row, Box):
        lines = BoxLine.objects.filter(box=row)
        return row.pk in reach.boxes or any(reach.line(line) for line in lines)
    return bool(boxes) and not held_boxes(reach).isdisjoint(boxes)


def _shown(hold: Hold) -> Standing:
    target = next(name for name in TARGETS if getattr(hold, name) is not None)
    return Standing(
        hold_id=hold.pk,
        on=f"{target} {getattr(hold, target)}",
        reason=hold.reason,
        by=hold.operation.by_name,
        at=hold.operation.at,
    )
