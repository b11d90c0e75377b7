"""Scarce boxes shared among who asked: tiers of need first, then fair shares.

Within a tier everybody is to have the same number of sets for its weight, what it received
lately counted in, and nobody more than it asked: max-min fair shares, by the water filling
of the literature (S. Keshav, An Engineering Approach to Computer Networking, 1997, section
9.2.2). Whole boxes come as near to that as they can:

1. Boxes of the larger sizes go, largest first, to whoever has least, where they do not lead
   beyond its share.
2. What is left of those sizes goes to whoever is furthest below its share, while smaller
   boxes do not hold all that is missing.
3. Boxes of the smallest size go one by one to whoever has least. With one size alone this
   is all there is, and then another box takes from nobody: boxes are dealt one after the
   other, whatever their number (a divisor method; largest remainders are none).

4. A box that somebody could do without comes back, and is dealt again. One goes over that
   brings who has less nearer to its share than its owner falls below, and leaves the owner
   with no less.

Nothing but these shares and what somebody has decides who is next, so who asks for more
than its share gains nothing by it.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, NamedTuple

MOST_SETS: Final = 10_000_000
"""No number of sets or boxes is larger."""


class Reason(NamedTuple):
    """Why somebody gets what it gets."""

    code: str
    """``served`` all that it asked, no more than its share; ``whole`` all that it asked, as
    whole boxes go over its share; ``share`` its share, as whole boxes allow; ``received``
    nothing, having had more than its share lately; ``tier`` nothing, as earlier tiers took
    all; ``boxes`` nothing, as no box was left for its share; ``nothing`` to share."""
    asked: int
    given: int
    received: int
    share: Fraction
    """Sets that would be its fair share if boxes could be opened."""
    level: Fraction
    """Sets for a weight of 1 that everybody of the tier may have, what it received counted
    in."""
    tier: int
    weight: Fraction
    first: bool = False
    """Whether it has the last box of a size as the first of several that had as little."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Who gets how many boxes of which size."""

    counts: dict[str, dict[int, int]]
    """Who to size in sets to boxes, 1 or more."""
    reason: dict[str, Reason]
    left: dict[int, int]
    """Boxes that stay in stock, by size."""

    def sets(self, who: str) -> int:
        """How many sets somebody gets."""
        return sum(size * boxes for size, boxes in self.counts[who].items())


@dataclass(slots=True)
class _Party:
    who: str
    asked: int
    floor: int
    received: int
    weight: Fraction
    tier: int
    unit: int
    """What a set counts for it, in units that all parties share: more for less weight."""
    given: int = 0
    share: Fraction = Fraction(0)
    whole: int = 0
    """The sets of its share that are whole."""

    @property
    def level(self) -> int:
        return (self.received + self.given) * self.unit

    @property
    def missing(self) -> Fraction:
        """Sets to its share; below 0 beyond it."""
        return self.share - self.given

    @property
    def below(self) -> Fraction:
        """How far it is below its share, for its weight."""
        return self.missing * self.unit


def share(
    asked: Mapping[str, int],
    stock: Mapping[int, int],
    tier: Mapping[str, int] | None = None,
    weight: Mapping[str, int | Fraction] | None = None,
    floor: Mapping[str, int] | None = None,
    received: Mapping[str, int] | None = None,
) -> Shares:
    """Share boxes among who asked for sets.

    Args:
        asked: Who to sets, 0 or more. The order of entry does not matter.
        stock: Size in sets, 1 or more, to boxes, 0 or more.
        tier: Who to tier; a lower one is served before a higher one gets anything. Who is
            not named is in tier 1.
        weight: Who to weight, above 0; 1 where it is not named.
        floor: Who to sets that come before the fair shares of its tier; never more than
            it asked.
        received: Who to sets that it had within the window that counts.

    Returns:
        The boxes, and the reason for every figure. What somebody gets holds no more sets
        than it asked, but for the surplus of the last box.

    Raises:
        ValueError: If a number is out of its range.
    """
    parties = _parties(asked, tier, weight, floor, received)
    left = dict(sorted(stock.items(), reverse=True))
    _check(left)
    counts: dict[str, dict[int, int]] = {party.who: {} for party in parties}
    reason: dict[str, Reason] = {}
    for nth in sorted({party.tier for party in parties}):
        here = [party for party in parties if party.tier == nth]
        found = _sets(left)
        _deal(here, {party.who: party.floor for party in here}, left, counts)
        level = _deal(here, {party.who: party.asked for party in here}, left, counts)
        first = _first_of_several(here, left, counts)
        for party in here:
            of = _reason(party, level, found)
            reason[party.who] = of._replace(first=party.who in first)
    return Shares(counts, reason, {size: n for size, n in left.items() if n})


