"""What the pages of lots read: the table, and one lot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from operator import itemgetter
from typing import Any, Final

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.domain.stages import UNUSED, BagStage, MovementKind
from kitting.ledger.reach import Reach
from kitting.lots.queries.samples import open_samples
from kitting.lots.queries.yields import LotYield, lot_yield
from kitting.models import Bag, Check, Hold, Lot, LotOrigin, Movement, Sample
from kitting.models.lots import LotStage, Verdict

MOST_ENDS = 500
"""Bags of which the page of a lot that ended says what they came to."""
MOST_MOVEMENTS = 100
"""Movements that the page of a lot shows; the trace has them all."""


def waiting_for_a_check() -> Q:
    """Lots that are closed, need a check and have no verdict yet, or one of their bags.

    What has arrived again was open for too long, and a checker looks at it alone.
    """
    closed = Lot.objects.filter(
        stage=LotStage.CLOSED, verdict=Verdict.NONE, part__needs_check=True
    )
    # Two lists of numbers, and not "or": each is found by an index of its own.
    return Q(
        pk__in=closed.order_by().values("pk").union(_ALONE.order_by().values("lot"))
    )


def _set_back() -> QuerySet[Bag]:
    """Bags of a lot that a checker looks at alone, as ``bags.waits_for_look``."""
    return _ALONE.filter(lot=OuterRef("pk")).order_by("pk")


_ALONE: Final = Bag.objects.filter(stage=BagStage.ARRIVED).exclude(
    lot__part__needs_check=True, lot__verdict=Verdict.NONE
)


def filtered_lots(filters: Mapping[str, Any], reach: Reach) -> QuerySet[Lot]:
    """Lots as the filters choose them, newest first, with their bags summed up.

    Args:
        filters: Any of part, stage, verdict and q, as ``LotFilterForm`` gives them.
        reach: What the standing holds reach.

    Returns:
        Lots with ``bag_count``, ``pieces`` (in their bags now) and ``set_back``, the
        number of the first bag that a checker looks at alone.
    """
    lots = Lot.objects.select_related("part", "revision", "method__release")
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


def held_lots(reach: Reach) -> QuerySet[Any, int]:
    """Ids of lots that are held themselves, or of which a bag with pieces is held."""
    lots = Lot.objects.order_by().filter(pk__in=reach.lots)
    bags = Bag.objects.order_by().filter(pieces__gt=0)
    bags = bags.filter(Q(pk__in=reach.bags) | Q(cleared_run__in=reach.runs))
    return lots.values_list("pk", flat=True).union(bags.values_list("lot", flat=True))


def _with_bags(lots: QuerySet[Lot]) -> QuerySet[Lot]:
    bags = Bag.objects.filter(lot=OuterRef("pk")).order_by().values("lot")
    return lots.annotate(
        bag_count=Coalesce(Subquery(bags.annotate(n=Count("pk")).values("n")), 0),
        pieces=Coalesce(Subquery(bags.annotate(n=Sum("pieces")).values("n")), 0),
        set_back=Subquery(_set_back().values("number")[:1]),
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
class BagEnd:
    """A bag that is used up: what came into it, and where that went."""

    number: str
    came: int
    went: list[tuple[str, int]]
    """Words for the ways out, each with the pieces that took it."""


_WAYS_OUT: dict[MovementKind, str | Promise] = {
    MovementKind.PACKED: _("packed into boxes"),
    MovementKind.REPACKED: _("repacked into other bags"),
    MovementKind.MADE_INTO: _("made into other lots"),
    MovementKind.SAMPLED: _("sent to tests"),
    MovementKind.SENT_BACK: _("sent back to their source"),
    MovementKind.SCRAPPED: _("scrapped"),
    MovementKind.MISSING: _("missing"),
    MovementKind.CANCELLED: _("cancelled, taken in by mistake"),
}
_TAKEN_BACK = {MovementKind.UNPACKED: MovementKind.PACKED}
_CAME_IN = {MovementKind.RECEIVED, MovementKind.FOUND, MovementKind.REPACKED}


def bag_ends(lot: Lot) -> list[BagEnd]:
    """Say where what was in each bag of a lot went.

    Args:
        lot: The lot.

    Returns:
        Its first ``MOST_ENDS`` bags, in the order in which they came to life.
    """
    ids = list(lot.bags.order_by("pk").values_list("pk", flat=True)[:MOST_ENDS])
    moved = (
        Movement.objects.filter(bag__in=ids)
        .order_by("bag_id")
        .values_list("bag__number", "kind")
        .annotate(
            came=Sum("delta", filter=Q(delta__gt=0), default=0),
            left=Sum("delta", filter=Q(delta__lt=0), default=0),
        )
    )
    ends = []
    for number, kinds in groupby(moved, key=itemgetter(0)):
        came, went = 0, dict.fromkeys(_WAYS_OUT, 0)
        for _number, word, put_in, taken in kinds:
            kind = MovementKind(word)
            came += put_in if kind in _CAME_IN else 0
            came += taken if kind == MovementKind.FOUND else 0  # what was undone
            way = _TAKEN_BACK.get(kind, kind)
            if way in went:
                went[way] -= taken + (0 if kind in _CAME_IN else put_in)
        ways = [(str(_WAYS_OUT[way]), count) for way, count in went.items() if count]
        ends.append(BagEnd(number, came, ways))
    return ends


@dataclass(frozen=True)
class LotBalance:
    """Where everything of a lot is: what came in is in its bags, or went some way."""

    received: int
    found: int
    in_bags: int
    went: list[tuple[str, int]]
    """Words for the ways out, each with the pieces that took it."""

    @property
    def difference(self) -> int:
        """What does not add up; 0, or the record was bent."""
        gone = sum(count for _way, count in self.went)
        return self.received + self.found - self.in_bags - gone


def lot_balance(moved: Mapping[MovementKind, int], in_bags: int) -> LotBalance:
    """Balance a lot by its movements.

    Args:
        moved: By kind of movement what it changed in its bags.
        in_bags: What is in its bags now.

    Returns:
        The balance, in the unit of its part.
    """
    deltas = dict(moved)
    for back, way in _TAKEN_BACK.items():
        deltas[way] = deltas.get(way, 0) + deltas.get(back, 0)
    ways = (way for way in _WAYS_OUT if way != MovementKind.REPACKED)
    went = [(str(_WAYS_OUT[way]), -deltas.get(way, 0)) for way in ways]
    return LotBalance(
        received=deltas.get(MovementKind.RECEIVED, 0),
        found=deltas.get(MovementKind.FOUND, 0),
        in_bags=in_bags,
        went=[each for each in went if each[1]],
    )


def one_lot() -> QuerySet[Lot]:
    """Lots with what every page about one of them names."""
    return Lot.objects.select_related("part", "revision", "method__release")


@dataclass(frozen=True)
class LotPage:
    """What the pages of one lot show, each read when a page first asks for it."""

    lot: Lot
    """From ``one_lot``."""
    reach: Reach
    """What the standing holds reach."""

    @cached_property
    def lines(self) -> list[BagLine]:
        """Its bags by stage and place, used up ones included."""
        grouped = (
            self.lot.bags.order_by("stage", "place__name")
            .values_list("stage", "place__name")
            .annotate(bags=Count("pk"), all_pieces=Sum("pieces"))
        )
        order = list(BagStage)
        lines = [
            BagLine(stage, place or "", bags, pieces)
            for stage, place, bags, pieces in grouped
        ]
        return sorted(lines, key=lambda line: order.index(BagStage(line.stage)))

    @cached_property
    def bags(self) -> list[Bag]:
        """Bags that still hold pieces, oldest first."""
        full = self.lot.bags.filter(pieces__gt=0)
        return list(full.select_related("place", "carrier"))

    @cached_property
    def _origins(self) -> list[LotOrigin]:
        """What it was made from and what was made from it."""
        either = Q(lot=self.lot) | Q(from_lot=self.lot)
        origins = LotOrigin.objects.filter(either)
        return list(origins.select_related("lot__part", "from_lot__part"))

    @property
    def made_from(self) -> list[LotOrigin]:
        """What it was made from."""
        return [row for row in self._origins if row.lot_id == self.lot.pk]

    @property
    def made_into(self) -> list[LotOrigin]:
        """What was made from it."""
        return [row for row in self._origins if row.from_lot_id == self.lot.pk]

    @cached_property
    def yielded(self) -> LotYield | None:
        """What it yielded, if it was made from others."""
        received = self._moved.get(MovementKind.RECEIVED, 0) if self.made_from else 0
        return lot_yield(self.lot, self.made_from, received)

    @cached_property
    def checks(self) -> list[Check]:
        """Its checks, newest first."""
        return list(self.lot.checks.select_related("operation").order_by("-pk"))

    @cached_property
    def movements(self) -> list[Movement]:
        """The newest ``MOST_MOVEMENTS``, newest first."""
        moves = self.lot.movements.select_related(
            "bag", "place", "operation", "box", "other"
        )
        return list(moves.order_by("-pk")[:MOST_MOVEMENTS])

    @cached_property
    def samples(self) -> list[Sample]:
        """Samples whose result is not known yet, oldest first."""
        return open_samples(self.lot)

    @property
    def holds(self) -> list[Hold]:
        """Holds that stand on the lot itself, oldest first."""
        held = self.reach.on(self.lot)
        itself = (hold for hold in held if hold.lot_id == self.lot.pk)
        return sorted(itself, key=lambda hold: hold.pk)

    @property
    def is_held(self) -> bool:
        """By itself, or by what it is made from, or how, or of which source."""
        return self.lot.pk in self.reach.lots

    @cached_property
    def held_bags(self) -> frozenset[int]:
        """Ids of the bags that a hold stops."""
        return frozenset(bag.pk for bag in self.bags if self.reach.bag(bag))

    @property
    def pieces(self) -> int:
        """Pieces in its bags now."""
        return sum(bag.pieces for bag in self.bags)

    @property
    def bag_count(self) -> int:
        """Bags that it has had, used up ones included."""
        return sum(line.bags for line in self.lines)

    @property
    def is_open(self) -> bool:
        """Whether it takes more bags."""
        return self.lot.stage == LotStage.OPEN

    @property
    def stands(self) -> bool:
        """Whether it was not taken in by mistake."""
        return self.lot.stage != LotStage.CANCELLED

    @property
    def closable(self) -> bool:
        """Whether it is open and has bags with something in them."""
        return self.is_open and bool(self.bags)

    @cached_property
    def cancellable(self) -> bool:
        """Whether nothing of it was checked or used, so that it can be cancelled."""
        return self.stands and not self.checks and self._moved.keys() <= UNUSED

    @cached_property
    def balance(self) -> LotBalance:
        """Where everything of it is."""
        return lot_balance(self._moved, self.pieces)

    @cached_property
    def _moved(self) -> dict[MovementKind, int]:
        """By kind of movement what it changed in the bags."""
        moved = self.lot.movements.order_by().values("kind").annotate(n=Sum("delta"))
        return {MovementKind(row["kind"]): row["n"] for row in moved}

    @cached_property
    def ended(self) -> list[BagEnd]:
        """What each of its bags came to; nothing while one of them holds pieces."""
        return [] if self.bags else bag_ends(self.lot)

    @property
    def is_rejected(self) -> bool:
        """Whether its check rejected it."""
        return self.lot.verdict == Verdict.REJECTED

    @property
    def is_waiting(self) -> bool:
        """Whether it waits for its check."""
        return (
            self.lot.stage == LotStage.CLOSED
            and not self.lot.verdict
            and self.lot.part.needs_check
        )
