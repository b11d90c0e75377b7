"""What benches said of bags that held other pieces than on record."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from kitting.models import Count
from kitting.packing.queries.undo import not_undone

MOST_COUNTS = 50
"""Bags that are named."""
ACTS = ("miss_pieces", "find_pieces")
"""The acts by which benches count."""
MOST_BOXES = 20
"""Boxes that are named one by one."""


@dataclass(frozen=True)
class Miscount:
    """A bag that held other pieces than on record."""

    bag: str
    part: str
    at: datetime
    missing: int
    """Below 0 for what was found."""
    boxes: list[str]
    """The newest that were filled from it: their counts may be wrong, too."""

    @property
    def found(self) -> int:
        """Pieces that were found, below 0 for what was missing."""
        return -self.missing


def said_at_benches() -> QuerySet[Count]:
    """Give the counts by which benches said that a bag was miscounted.

    What they undid is not among them.
    """
    return not_undone(Count.objects.filter(operation__name__in=ACTS))


def miscounts(among: Collection[str] | None = None) -> list[Miscount]:
    """Give the bags that benches said to be miscounted.

    Args:
        among: Numbers of the bags that matter; None for all.

    Returns:
        The newest first; of very many the newest.
    """
    newest = said_at_benches()
    if among is not None:
        newest = newest.filter(bag__number__in=among)
    said = Count.objects.filter(
        pk__in=newest.order_by("-pk")[:MOST_COUNTS].values("pk")
    )
    box = Coalesce("bag__box_lines__box__serial", "bag__box_lines__box__number")
    rows: dict[int, Count] = {}
    filled: dict[int, dict[str, None]] = {}
    for row in (
        said.select_related("bag__lot__part", "operation")
        .annotate(box=box)
        .order_by("-pk", "bag__box_lines__box")
    ):
        rows[row.pk] = row
        boxes = filled.setdefault(row.pk, {})
        if row.box:
            boxes[row.box] = None
    return [
        Miscount(
            bag=row.bag.number,
            part=row.bag.lot.part.name,
            at=row.operation.at,
            missing=row.before - row.counted,
            boxes=[*filled[pk]][-MOST_BOXES:],
        )
        for pk, row in rows.items()
    ]
