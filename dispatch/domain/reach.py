"""What a fault of a lot would touch today, before anybody knows of one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

Lot: TypeAlias = int


@dataclass(frozen=True, slots=True)
class Packed:
    """A box, and who has it."""

    sets: int
    lots: Set[Lot]
    """Those inside; what these were made from is counted by ``reach_of``."""
    consignee: str = ""
    """Empty for a box that is here."""


@dataclass(frozen=True, slots=True)
class Reach:
    """What a fault of one lot would touch."""

    lot: Lot
    here: int
    """Boxes that are here."""
    boxes: int
    """Boxes that were sent."""
    shares: tuple[tuple[str, Fraction], ...]
    """Of each consignee that has some, what share of its sets, the largest first."""

    @property
    def consignees(self) -> int:
        """How many would have to be told."""
        return len(self.shares)


def reach_of(
    boxes: Iterable[Packed], made_from: Mapping[Lot, Iterable[Lot]]
) -> list[Reach]:
    """Tell for every lot what a fault of it would touch.

    Args:
        boxes: Boxes that are here, and those sent lately.
        made_from: Of each lot that was made from others those it was made from directly.

    Returns:
        One for each lot that is in a box, or that such a lot was made from, however many
        steps back: the one with most consignees first, then with most boxes, the older
        one first where both are alike.
    """
    here: dict[Lot, int] = defaultdict(int)
    sent: dict[Lot, int] = defaultdict(int)
    sets: dict[Lot, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    received: dict[str, int] = defaultdict(int)
    behind: dict[Lot, Set[Lot]] = {}
    for box in boxes:
        lots = {
            origin for lot in box.lots for origin in _behind(lot, made_from, behind)
        }
        if box.consignee:
            received[box.consignee] += box.sets
        for lot in lots:
            if box.consignee:
                sent[lot] += 1
                sets[lot][box.consignee] += box.sets
            else:
                here[lot] += 1
    found = [
        Reach(lot, here[lot], sent[lot], _shares(sets[lot], received))
        for lot in sorted({*here, *sent})
    ]
    return sorted(found, key=lambda each: (-each.consignees, -each.boxes, -each.here))


def _behind(
    lot: Lot, made_from: Mapping[Lot, Iterable[Lot]], known: dict[Lot, Set[Lot]]
) -> Set[Lot]:
    """A lot, and all that it was made from."""
    if lot not in known:
        found, waiting = {lot}, [lot]
        while waiting:
            new = set(made_from.get(waiting.pop(), ())) - found
            found |= new
            waiting += new
        known[lot] = found
    return known[lot]


def _shares(
    sets: Mapping[str, int], received: Mapping[str, int]
) -> tuple[tuple[str, Fraction], ...]:
    shares = [(whom, Fraction(many, received[whom])) for whom, many in sets.items()]
    return tuple(sorted(shares, key=lambda each: (-each[1], each[0])))
