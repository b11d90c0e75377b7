"""How many boxes of each size can be packed of what lies there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db.models import QuerySet, Sum

from kitting.domain.cover import Need, cover
from kitting.ledger.kept import KeptLines
from kitting.ledger.pinned import Pinned, every_pinned
from kitting.ledger.reach import Reach
from kitting.models import Bag, Bench, BoxSize
from kitting.packing.queries.bench_offers import open_at, opened, released


@dataclass(frozen=True)
class Reaches:
    """How far what lies there reaches for boxes of a size."""

    boxes: int
    """Boxes that can be packed now, were no other size packed."""
    first: str
    """The part that runs out first."""


NOTHING: Final = Reaches(0, "")
NO_HOLD: Final = Reach()


def reaches(
    sizes: Collection[BoxSize],
    bench: Bench | None,
    *,
    today: date,
    now: datetime,
    reach: Reach,
) -> dict[int, Reaches]:
    """Tell of each size how many boxes can be packed, and what runs out first.

    What counts is cleared, in date, not held, and not open at another bench than the one
    that is asked for.

    Args:
        sizes: The sizes, of products with a recipe in force.
        bench: The bench; None for all of them together.
        today: The workshop's day.
        now: The moment.
        reach: What is held now.

    Returns:
        By the id of the size.
    """
    in_force = [what for _, what in every_pinned(in_force=True)]
    revisions = sorted({one for what in in_force for one in what.together.revisions})
    if not revisions:
        return dict.fromkeys((size.pk for size in sizes), NOTHING)
    # Thousands that nobody has opened are summed by the database.
    whole = (
        _whole(today, *revisions, reach=reach) if reach else _WHOLE(today, *revisions)
    )
    stock = Counter(dict(whole))
    for bag in opened(revisions, today=today, now=now, reach=reach):
        if bench is None or open_at(bag) in (None, bench):
            stock[bag.lot.revision_id] += bag.pieces
    pinned = {what.lines[0].recipe.product_id: what for what in in_force}
    return {
        size.pk: _of(size, pinned[size.product_id], stock)
        if size.product_id in pinned
        else NOTHING
        for size in sizes
    }


def _whole(
    today: date, *revisions: int, reach: Reach = NO_HOLD
) -> QuerySet[Bag, tuple[int, int]]:
    """Pieces in bags that nobody has opened, by the revision."""
    bags = Bag.objects.filter(lot__revision__in=revisions, opened_at__isnull=True)
    free = released(bags, today).exclude(reach.of_bags)
    return free.order_by().values_list("lot__revision").annotate(Sum("pieces"))


_WHOLE: Final = KeptLines(_whole)


def _of(size: BoxSize, pinned: Pinned, stock: Mapping[int, int]) -> Reaches:
    rule = pinned.together
    lines = {line.pk: line for line in pinned.lines_for(size.sets)}
    needs = [
        Need(pk, line.needed(size.sets), rule.takes[pk]) for pk, line in lines.items()
    ]
    found = cover(needs, stock, rule.goes)
    return Reaches(found.boxes, lines[found.first].part.name if found.first else "")
