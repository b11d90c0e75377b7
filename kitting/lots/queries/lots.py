"""What the pages of lots read: the table, one lot, and numbers for blank labels."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Any

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from kitting.domain.numbers import SEQUENCES, Kind, assigned, read
from kitting.domain.stages import BagStage
from kitting.lots.queries.bags import open_samples
from kitting.lots.queries.yields import LotYield, lot_yield
from kitting.models import Bag, Check, Counter, Hold, Lot, LotOrigin, Movement, Workshop
from kitting.models.lots import LotStage, Verdict

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kitting.ledger.reach import Reach
    from kitting.models import Sample

MOST_MOVEMENTS = 100
"""Movements that the page of a lot shows; the trace has them all."""


def waiting_for_a_check() -> Q:
    """Lots that are closed, need a check and have no verdict yet."""
    return Q(stage=LotStage.CLOSED, verdict=Verdict.NONE, part__needs_check=True)


def filtered_lots(filters: Mapping[str, Any], reach: Reach) -> QuerySet[Lot]:
    """Lots as the filters choose them, newest first, with their bags summed up.

    Args:
        filters: Any of part, stage, verdict and q, as ``LotFilterForm`` gives them.
        reach: What the standing holds reach.

    Returns:
        Lots with ``bag_count`` and ``pieces`` (in their bags now).
    """
    lots = Lot.objects.select_related("part", "revision", "method")
    if part := filters.get("part"):
        lots = lots.filter(part=part)
    if stage := filters.get("stage"):
        lots = lots.filter(stage=stage)
    verdict = filters.get("verdict")
    if verdict == "waiting":
        lots = lots.filter(waiting_for_a_check())
    elif verdict == "held":
        lots = lots.filter(pk__in=held_lots(reach))
    elif verdict:
        lots = lots.filter(verdict=verdict)
    if text := filters.get("q"):
        lots = lots.filter(
            Q(number__icontains=text)
            | Q(source__icontains=text)
            | Q(source_number__icontains=text)
            | Q(pk__in=Bag.objects.filter(number=text.upper()).values("lot"))
        )
    return _with_bags(lots)


def held_lots(reach: Reach) -> set[int]:
    """Lots that are held themselves, or of which a bag with pieces is held."""
    bags = Bag.objects.filter(Q(pk__in=reach.bags) | Q(cleared_run__in=reach.runs))
    return set(reach.lots) | set(
        bags.filter(pieces__gt=0).values_list("lot", flat=True)
    )


def _with_bags(lots: QuerySet[Lot]) -> QuerySet[Lot]:
    bags = Bag.objects.filter(lot=OuterRef("pk")).order_by().values("lot")
    return lots.annotate(
        bag_count=Coalesce(Subquery(bags.annotate(n=Count("pk")).values("n")), 0),
        pieces=Coalesce(Subquery(bags.annotate(n=Sum("pieces")).values("n")), 0),
    )


@dataclass(frozen=True)
class LotTotals:
    """What the filtered lots come to."""

    lots: int
    open: int
    waiting: int
    accepted: int
    rejected: int


def totals_of(lots: QuerySet[Lot]) -> LotTotals:
    """Count filtered lots by what is to be done with them, in one query."""
    counted = lots.order_by().aggregate(
        lots=Count("pk"),
        open=Count("pk", filter=Q(stage=LotStage.OPEN)),
        waiting=Count("pk", filter=waiting_for_a_check()),
        accepted=Count("pk", filter=Q(verdict=Verdict.ACCEPTED)),
        rejected=Count("pk", filter=Q(verdict=Verdict.REJECTED)),
    )
    return LotTotals(**counted)


@dataclass(frozen=True)
class BagLine:
    """Bags of one lot that are in one stage at one place."""

    stage: str
    place: str
    bags: int
    pieces: int


@dataclass(frozen=True)
class LotPage:
    """Everything that the page of one lot shows."""

    lot: Lot
    lines: list[BagLine]
    bags: list[Bag]
    """Bags that still hold pieces, oldest first."""
    made_from: list[LotOrigin]
    made_into: list[LotOrigin]
    checks: list[Check]
    movements: list[Movement]
    """The newest ``MOST_MOVEMENTS``, newest first."""
    holds: list[Hold]
    """Holds that stand on the lot itself, oldest first."""
    samples: list[Sample]
    """Samples whose result is not known yet, oldest first."""
    is_held: bool
    """By itself, or by what it is made from, or how, or of which source."""
    held_bags: frozenset[int]
    yielded: LotYield | None = None
    """What it yielded, if it was made from others."""

    @property
    def pieces(self) -> int:
        """Pieces in its bags now."""
        return sum(bag.pieces for bag in self.bags)

    @property
    def bag_count(self) -> int:
        """Bags that it has had, used up ones included."""
        return sum(line.bags for line in self.lines)

    @property
    def is_waiting(self) -> bool:
        """Whether it waits for its check."""
        return (
            self.lot.stage == LotStage.CLOSED
            and not self.lot.verdict
            and self.lot.part.needs_check
        )


def one_lot() -> QuerySet[Lot]:
    """Lots with what every page about one of them names."""
    return Lot.objects.select_related("part", "revision", "method")


def lot_page(lot: Lot, reach: Reach) -> LotPage:
    """Read everything that the page of a lot shows.

    Args:
        lot: A lot from ``one_lot``.
        reach: What the standing holds reach.

    Returns:
        Bags, origins, checks, movements and holds.
    """
    grouped = (
        lot.bags.order_by("stage", "place__name")
        .values_list("stage", "place__name")
        .annotate(bags=Count("pk"), all_pieces=Sum("pieces"))
    )
    order = list(BagStage)
    lines = [
        BagLine(stage, place or "", bags, pieces)
        for stage, place, bags, pieces in grouped
    ]
    bags = list(lot.bags.filter(pieces__gt=0).select_related("place", "carrier"))
    origins = list(lot.origins.select_related("from_lot__part"))
    return LotPage(
        lot=lot,
        lines=sorted(lines, key=lambda line: order.index(BagStage(line.stage))),
        bags=bags,
        made_from=origins,
        yielded=lot_yield(lot, origins),
        made_into=list(lot.uses.select_related("lot__part")),
        checks=list(lot.checks.select_related("operation").order_by("-pk")),
        movements=list(
            lot.movements.select_related("bag", "place", "operation", "box").order_by(
                "-pk"
            )[:MOST_MOVEMENTS]
        ),
        holds=list(
            lot.holds.filter(lift__isnull=True)
            .select_related("operation")
            .order_by("pk")
        ),
        samples=open_samples(lot),
        is_held=lot.pk in reach.lots,
        held_bags=frozenset(bag.pk for bag in bags if reach.bag(bag)),
    )


@dataclass(frozen=True)
class BlankNumber:
    """A bag number that was given out, and the lot it came to life in."""

    number: str
    lot: str


def given_out(first: int, count: int) -> list[BlankNumber]:
    """Bag numbers that were given out one after the other.

    Args:
        first: The first sequence, from 1.
        count: How many at most.

    Returns:
        The numbers in order; those that the counter has not reached are left out.
    """
    site = Workshop.objects.get(pk=1).site
    after = Counter.objects.get(site=site, name="bag").next
    numbers = list(islice(assigned(Kind.BAG, site, range(first, after)), count))
    lots = dict(
        Bag.objects.filter(number__in=numbers).values_list("number", "lot__number")
    )
    return [BlankNumber(number, lots.get(number, "")) for number in numbers]


def newest_from(count: int) -> int:
    """The sequence from which the newest so many bag numbers were given out."""
    site = Workshop.objects.get(pk=1).site
    after = Counter.objects.get(site=site, name="bag").next
    newest = list(islice(assigned(Kind.BAG, site, range(after - 1, 0, -1)), count))
    return read(newest[-1]).sequence if newest else SEQUENCES.start
