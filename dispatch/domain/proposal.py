"""What is proposed to open requests, and what a clerk makes of it.

Requests of one consignee that need boxes equally share as one, so that who writes two gets
no more than who writes one; what it gets goes to its requests in their order. A consignee
that was given boxes in an earlier tier has received them when a later one is shared.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from operator import attrgetter
from typing import Final

from dispatch.domain.allotment import MOST_SETS, Reason, share
from kitting.domain.errors import Refused

USUAL_WEIGHT: Final = 10
"""Tenths: what everybody counts for whom nobody gave another weight."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What a request lacks."""

    request: str
    """Its number."""
    who: str
    """The consignee's code."""
    tier: int
    lacks: int
    """Sets, 1 or more, that nobody has promised yet."""


@dataclass(frozen=True, slots=True)
class Term:
    """Why somebody counts for more or less, or gets so much before anybody's share."""

    who: str
    weight_tenths: int
    """1 or more; ``USUAL_WEIGHT`` for everybody else."""
    floor: int
    """Sets; 0 for none."""
    why: str

    @property
    def times(self) -> str:
        """Its weight, written out."""
        return f"{self.weight_tenths / USUAL_WEIGHT:g}"


@dataclass(frozen=True, slots=True)
class Move:
    """Boxes that a clerk moves by hand."""

    boxes: int
    """1 or more."""
    size: int
    """Sets in each."""
    by: str
    """From which request; empty for what stays."""
    to: str
    """To which; empty to let them stay."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """What a clerk chose of an allotment."""

    window: int
    """Days within which what was received counts, today among them; 0 for none."""
    packing: Mapping[int, int]
    """Boxes yet to be packed that are counted in, by the id of the size."""
    terms: tuple[Term, ...] = ()
    moves: tuple[Move, ...] = ()


@dataclass(frozen=True, slots=True)
class Proposal:
    """Which request gets which boxes."""

    counts: dict[str, dict[int, int]]
    """Request to size in sets to boxes, 1 or more."""
    reason: dict[str, Reason]
    """Of each request that of its consignee and tier."""
    left: dict[int, int]
    """What stays, by size."""

    def sets(self, request: str) -> int:
        """How many sets a request gets."""
        return sets_of(self.counts[request])


def sets_of(counts: Mapping[int, int]) -> int:
    """How many sets boxes hold."""
    return sum(size * boxes for size, boxes in counts.items())


def propose(
    wishes: Sequence[Wish],
    stock: Mapping[int, int],
    received: Mapping[str, int],
    terms: Sequence[Term] = (),
) -> Proposal:
    """Share boxes among open requests.

    Args:
        wishes: What each lacks; in one tier of one consignee the first is served first.
        stock: Size in sets to boxes.
        received: Consignee to sets that count as had.
        terms: Weights and floors; one for a consignee.

    Returns:
        The proposal.

    Raises:
        Refused: ``asked_too_much`` by one consignee in a tier.
        ValueError: If another number is out of its range.
    """
    left = dict(stock)
    had: Counter[str] = Counter(received)
    floors = {term.who: term.floor for term in terms}
    weights = {term.who: Fraction(term.weight_tenths, 10) for term in terms}
    found = Proposal({}, {}, left)
    by_tier = sorted(wishes, key=attrgetter("tier"))
    for tier, group in groupby(by_tier, key=attrgetter("tier")):
        here = list(group)
        asked: Counter[str] = Counter()
        for wish in here:
            asked[wish.who] += wish.lacks
        for who, sets in asked.items():
            if sets > MOST_SETS:
                raise Refused("asked_too_much", read=who, most=MOST_SETS)
        shares = share(
            asked,
            left,
            tier=dict.fromkeys(asked, tier),
            weight=weights,
            floor=floors,
            received={who: min(had[who], MOST_SETS) for who in asked},
        )
        for who, counts in shares.counts.items():
            own = [wish for wish in here if wish.who == who]
            found.counts.update(_split(own, counts))
            found.reason.update((wish.request, shares.reason[who]) for wish in own)
            had[who] += sets_of(counts)
            if who in floors:
                floors[who] = max(0, floors[who] - sets_of(counts))
            for size, boxes in counts.items():
                left[size] -= boxes
    return found


def _split(own: Sequence[Wish], counts: Mapping[int, int]) -> dict[str, dict[int, int]]:
    """Give the boxes of a consignee to its requests, the largest first.

    Each goes to the first request that has room for all of it, else to the one that lacks
    most; so none has a box that it could do without.
    """
    lacks = {wish.request: wish.lacks for wish in own}
    given: dict[str, Counter[int]] = {wish.request: Counter() for wish in own}
    for size in sorted(counts, reverse=True):
        for _ in range(counts[size]):
            room = (each for each, sets in lacks.items() if sets >= size)
            to = next(room, None) or max(lacks, key=lambda each: lacks[each])
            given[to][size] += 1
            lacks[to] -= size
    return {each: dict(boxes) for each, boxes in given.items()}


def moved(
    found: Proposal, wishes: Sequence[Wish], moves: Sequence[Move]
) -> dict[str, dict[int, int]]:
    """Move boxes of a proposal by hand.

    Args:
        found: The proposal.
        wishes: The requests that it is for.
        moves: What is moved, one after the other.

    Returns:
        Request to size to boxes, 1 or more.

    Raises:
        Refused: ``move_unknown`` from or to a request that is not shared among,
            ``move_too_many`` where there are not as many boxes, ``move_beyond_asked``
            where a request has a box that it could do without.
    """
    counts = {request: Counter(boxes) for request, boxes in found.counts.items()}
    stays = Counter(found.left)
    for move in moves:
        for request in filter(None, (move.by, move.to)):
            if request not in counts:
                raise Refused("move_unknown", request=request)
        source = counts[move.by] if move.by else stays
        if not 0 < move.boxes <= source[move.size]:
            there = source[move.size]
            raise Refused(
                "move_too_many",
                read=move.boxes,
                sets=move.size,
                there=there,
                request=move.by,
            )
        source[move.size] -= move.boxes
        (counts[move.to] if move.to else stays)[move.size] += move.boxes
    for wish in wishes:
        boxes = +counts[wish.request]
        if boxes and sets_of(boxes) - min(boxes) >= wish.lacks:
            raise Refused(
                "move_beyond_asked",
                request=wish.request,
                sets=sets_of(boxes),
                lacks=wish.lacks,
            )
    return {request: dict(+boxes) for request, boxes in counts.items()}
