"""A database full of boxes: three years as ``manage.py volume`` writes them."""

from __future__ import annotations

from dataclasses import dataclass

from benchmarks.measure import Row, seconds
from kitting.models import Lot
from lotward.volume import history

SEED = 1


@dataclass(frozen=True)
class Filled:
    """What was filled, and how long that took."""

    boxes: int
    lot: Lot
    """A headband's, of the middle of the history."""
    rows: list[Row]


def fill(*, boxes: int) -> Filled:
    """Fill the database with so many boxes."""
    taken = seconds(lambda: history.write(boxes, SEED, None))
    lots = Lot.objects.filter(part__code="HB", box_lines__isnull=False)
    ordered = list(lots.distinct().order_by("pk"))
    per_second = f"{boxes / taken:,.0f} boxes a second"
    return Filled(
        boxes,
        ordered[len(ordered) // 2],
        [Row(f"filling with {boxes:,} boxes", f"{taken:,.1f} s", per_second)],
    )