def _parties(
    asked: Mapping[str, int],
    tier: Mapping[str, int] | None,
    weight: Mapping[str, int | Fraction] | None,
    floor: Mapping[str, int] | None,
    received: Mapping[str, int] | None,
) -> list[_Party]:
    weights = {who: Fraction((weight or {}).get(who, 1)) for who in sorted(asked)}
    if min(weights.values(), default=1) <= 0:
        raise ValueError("A weight is above 0.")
    whole = math.lcm(*(each.numerator for each in weights.values()))
    parties = [
        _Party(
            who=who,
            asked=asked[who],
            floor=min(asked[who], (floor or {}).get(who, 0)),
            received=(received or {}).get(who, 0),
            weight=its,
            tier=(tier or {}).get(who, 1),
            unit=int(whole / its),
        )
        for who, its in weights.items()
    ]
    for party in parties:
        numbers = (party.asked, party.floor, party.received)
        if not 0 <= min(numbers) <= max(numbers) <= MOST_SETS:
            msg = f"A number of {party.who} is out of its range."
            raise ValueError(msg)
    return parties


def _check(stock: Mapping[int, int]) -> None:
    fits = all(size >= 1 and boxes >= 0 for size, boxes in stock.items())
    if not fits or _sets(stock) > MOST_SETS:
        raise ValueError("A size holds 1 set or more, and boxes are 0 or more.")


def _sets(stock: Mapping[int, int]) -> int:
    return sum(size * boxes for size, boxes in stock.items())


# -- Shares as if boxes could be opened --------------------------------------------------


def water_level(parties: Collection[tuple[int, int, Fraction]], sets: int) -> Fraction:
    """Find how high everybody may be filled.

    Args:
        parties: Of each what it has, the most that it may have, and its weight.
        sets: How many sets there are to fill in.

    Returns:
        Sets for a weight of 1; where there is enough for all, the highest that anybody
        reaches.
    """
    steps = sorted(
        step
        for has, most, weight in parties
        if most > has
        for step in ((has / weight, weight), (most / weight, -weight))
    )
    level, width = Fraction(0), Fraction(0)
    left = Fraction(sets)
    for at, change in steps:
        need = (at - level) * width
        if width and need >= left:
            return level + left / width
        left -= need
        level, width = at, width + change
    return level


def _deal(
    here: Collection[_Party],
    most: Mapping[str, int],
    left: dict[int, int],
    counts: dict[str, dict[int, int]],
) -> Fraction:
    """Deal boxes of the stock up to so many sets each."""
    level = water_level(
        [(p.received + p.given, p.received + most[p.who], p.weight) for p in here],
        _sets(left),
    )
    for p in here:
        filled = level * p.weight - p.received
        p.share = max(Fraction(p.given), min(Fraction(most[p.who]), filled))
        p.whole = math.floor(p.share)
    # Each deal gives somebody sets that it needs, and what comes back or goes over takes
    # none away and evens out: this ends.
    changed = True
    while changed:
        changed = False
        for party, size in _dealt(here, most, left):
            _move(party, size, 1, left, counts)
            changed = True
        for party, size in _spare(here, most, counts):
            _move(party, size, -1, left, counts)
            changed = True
        if not changed and (better := _better_placed(here, counts)):
            by, to, size = better
            _move(by, size, -1, left, counts)
            _move(to, size, 1, left, counts)
            changed = True
    return level


def _move(
    party: _Party,
    size: int,
    boxes: int,
    left: dict[int, int],
    counts: dict[str, dict[int, int]],
) -> None:
    party.given += size * boxes
    left[size] -= boxes
    has = counts[party.who]
    has[size] = has.get(size, 0) + boxes
    if not has[size]:
        del has[size]


