"""Complaints: how bad they are, what is decided, and how many there are for what was sent."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)


class Severity(StrEnum):
    """How bad it is, in the words of whoever says so."""

    INJURY = "injury"
    """Somebody was hurt."""
    COULD = "could"
    """Somebody could have been hurt."""
    FAULT = "fault"
    """It does not work."""
    LOOKS = "looks"
    """It works, and looks bad."""
    WISH = "wish"
    """It could be better."""


class Decision(StrEnum):
    """What is decided of a complaint."""

    NONE = "none"
    """Nothing is done, and why."""
    TRACED = "traced"
    """It was looked into, and what was found."""
    CASE = "case"
    """It is followed in a recall case."""


@dataclass(frozen=True)
class Rate(Generic[Key]):
    """Complaints of one lot, revision, part or month, beside what was sent of it."""

    key: Key
    complaints: int
    sets: int
    """Sets in boxes that were sent and hold it; of a month those sent in it."""

    @property
    def per_thousand(self) -> str:
        """Complaints for a thousand sets, with two decimals; empty where none was sent.

        >>> Rate("B", 3, 480).per_thousand
        '6.25'
        """
        if not self.sets:
            return ""
        rate = Decimal(1000 * self.complaints) / self.sets
        return str(rate.quantize(Decimal("0.01"), ROUND_HALF_UP))


def rates(
    complaints: Iterable[tuple[int, Key]], sets: Mapping[Key, int]
) -> list[Rate[Key]]:
    """Set complaints against what was sent.

    Args:
        complaints: The id of each complaint with what it is about; one that is about
            several, such as the lots of a box, comes with each, and counts once for it.
        sets: Sets that were sent, by what they hold.

    Returns:
        One for each that anything was said of, the highest rate first, then the most
        complaints; those of which nothing was sent come first.
    """
    of: dict[Key, set[int]] = defaultdict(set)
    for complaint, key in complaints:
        of[key].add(complaint)
    found = [Rate(key, len(those), sets.get(key, 0)) for key, those in of.items()]

    def bad(rate: Rate[Key]) -> tuple[bool, float, int]:
        share = rate.complaints / rate.sets if rate.sets else 0.0
        return bool(rate.sets), -share, -rate.complaints

    return sorted(found, key=bad)
