"""Figures of a period: who asked for and got what, day by day, and how long stock lasts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Share:
    """What a consignee asked for and got, in sets."""

    code: str
    name: str
    tier: int | None
    """Of its open request that is needed most, as in ``Tier``; None without one."""
    lacks: int
    """Sets of its open requests that were not given to it."""
    asked: int
    promised: int
    sent: int
    delivered: int


@dataclass(frozen=True, slots=True)
class Day:
    """Sets on one day."""

    day: date
    packed: int
    planned: int | None
    """None where the day has no plan."""
    sent: int


@dataclass(frozen=True, slots=True)
class Lasting:
    """How long what is there lasts, if as much is sent as in the period."""

    ready: int
    """Sets in boxes that are ready to go."""
    packable: int
    """Sets that can be packed now."""
    size: int
    """Of boxes of so many sets; 0 where none can be packed."""
    first: str
    """The part that runs out first; empty where no recipe is in force."""
    sent: int
    """Sets that were sent in the period."""
    days: int
    """Its days so far."""

    @property
    def there(self) -> int:
        """Sets in all."""
        return self.ready + self.packable

    @property
    def a_day(self) -> Fraction:
        """Sets sent a day; 0 where there is no day yet."""
        return Fraction(self.sent, self.days) if self.days else Fraction(0)

    def lasts(self, sets: int) -> Fraction | None:
        """Days that some sets last; None where nothing was sent to divide by."""
        return sets / self.a_day if self.a_day else None


def neediest_first(shares: Iterable[Share]) -> list[Share]:
    """Put consignees in order: by need, what they lack, what they asked, name.

    Args:
        shares: The consignees.

    Returns:
        Them; who has no open request comes last.
    """
    return sorted(
        shares,
        key=lambda each: (
            each.tier is None,
            each.tier or 0,
            -each.lacks,
            -each.asked,
            each.name,
            each.code,
        ),
    )


def in_tenths(value: Fraction) -> str:
    """Write a number with one decimal, rounded down: stock never lasts longer than said."""
    tenths = value.numerator * 10 // value.denominator
    return f"{tenths // 10}.{tenths % 10}"
