"""How many pieces of a sample to take from which bag."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from typing import TypeVar

from kitting.domain.errors import NotEnoughPieces, Refused

_Bag = TypeVar("_Bag", bound="Hashable")


def draw(sample_size: int, bags: Iterable[tuple[_Bag, int]]) -> dict[_Bag, int]:
    """Share a sample out over the bags of a lot, in proportion to their pieces.

    Largest remainder. Where the sample has a piece for every bag, every bag gives at
    least one. Among bags with equal remainders those that give one more are spread
    evenly over the row, so that the sample does not come from the first bags alone.
    Which pieces of a bag are taken is left to the checker, and to chance.

    Args:
        sample_size: Pieces wanted, 0 or more.
        bags: Each bag and its pieces, in the order in which they were filled; empty
            ones give nothing.

    Returns:
        Pieces to take, 1 or more each, in the order of the bags; together exactly the
        sample, from no bag more than it has.

    Raises:
        NotEnoughPieces: ``sample_more_than_lot``.
        Refused: ``pieces_negative`` or ``bag_twice``.

    References:
        MIL-STD-105E, 4.6.2 (representative sampling), from memory; largest remainder
        is Hamilton's method of apportionment.

    >>> draw(10, [("B-1", 40), ("B-2", 40), ("B-3", 20)])
    {'B-1': 4, 'B-2': 4, 'B-3': 2}
    """
    held = _held(bags)
    total = sum(held.values())
    if sample_size < 0:
        raise Refused("pieces_negative", value=sample_size)
    if sample_size > total:
        raise NotEnoughPieces("sample_more_than_lot", wanted=sample_size, left=total)
    taken = _single(sample_size, held) if sample_size >= len(held) else {}
    left = {bag: pieces for bag, pieces in held.items() if bag not in taken}
    taken |= _apportion(sample_size - sum(taken.values()), left)
    return {bag: taken[bag] for bag in held if taken[bag]}


def _held(bags: Iterable[tuple[_Bag, int]]) -> dict[_Bag, int]:
    held: dict[_Bag, int] = {}
    for bag, pieces in bags:
        if bag in held:
            raise Refused("bag_twice", bag=bag)
        if pieces < 0:
            raise Refused("pieces_negative", value=pieces)
        held[bag] = pieces
    return {bag: pieces for bag, pieces in held.items() if pieces}


def _single(sample_size: int, held: dict[_Bag, int]) -> dict[_Bag, int]:
    """Give one piece each to the bags whose share is below one.

    What they get above their share lessens the share of the others, so it is looked at
    again until nothing changes.
    """
    single: dict[_Bag, int] = {}
    while True:
        left = {bag: pieces for bag, pieces in held.items() if bag not in single}
        total, size = sum(left.values()), sample_size - len(single)
        small = [bag for bag, pieces in left.items() if size * pieces < total]
        if not small:
            return single
        single |= dict.fromkeys(small, 1)


def _apportion(size: int, held: dict[_Bag, int]) -> dict[_Bag, int]:
    total = sum(held.values())
    taken: dict[_Bag, int] = {}
    remainders: dict[int, list[_Bag]] = {}
    for bag, pieces in held.items():
        taken[bag], remainder = divmod(size * pieces, total)
        remainders.setdefault(remainder, []).append(bag)
    left = size - sum(taken.values())
    for remainder in sorted(remainders, reverse=True):
        for bag in _spread(
            min(left, len(remainders[remainder])), remainders[remainder]
        ):
            taken[bag] += 1
            left -= 1
    return taken


def _spread(count: int, row: Sequence[_Bag]) -> list[_Bag]:
    return [row[(2 * i + 1) * len(row) // (2 * count)] for i in range(count)]
