"""What others change of a bench's screen: its box, holds, its open bags, the plan."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db.models import Value

from kitting.ledger.reach import standing_holds
from kitting.models import AllowedMass, Bench, Box, Hold, OpenBag
from kitting.models.boxes import IN_WORK
from kitting.packing.queries.plan import (
    mark_of_plan,
    packed_on,
    still_to_pack,
    wanted_on,
)
from kitting.packing.queries.weighing import Reading, allowed_now, reading_of

PLAN: Final = "~"
"""Begins what a screen saw of the plan, where it shows one."""
WEIGHS: Final = "@"
"""Begins what a screen saw that asks for the mass of a box."""


@dataclass(frozen=True)
class Gone:
    """A bag that was open at the bench until another bench brought it there."""

    part: str
    bag: str
    to: str
    """Name of that bench, where it is open now."""


def gone_from(rows: Iterable[OpenBag], bench: Bench) -> dict[int, Gone]:
    """Name the bags that other benches took, and of whose part none is open here since.

    Args:
        rows: What is open at the bench, or was taken from it.
        bench: The bench.

    Returns:
        By the id of the part.
    """
    rows = list(rows)
    here = {row.part_id for row in rows if row.bench_id == bench.pk}
    return {
        row.part_id: Gone(row.bag.lot.part.name, row.bag.number, row.bench.name)
        for row in rows
        if row.part_id not in here
    }


def mark_of(standing: Sequence[Hold], bags: Iterable[int], box: int = 0) -> str:
    """What a screen saw: it is another as soon as any of it changes.

    Args:
        standing: All holds that stand, oldest first. Ids only grow, so that as many of
            them with the same newest are the same.
        bags: Ids of the bags that are open at the bench.
        box: Id of its box in work; 0 for none.

    Returns:
        The mark.
    """
    seen = (box, len(standing), standing[-1].pk if standing else 0, *sorted(bags))
    return ".".join(map(str, seen))


def mark_of_choosing(mark: str, to_pack: dict[int, int]) -> str:
    """Add what a screen saw that offers sizes.

    Args:
        mark: The mark without.
        to_pack: Boxes that are still to be packed, by the id of their size.

    Returns:
        The mark.
    """
    return f"{mark}{PLAN}{mark_of_plan(to_pack)}"


def mark_of_weighing(mark: str, allowed: AllowedMass | None, reading: Reading) -> str:
    """Add what a screen saw that asks for the mass of a box.

    Args:
        mark: The mark without.
        allowed: At which mass somebody lets the box close outside of its window.
        reading: What the scale sent of it.

    Returns:
        The mark.
    """
    return f"{mark}{WEIGHS}{allowed.pk if allowed else 0}.{reading}"


def mark_now(bench: Bench, seen: str, today: date, now: datetime) -> str:
    """What a screen would see now.

    Args:
        bench: The bench.
        seen: The mark of its screen, which says whether that shows a plan.
        today: The workshop's day.
        now: The moment.

    Returns:
        Its mark; the same as ``seen`` where nothing has changed.
    """
    bags = OpenBag.objects.filter(bench=bench).annotate(boxes=Value(0))
    boxes = Box.objects.filter(IN_WORK, bench=bench).order_by()
    every = bags.values_list("bag", "boxes").union(
        boxes.annotate(boxes=Value(1)).values_list("pk", "boxes"), all=True
    )
    found = list(every)  # asked at once: an idle screen asks all day
    mark = mark_of(
        standing_holds(),
        (pk for pk, is_box in found if not is_box),
        sum(pk for pk, is_box in found if is_box),
    )
    if WEIGHS in seen:
        box = Box.objects.filter(IN_WORK, bench=bench).first()
        if box is None:
            return mark
        return mark_of_weighing(mark, allowed_now(box), reading_of(box, now))
    if PLAN not in seen:
        return mark
    return mark_of_choosing(mark, still_to_pack(wanted_on(today), packed_on(today)))
