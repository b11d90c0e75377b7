"""How many boxes can be packed of what lies there, and what runs out first.

Not the least of sums: revisions that do not go together lie in different boxes, and what
two kinds of boxes both take is there for one of them only. How many boxes there are of
each kind is a flow from revisions to boxes, line by line; it exists where of any kinds
together no line asks for more than all their revisions have (P. Hall, On representatives
of subsets, 1935, for pieces in place of persons).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

MOST_KINDS: Final = 6
"""Kinds of boxes that are told apart; of more, boxes may be left out, never invented."""

Goes: TypeAlias = Callable[[int, int], bool]


@dataclass(frozen=True, slots=True)
class Need:
    """What one box needs of a line."""

    line: int
    pieces: int
    """1 or more."""
    takes: Sequence[int]
    """Revisions that it takes, mixed as they come; none is of two lines."""


@dataclass(frozen=True, slots=True)
class Cover:
    """What can be packed."""

    boxes: int
    first: int | None
    """The line that runs out first; None where nothing is needed."""


def cover(needs: Sequence[Need], stock: Mapping[int, int], goes: Goes) -> Cover:
    """Tell how many boxes of one size can be packed.

    Args:
        needs: What one box needs, line by line; without any, no box is packed.
        stock: Pieces of each revision; of one that is not named there are none.
        goes: Whether two revisions may lie in one box, whichever is named first.

    Returns:
        The boxes, and the line whose pieces reach for the fewest; of several that
        reach equally far the first.
    """
    if not needs:
        return Cover(0, None)
    kinds = _kinds(needs, stock, goes)[:MOST_KINDS]
    bounds = _bounds(needs, stock, kinds)
    usable = set().union(*kinds) if kinds else set(stock)
    first = min(needs, key=lambda need: _pieces(need, stock, usable) / need.pieces)
    return Cover(_most(bounds, len(kinds)), first.line)


def _pieces(need: Need, stock: Mapping[int, int], usable: Collection[int]) -> int:
    return sum(stock.get(one, 0) for one in need.takes if one in usable)


def _kinds(
    needs: Sequence[Need], stock: Mapping[int, int], goes: Goes
) -> list[frozenset[int]]:
    """Kinds of boxes: revisions that all go together, as many of them as can.

    Revisions of which there is nothing do not count, nor kinds that lack a line.
    """
    there = [one for need in needs for one in need.takes if stock.get(one, 0) > 0]
    beside = {
        one: {two for two in there if two != one and goes(one, two)} for one in there
    }
    free = {one for one in there if len(beside[one]) == len(there) - 1}
    found = [
        frozenset(free | kind)
        for kind in _largest(set(), set(there) - free, set(), beside)
    ]
    whole = [
        kind for kind in found if all(kind.intersection(need.takes) for need in needs)
    ]
    return sorted(whole, key=sorted)


def _largest(
    inside: set[int], may: set[int], seen: set[int], beside: Mapping[int, set[int]]
) -> list[set[int]]:
    """Sets of revisions that go together two by two, and that no other one joins.

    References:
        C. Bron, J. Kerbosch: Algorithm 457, finding all cliques of an undirected graph,
        Communications of the ACM 16 (1973).
    """
    if not may and not seen:
        return [inside]
    found: list[set[int]] = []
    for one in sorted(may):
        near = beside[one]
        found += _largest(inside | {one}, may & near, seen & near, beside)
        may, seen = may - {one}, seen | {one}
    return found


def _bounds(
    needs: Sequence[Need], stock: Mapping[int, int], kinds: Sequence[frozenset[int]]
) -> list[int]:
    """Boxes that any choice of kinds gives at most; the choice is written in bits."""
    bounds = []
    for chosen in range(2 ** len(kinds)):
        of = [kind for nth, kind in enumerate(kinds) if chosen >> nth & 1]
        usable = set().union(*of)
        bounds.append(
            min(_pieces(need, stock, usable) // need.pieces for need in needs)
        )
    return bounds


def _most(bounds: Sequence[int], kinds: int) -> int:
    """The most boxes of all kinds together, so that no choice of them has too many."""
    every = len(bounds) - 1
    best = 0

    def go(nth: int, used: list[int], boxes: int) -> None:
        """Decide on one kind; ``used`` has the boxes of each choice of those before."""
        nonlocal best
        best = max(best, boxes)
        if nth == kinds or best == bounds[every]:
            return
        own = 1 << nth
        later = every & ~(2 * own - 1)
        most = min(bounds[own + chosen] - used[chosen] for chosen in range(own))
        for many in range(most, -1, -1):
            if boxes + many + bounds[later] <= best:
                return
            go(nth + 1, used + [each + many for each in used], boxes + many)

    go(0, [0], 0)
    return best
