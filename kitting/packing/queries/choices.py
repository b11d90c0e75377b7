"""The box sizes that a bench chooses from: what is wanted, and what can be packed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from django.db.models import QuerySet, Subquery

from kitting.ledger.kept import Kept
from kitting.ledger.reach import Reach
from kitting.models import Bench, Box, BoxSize
from kitting.packing.queries.plan import packed_on, still_to_pack, wanted_on
from kitting.packing.queries.reaches import NOTHING, Reaches, reaches


@dataclass(frozen=True)
class Choice:
    """A box size that can be started."""

    size: BoxSize
    command: str
    again: bool
    """Whether the bench's last box was of this size."""
    wanted: int = 0
    """Boxes that are wanted today; 0 where none is planned."""
    to_pack: int = 0
    """Those of them that no bench has packed yet."""
    reaches: Reaches = NOTHING
    """How far what lies there reaches."""

    @property
    def sets(self) -> int:
        """How many sets a box holds."""
        return self.size.sets

    @property
    def product(self) -> str:
        """What is packed."""
        return self.size.product.name


def _sizes(bench: int) -> QuerySet[BoxSize]:
    """Sizes that can be started, each with that of the bench's last box."""
    newest = Box.objects.filter(bench=bench).order_by("-pk").values("size")[:1]
    return (
        BoxSize.objects.filter(product__recipes__in_force=True, active=True)
        .select_related("product")
        .annotate(newest=Subquery(newest))
        .order_by("product__code", "sets")
    )


_SIZES: Final = Kept(_sizes)


def choices(bench: Bench) -> list[Choice]:
    """Box sizes that can be started: of products with a recipe in force.

    Args:
        bench: The bench; the size of its last box is told.

    Returns:
        One for each size, by product and sets: a gloved hand finds it where it was.
    """
    sizes = _SIZES(bench.pk)
    counts = [size.sets for size in sizes]
    return [
        Choice(
            size=size,
            command=f"ACT-BOX-{size.sets}"
            if counts.count(size.sets) == 1
            else f"ACT-BOX-{size.product.code}-{size.sets}",
            again=size.pk == size.newest,  # type: ignore[attr-defined]
        )
        for size in sizes
    ]


def choosing(
    bench: Bench, *, today: date, now: datetime, reach: Reach
) -> tuple[list[Choice], dict[int, int]]:
    """What a bench can choose, each with what is wanted and how far things reach.

    Args:
        bench: The bench.
        today: The workshop's day.
        now: The moment.
        reach: What is held now.

    Returns:
        The sizes as ``choices`` gives them; and boxes that are still to be packed today,
        by the id of the size, also of sizes that cannot be started.
    """
    offered, wanted = choices(bench), wanted_on(today)
    left = still_to_pack(wanted, packed_on(today))
    sizes = [each.size for each in offered]
    can_pack = reaches(sizes, bench, today=today, now=now, reach=reach)
    shown = [
        replace(
            each,
            wanted=wanted.get(each.size.pk, 0),
            to_pack=left.get(each.size.pk, 0),
            reaches=can_pack[each.size.pk],
        )
        for each in offered
    ]
    return shown, left
