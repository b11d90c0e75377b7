"""Which bags feed a box.

A proposal takes from as few lots as it can, because every lot in a box is one more that
can call the box back. Among equally few lots it takes what expires first, then what is
oldest (first expired first out, WHO good distribution practices, Annex 5).
"""

from __future__ import annotations

import datetime as dt
import heapq
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

from kitting.domain.errors import Refused

BagId: TypeAlias = int | str


@dataclass(frozen=True, slots=True)
class Candidate:
    """A bag that may be packed: cleared, not held, in date, of a pinned revision."""

    bag: BagId
    lot: str
    pieces: int
    use_by: dt.date | None
    """None where the lot does not expire; taken last."""
    made_on: dt.date
    arrived: int
    """Rank of the bag's arrival; lower came earlier."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What to take, in this order."""

    takes: tuple[tuple[BagId, int], ...]
    """Bag and pieces, 1 or more each."""
    lots: tuple[str, ...]
    """The lots taken from, in the same order."""
    short: int
    """Pieces that no candidate can give."""


@dataclass(frozen=True, slots=True)
class _Lot:
    lot: str
    bags: tuple[Candidate, ...]
    pieces: int


def propose(need: int, candidates: Iterable[Candidate]) -> Plan:
    """Propose which bags give a number of pieces.

    The fewest lots, exactly: the largest lots together show how few can do. Of all sets
    of that many lots that hold enough, the one whose lots, in order of expiry and age,
    come first. When everything together is too little, everything is taken.

    Args:
        need: Pieces wanted, 0 or more.
        candidates: Bags in any order; empty ones are passed over.

    Returns:
        The plan, the same for any order of the candidates. The first lot is emptied
        before the next is begun, and so is each bag within a lot.

    Raises:
        Refused: If the need is negative, or a bag is named twice.
    """
    if need < 0:
        raise Refused("pieces_negative", value=need)
    lots = _by_lot(candidates)
    if sum(lot.pieces for lot in lots) > need:
        lots = _first_of_fewest(need, lots)
    takes: list[tuple[BagId, int]] = []
    left = need
    for lot in lots:
        for bag in lot.bags:
            taken = min(left, bag.pieces)
            if taken:
                takes.append((bag.bag, taken))
                left -= taken
    return Plan(takes=tuple(takes), lots=tuple(lot.lot for lot in lots), short=left)


def _by_lot(candidates: Iterable[Candidate]) -> list[_Lot]:
    bags: dict[str, list[Candidate]] = defaultdict(list)
    seen: set[BagId] = set()
    for bag in candidates:
        if bag.bag in seen:
            raise Refused("bag_twice", bag=bag.bag)
        seen.add(bag.bag)
        if bag.pieces > 0:
            bags[bag.lot].append(bag)
    lots: list[_Lot] = []
    for lot, its_bags in bags.items():
        its_bags.sort(key=_rank)
        pieces = sum(bag.pieces for bag in its_bags)
        lots.append(_Lot(lot, tuple(its_bags), pieces))
    return sorted(lots, key=lambda lot: _rank(lot.bags[0]))


# The last two settle ties, so that the same stock always gives the same plan.
def _rank(bag: Candidate) -> tuple[dt.date, dt.date, int, str, int, str]:
    text = str(bag.bag)
    use_by = bag.use_by or dt.date.max
    return (use_by, bag.made_on, bag.arrived, bag.lot, len(text), text)


# Needs lots in order of rank that together hold more than enough. A lot may come next
# if the largest of those after it can fill up what is then still missing: the first
# such lot, again and again, is the first combination in order of rank.
def _first_of_fewest(need: int, lots: list[_Lot]) -> list[_Lot]:
    slots = _fewest(need, lots)
    chosen: list[_Lot] = []
    left = need
    for index, lot in enumerate(lots):
        if slots == 0:
            break
        later = (other.pieces for other in lots[index + 1 :])
        if lot.pieces + sum(heapq.nlargest(slots - 1, later)) >= left:
            chosen.append(lot)
            left -= lot.pieces
            slots -= 1
    return chosen


def _fewest(need: int, lots: list[_Lot]) -> int:
    held = count = 0
    for pieces in sorted((lot.pieces for lot in lots), reverse=True):
        if held >= need:
            break
        held += pieces
        count += 1
    return count
