"""Where more stands of what runs short at a bench, or why nothing of it may be packed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Case, F, OuterRef, Q, Subquery, When

from kitting.domain import picking
from kitting.domain.stages import BagStage
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
    place: str
    here: bool
    """Whether it stands at this bench already."""
    instead: Revision | None = None
    """Its revision, where that is a substitute."""


@dataclass(frozen=True)
class Lacking:
    """Why nothing can be offered: pieces of the part that may not be packed."""

    held: int = 0
    not_cleared: int = 0
    on_trial: int = 0
    """Pieces made with a method that nobody has released yet."""
    elsewhere: int = 0
    """Pieces in bags that are open at another bench."""
    apart: int = 0
    """Pieces that may be packed, but do not go with what is in the box."""


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


def offers_of(wanted: Wanted, today: date, reach: Reach) -> list[Offer]:
    """Bags that could give what runs short.

    Args:
        wanted: What runs short.
        today: The workshop's day.
        reach: What is held now.

    Returns:
        The next ones to scan; none where nothing may be packed.
    """
    may = wanted.bags().filter(stage=BagStage.CLEARED)
    may = may.filter(lot__revision__in=wanted.fitting)
    may = may.filter(Q(lot__use_by__isnull=True) | Q(lot__use_by__gte=today))
    may = may.exclude(open_at__bench__isnull=False).exclude(ON_TRIAL)
    in_box = Subquery(
        BoxLine.objects.filter(box=wanted.box, lot=OuterRef("lot")).values("lot")[:1]
    )
    found = {
        bag.pk: bag
        for bag in may.select_related("lot__part", "lot__revision", "place").annotate(
            lot_in_box=in_box
        )
        if not reach.bag(bag) and not open_too_long(bag, bag.lot, wanted.now)
    }
    begun = [bag for bag in found.values() if bag.lot_in_box is not None]
    # A lot that is in the box already adds none: where it suffices, it comes first.
    enough = sum(bag.pieces for bag in begun) >= wanted.missing
    bags = begun if enough else _preferred(list(found.values()), wanted)
    plan = picking.propose(wanted.missing, map(_candidate, bags))
    return [
        _offer(found[int(bag)], pieces, wanted)
        for bag, pieces in plan.takes[:MOST_OFFERS]
    ]


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
        place=bag.place.name if bag.place else "",
        here=bag.place_id == wanted.bench.place_id,
        instead=of if of.pk != own else None,
    )


def lacking_of(wanted: Wanted, reach: Reach) -> Lacking:
    """Why nothing can be offered.

    Args:
        wanted: What runs short.
        reach: What is held now.

    Returns:
        Pieces by what keeps them from being packed.
    """
    held = not_cleared = on_trial = elsewhere = apart = 0
    rest = wanted.bags().exclude(stage__in=(BagStage.USED_UP, BagStage.REJECTED))
    rest = rest.annotate(bench=F("open_at__bench"), trial=Case(When(ON_TRIAL, 1)))
    for bag in rest.select_related("lot"):
        if reach.bag(bag):
            held += bag.pieces
        elif bag.stage != BagStage.CLEARED:
            not_cleared += bag.pieces
        elif bag.trial:
            on_trial += bag.pieces
        elif bag.bench not in (None, wanted.bench.pk):
            elsewhere += bag.pieces
        elif bag.lot.revision_id not in wanted.fitting:
            apart += bag.pieces
    return Lacking(held, not_cleared, on_trial, elsewhere, apart)