def _spare(
    here: Collection[_Party],
    most: Mapping[str, int],
    counts: Mapping[str, Mapping[int, int]],
) -> Iterator[tuple[_Party, int]]:
    """Say which boxes somebody has too many, the largest first; each comes back."""
    for party in here:
        for size in sorted(counts[party.who], reverse=True):
            while party.given - size >= most[party.who] and counts[party.who].get(size):
                yield party, size


def _dealt(
    here: Collection[_Party], most: Mapping[str, int], left: Mapping[int, int]
) -> Iterator[tuple[_Party, int]]:
    """Say who is dealt a box of which size, one after the other; each is dealt at once."""
    *larger, smallest = left or [1]
    for size in larger:
        yield from _in_turn(here, left, size, _whole(size))
    for size in larger:
        yield from _furthest_below(here, left, size)
    yield from _in_turn(here, left, smallest, lambda p: most[p.who] - 1)


def _whole(size: int) -> Callable[[_Party], int]:
    return lambda p: p.whole - size


def _in_turn(
    here: Collection[_Party],
    left: Mapping[int, int],
    size: int,
    until: Callable[[_Party], int],
) -> Iterator[tuple[_Party, int]]:
    """Deal boxes of a size to whoever has least, while it has no more than so much."""
    turn = [(p.level, p.who, p) for p in here if p.given <= until(p)]
    heapq.heapify(turn)
    while turn and left.get(size):
        _level, who, party = heapq.heappop(turn)
        yield party, size
        if party.given <= until(party):
            heapq.heappush(turn, (party.level, who, party))


def _furthest_below(
    here: Collection[_Party], left: Mapping[int, int], size: int
) -> Iterator[tuple[_Party, int]]:
    """Deal boxes of a size while smaller ones do not hold all that is missing."""
    smaller = sum(each * boxes for each, boxes in left.items() if each < size)
    short = [p for p in here if p.below > 0]
    missing = sum((p.missing for p in short), Fraction(0))
    turn = [(-p.below, p.who, p) for p in short]
    heapq.heapify(turn)
    while turn and left[size] and missing > smaller:
        _below, who, party = heapq.heappop(turn)
        missing -= min(Fraction(size), party.missing)
        yield party, size
        if party.below > 0:
            heapq.heappush(turn, (-party.below, who, party))


def _better_placed(
    here: Collection[_Party], counts: Mapping[str, Mapping[int, int]]
) -> tuple[_Party, _Party, int] | None:
    """Find a box that brings who has less nearer to its share than its owner falls below.

    The owner is left with no less than the other then has.
    """
    for size in sorted({size for p in here for size in counts[p.who]}, reverse=True):
        wanting = [p for p in here if p.below > 0]
        wanting.sort(key=lambda p: (p.level + size * p.unit, p.who))
        owners = [p for p in here if counts[p.who].get(size)]
        owners.sort(key=lambda p: (size * p.unit - p.level, p.who))
        for to in wanting:
            helps = min(Fraction(size), to.missing)
            for by in owners:
                if to.level + size * to.unit > by.level - size * by.unit:
                    break
                if min(Fraction(size), max(Fraction(0), by.missing + size)) <= helps:
                    return by, to, size
    return None


def _first_of_several(
    here: Collection[_Party],
    left: Mapping[int, int],
    counts: Mapping[str, Mapping[int, int]],
) -> set[str]:
    """Find who has a last box that somebody who had as little could have had as well."""
    behind: dict[int, str] = {}
    for party in here:
        if party.given < party.asked:
            behind[party.level] = max(party.who, behind.get(party.level, ""))
    return {
        party.who
        for party in here
        for size in counts[party.who]
        if not left.get(size)
        and behind.get(party.level - size * party.unit, "") > party.who
    }


def _reason(party: _Party, level: Fraction, found: int) -> Reason:
    if party.given >= party.asked:
        code = "served" if party.share >= party.asked else "whole"
    elif party.given:
        code = "share"
    elif not found:
        code = "tier" if party.tier > 1 else "nothing"
    elif party.share <= 0:
        code = "received"
    else:
        code = "boxes"
    return Reason(
        code=code,
        asked=party.asked,
        given=party.given,
        received=party.received,
        share=party.share,
        level=level,
        tier=party.tier,
        weight=party.weight,
    )
