"""The holds that stand, and which of them reach a thing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Model, QuerySet

from kitting.ledger.reach import Reach, fold, holds_on_boxes
from kitting.models import Bag, Box, Hold, Lot, Run
from kitting.models.holds import TARGETS


@dataclass(frozen=True)
class Standing:
    """A hold that nobody has lifted, as a page shows it."""

    hold_id: int
    on: str
    """What it was placed on, in words."""
    reason: str
    by: str
    at: datetime
    case: str = ""
    """The number of the case that it belongs to, where whoever shows it says so."""


def told_holds() -> QuerySet[Hold]:
    """Every hold that nobody has lifted, with what a page tells of it, oldest first.

    Returns:
        The holds, each with its act and what it stands on.
    """
    names = [name for name in TARGETS if name != "source"]
    standing = Hold.objects.filter(lift__isnull=True).order_by("pk")
    return standing.select_related("operation", *names)


def target_of(hold: Hold) -> str:
    """What a hold was placed on, in words.

    Args:
        hold: The hold.

    Returns:
        The kind of thing and its name.
    """
    target = next(name for name in TARGETS if getattr(hold, name) is not None)
    return f"{target} {getattr(hold, target)}"


def key_of(hold: Hold) -> tuple[str, int | str]:
    """What a hold was placed on, so that two on the same thing have the same.

    Args:
        hold: The hold.

    Returns:
        The kind of thing, and its id or the name of a source as holds compare it.
    """
    if hold.source is not None:
        return "source", fold(hold.source)
    ids = ((name, getattr(hold, f"{name}_id")) for name in TARGETS if name != "source")
    return next((name, pk) for name, pk in ids if pk is not None)


def shown(holds: Iterable[Hold]) -> list[Standing]:
    """Holds as a page shows them, oldest first.

    Args:
        holds: Some of ``told_holds``.

    Returns:
        The same holds.
    """
    return [
        Standing(
            hold_id=hold.pk,
            on=target_of(hold),
            reason=hold.reason,
            by=hold.operation.by_name,
            at=hold.operation.at,
        )
        for hold in sorted(holds, key=lambda hold: hold.pk)
    ]


def standing_on(
    row: Model | None, reach: Reach, *, boxes: Iterable[int] = ()
) -> set[Hold]:
    """The standing holds that reach a thing.

    Args:
        row: A lot, bag, run or box; of anything else only its boxes count.
        reach: What ``told_holds`` reach.
        boxes: Ids of the boxes in it, for a shipment.

    Returns:
        The holds.
    """
    if isinstance(row, Lot | Bag | Run):
        return set(reach.on(row))
    if isinstance(row, Box):
        boxes = [row.pk]
    held = holds_on_boxes(boxes, reach) if reach else {}
    return {hold for holds in held.values() for hold in holds}
