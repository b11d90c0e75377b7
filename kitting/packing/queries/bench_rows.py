"""The rows that a bench's screen is made of, and what an act leaves of them."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from kitting.ledger.kept import Kept
from kitting.ledger.packable import METHOD_OF_BAG
from kitting.ledger.reach import Reach
from kitting.models import Bench, Box, BoxLine, Hold, OpenBag
from kitting.models.boxes import IN_WORK


def newest_box(bench_id: int) -> Box | None:
    """The box in work at a bench, else the one that was started last there.

    Args:
        bench_id: The bench.

    Returns:
        The box with its size and product, in any stage; None before the first.
    """
    return next(iter(NEWEST(bench_id)), None)


def _newest(bench: int | Subquery) -> QuerySet[Box]:
    started = Box.objects.filter(bench=bench).order_by("-pk").values("pk")
    # What comes back out of quarantine goes before boxes that were started since.
    first = Coalesce(Subquery(started.filter(IN_WORK)[:1]), Subquery(started[:1]))
    return Box.objects.filter(pk=first).select_related("size__product")


NEWEST = Kept(_newest)


def bench_and_box(code: str) -> tuple[Bench | None, Box | None]:
    """A bench by its code, and its newest box as ``newest_box`` gives it.

    Args:
        code: The code.

    Returns:
        The bench with its place and tablet, and the box; None where there is none.
    """
    for box in NEWEST_OF(code):
        return box.bench, box
    return next(iter(BENCH(code)), None), None


def _newest_of(code: str) -> QuerySet[Box]:
    bench = Subquery(Bench.objects.filter(code=code).values("pk"))
    return _newest(bench).select_related(
        "size__product", "bench__place", "bench__tablet"
    )


NEWEST_OF = Kept(_newest_of)
BENCH = Kept(
    lambda code: Bench.objects.filter(code=code).select_related("place", "tablet")
)
"""A bench by its code, with its place and tablet."""
WITH_BAGS = (
    *("bench", "bag__lot__part", "bag__lot__revision"),
    f"bag__{METHOD_OF_BAG}",
)
"""What a screen reads beside the rows of open bags."""
open_bags = Kept(
    lambda bench: (
        OpenBag.objects.filter(Q(bench=bench) | Q(taken_from=bench))
        .select_related(*WITH_BAGS)
        .order_by("pk")
    )
)
"""What is open at a bench, or was taken from it."""
lines_in = Kept(
    lambda box: (
        BoxLine.objects.filter(box=box)
        .select_related("lot__part", "bag")
        .order_by("pk")
    )
)
"""What is in a box, with lot, part and bag."""


@dataclass
class Left:
    """What an act at a bench read behind its locks, as it left it.

    The screen that answers it shows that; None for what it did not read.
    """

    box: Box | None = None
    """Its newest box, with size and product."""
    inside: list[BoxLine] | None = None
    """What is in that, with lot, part and bag."""
    rows: list[OpenBag] | None = None
    """What is open at the bench, or was taken from it, read ``WITH_BAGS``."""
    standing: list[Hold] | None = None
    """The holds that nobody has lifted."""
    reach: Reach | None = None
    """What they reach."""
