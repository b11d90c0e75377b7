"""Where more stands of what runs short at a bench, or why nothing of it may be packed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Case, OuterRef, Q, QuerySet, Subquery, When

from kitting.domain import picking
from kitting.domain.stages import BagStage
from kitting.ledger.kept import Kept
from kitting.ledger.packable import ON_TRIAL, open_too_long
from kitting.ledger.reach import Reach
from kitting.models import Bag, Bench, Box, BoxLine, RecipeLine, Revision

MOST_OFFERS = 2
"""Bags that are named at once; the next is named when one of them was scanned."""


@dataclass(frozen=True)
class Offer:
    """A bag that could give what is missing, and where it stands."""

    bag: str
    lot: str
    pieces: int
    """How many of it are wanted."""
    holds: int
    """How many it holds, by the record."""
    place: str
    here: bool
    """Whether it stands at this bench already."""
    instead: Revision | None = None
    """Its revision, where that is a substitute."""


@dataclass(frozen=True)
class Fetched:
    """A bag that would do, and is open at another bench."""

    bag: str
    holds: int
    bench: str


@dataclass(frozen=True)
class Lacking:
    """Why nothing can be offered: pieces of the part that may not be packed."""

    held: int = 0
    not_cleared: int = 0
    on_trial: int = 0
    """Pieces made with a method that nobody has released yet."""
    apart: int = 0
    """Pieces that may be packed, but do not go with what is in the box."""
    elsewhere: tuple[Fetched, ...] = ()
    """Bags that would do, and are open at other benches: the fullest first."""


@dataclass(frozen=True)
class Wanted:
    """What runs short."""

    bench: Bench
    line: RecipeLine
    missing: int
    box: Box
    now: datetime
    takes: Sequence[int]
    """Revisions that the line takes, the preferred first."""
    fitting: list[int]
    """Those of them that go with what is in the box."""

    def bags(self) -> Any:
        """Bags of what the line takes."""
        return Bag.objects.filter(lot__revision__in=self.takes)


def released(bags: QuerySet[Bag], today: date) -> QuerySet[Bag]:
    """Give those of some bags that are cleared, in date, and of no method on trial.

    Args:
        bags: The bags.
        today: The workshop's day.

    Returns:
        The bags: they may be packed from unless they are held, or were open too long.
    """
    may = bags.filter(stage=BagStage.CLEARED).exclude(ON_TRIAL)
    return may.filter(Q(lot__use_by__isnull=True) | Q(lot__use_by__gte=today))


def opened(
    revisions: Sequence[int], *, today: date, now: datetime, reach: Reach
) -> list[Bag]:
    """Read the bags that were opened and may be packed from, at whatever bench.

    Args:
        revisions: What they hold; at least one.
        today: The workshop's day.
        now: The moment.
        reach: What is held now.

    Returns:
        The bags, each with its lot, its place and the bench where it is open.
    """
    return _free(_OPENED(today, *revisions), now, reach)


_BESIDE = ("lot__part", "lot__revision", "place", "open_at__bench")


def _opened(today: date, *revisions: int) -> QuerySet[Bag]:
    bags = Bag.objects.filter(lot__revision__in=revisions, opened_at__isnull=False)
    return released(bags, today).select_related(*_BESIDE)


_OPENED = Kept(_opened)


def _free(bags: Iterable[Bag], now: datetime, reach: Reach) -> list[Bag]:
    return [
        bag
        for bag in bags
        if not reach.bag(bag) and not open_too_long(bag, bag.lot, now)
    ]


def _released(box: int, today: date, *revisions: int) -> QuerySet[Bag]:
    """Bags of some revisions, each with whether its lot is in a box."""
    of = BoxLine.objects.filter(box=box, lot=OuterRef("lot")).values("lot")[:1]
    bags = released(Bag.objects.filter(lot__revision__in=revisions), today)
    return bags.annotate(lot_in_box=Subquery(of)).select_related(*_BESIDE)


_RELEASED = Kept(_released)


def open_at(bag: Bag) -> Bench | None:
    """The bench where a bag is open, if it is."""
    row = getattr(bag, "open_at", None)
    return row.bench if row is not None else None


def offers_of(
    wanted: Wanted, today: date, reach: Reach
) -> tuple[list[Offer], list[Fetched]]:
    """Bags that could give what runs short.

    Args:
        wanted: What runs short.
        today: The workshop's day.
        reach: What is held now.

    Returns:
        The next ones to scan, none where nothing may be packed; and those that would
        do, were they not open at other benches.
    """
    fit = wanted.fitting
    may = _RELEASED(wanted.box.pk, today, *fit) if fit else []
    there = _free(may, wanted.now, reach)
    found = {bag.pk: bag for bag in there if open_at(bag) is None}
    own = {bag.pk: bag for bag in there if open_at(bag) == wanted.bench}
    begun = [bag for bag in found.values() if bag.lot_in_box is not None]  # type: ignore[attr-defined]
    # A lot that is in the box already adds none: where it suffices, it comes first.
    enough = sum(bag.pieces for bag in begun) >= wanted.missing
    bags = begun if enough else _preferred(list(found.values()), wanted)
    # A box that was handed over takes from what lies open here, once it is scanned.
    bags, found = list(own.values()) or bags, found | own
    plan = picking.propose(wanted.missing, map(_candidate, bags))
    offers = [
        _offer(found[int(bag)], pieces, wanted)
        for bag, pieces in plan.takes[:MOST_OFFERS]
    ]
    away = [
        Fetched(bag.number, bag.pieces, at.name)
        for bag in there
        if (at := open_at(bag)) not in (None, wanted.bench)
    ]
    return offers, sorted(away, key=lambda each: -each.holds)


def _preferred(bags: list[Bag], wanted: Wanted) -> list[Bag]:
    """Bags of what is preferred, and of as many substitutes as it takes to suffice."""
    taken: list[Bag] = []
    for revision in wanted.fitting:
        taken += [bag for bag in bags if bag.lot.revision_id == revision]
        if sum(bag.pieces for bag in taken) >= wanted.missing:
            break
    return taken


def _candidate(bag: Bag) -> picking.Candidate:
    return picking.Candidate(
        bag=bag.pk,
        lot=bag.lot.number,
        pieces=bag.pieces,
        use_by=bag.lot.use_by,
        made_on=bag.lot.made_on,
        arrived=bag.pk,
    )


def _offer(bag: Bag, pieces: int, wanted: Wanted) -> Offer:
    of, own = bag.lot.revision, wanted.line.revision_id
    return Offer(
        bag=bag.number,
        lot=bag.lot.number,
        pieces=pieces,
        holds=bag.pieces,
        place=bag.place.name if bag.place else "",
        here=bag.place_id == wanted.bench.place_id,
        instead=of if of.pk != own else None,
    )


def lacking_of(wanted: Wanted, reach: Reach, away: Sequence[Fetched]) -> Lacking:
    """Why nothing can be offered.

    Args:
        wanted: What runs short.
        reach: What is held now.
        away: Bags that would do, and are open at other benches.

    Returns:
        Pieces by what keeps them from being packed.
    """
    held = not_cleared = on_trial = apart = 0
    rest = wanted.bags().exclude(stage__in=(BagStage.USED_UP, BagStage.REJECTED))
    rest = rest.annotate(trial=Case(When(ON_TRIAL, 1)))
    for bag in rest.select_related("lot"):
        if reach.bag(bag):
            held += bag.pieces
        elif bag.stage != BagStage.CLEARED:
            not_cleared += bag.pieces
        elif bag.trial:
            on_trial += bag.pieces
        elif bag.lot.revision_id not in wanted.fitting:
            apart += bag.pieces
    return Lacking(held, not_cleared, on_trial, apart, tuple(away[:MOST_OFFERS]))
