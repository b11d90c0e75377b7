"""The benches that can take an open box, and what goes along with it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Exists, OuterRef

from kitting.ledger.packable import METHOD_OF_BAG, packing_problem
from kitting.ledger.pinned import Pinned, pinned_by
from kitting.ledger.reach import Reach
from kitting.models import Bag, Bench, Box, OpenBag
from kitting.models.boxes import IN_WORK

MOST_FREE = 9
"""Free benches that are offered at once, a digit each; others by their place's label."""


@dataclass(frozen=True)
class Free:
    """A bench that can take the box."""

    bench: Bench
    command: str
    """What a touch sends for it."""
    along: tuple[str, ...]
    """Parts of which the open bag here goes along, as it has none."""


def along(
    pinned: Pinned,
    sets: int,
    bags: Iterable[Bag],
    has: Iterable[int],
    *,
    today: date,
    now: datetime,
    reach: Reach,
) -> list[Bag]:
    """Choose which of a bench's open bags go along with its box.

    Args:
        pinned: What fills the lines of the box's recipe.
        sets: How many sets the box holds: a box of another size has other cartons.
        bags: The open bags, each with lot, part, revision and method.
        has: Ids of the parts of which the other bench has one open.
        today: The workshop's day.
        now: The moment.
        reach: What is held now.

    Returns:
        Those of parts of the box that may be packed, and that the other bench lacks.
    """
    there, needed = set(has), pinned.lines_for(sets)
    return [
        bag
        for bag in bags
        if bag.lot.part_id not in there
        and pinned.line_of(bag.lot.part_id) in needed
        and not pinned.not_pinned(bag)
        and not packing_problem(bag, bag.lot, today=today, now=now, reach=reach)
    ]


def free_benches(bench: Bench, only: Iterable[int] = ()) -> list[Bench]:
    """Benches at which boxes are packed, and that have none in work.

    Args:
        bench: The bench that has a box; it is not among them.
        only: Ids of the benches to look at; none for all.

    Returns:
        In the order of their codes, no more than are offered at once.
    """
    busy = Box.objects.filter(IN_WORK, bench=OuterRef("pk"))
    found = Bench.objects.filter(~Exists(busy), active=True).exclude(pk=bench.pk)
    if only:
        found = found.filter(pk__in=only)
    return list(found.select_related("place").order_by("code")[:MOST_FREE])


def offered(
    bench: Bench,
    box: Box,
    ids: Iterable[str],
    *,
    today: date,
    now: datetime,
    reach: Reach,
) -> list[Free]:
    """Give the benches that a screen offers, with what goes along to each.

    Args:
        bench: The bench that has the box.
        box: The box.
        ids: The benches that were free when it was asked, as they stand in the question.
        today: The workshop's day.
        now: The moment.
        reach: What is held now.

    Returns:
        In that order; also where one of them has a box by now, which refuses it.
    """
    pks = [int(each) for each in ids if each.isdecimal()]
    benches = Bench.objects.in_bulk(pks)
    rows = OpenBag.objects.filter(bench__in=[bench.pk, *benches]).order_by("pk")
    beside = ("bag__lot__part", "bag__lot__revision", f"bag__{METHOD_OF_BAG}")
    has: dict[int, list[OpenBag]] = {}
    for row in rows.select_related(*beside):
        has.setdefault(row.bench_id, []).append(row)
    bags = [row.bag for row in has.get(bench.pk, ())]
    pinned = pinned_by(box.recipe_id)
    found = []
    for nth, each in enumerate(filter(None, map(benches.get, pks)), start=1):
        parts = [row.part_id for row in has.get(each.pk, ())]
        going = along(
            pinned, box.size.sets, bags, parts, today=today, now=now, reach=reach
        )
        names = tuple(bag.lot.part.name for bag in going)
        found.append(Free(each, f"ACT-{nth}", names))
    return found
