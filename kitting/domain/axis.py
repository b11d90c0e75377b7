"""Scales of pictures: round numbers along an axis, and which labels have room beside it.

References:
    P. S. Heckbert: Nice numbers for graph labels, Graphics Gems (1990), pp. 61-63.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import count, pairwise
from typing import Final

USUAL_TICKS: Final = 5


def nice(value: Fraction | int, *, nearest: bool) -> Fraction:
    """Find a round number, 1, 2 or 5 times a power of ten, by a given one.

    Args:
        value: The number, above 0.
        nearest: Whether it is to lie near; else it is not below.

    Returns:
        The round number.

    Raises:
        ValueError: If the number is not above 0.
    """
    if value <= 0:
        raise ValueError(value)
    power, left = Fraction(1), Fraction(value)
    while left >= 10:
        power, left = power * 10, left / 10
    while left < 1:
        power, left = power / 10, left * 10
    for size, half_way in ((1, Fraction(3, 2)), (2, Fraction(3)), (5, Fraction(7))):
        if left < half_way if nearest else left <= size:
            return size * power
    return 10 * power


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis from nothing to a round number, in whole steps."""

    step: int
    top: int
    """At least the largest number that is to be shown, a multiple of the step."""

    @property
    def ticks(self) -> range:
        """The numbers along it, both ends among them."""
        return range(0, self.top + 1, self.step)

    def place(self, value: Fraction | int, length: int) -> float:
        """Where a number lies on it.

        Args:
            value: The number; beyond the ends it lies at the end.
            length: The length of the axis, in the units of the picture.

        Returns:
            The distance from its beginning, in the same units, to a tenth.
        """
        within = min(max(Fraction(value), Fraction(0)), Fraction(self.top))
        return round(float(within * length / self.top), 1)


def axis_to(most: int, ticks: int = USUAL_TICKS) -> Axis:
    """Give an axis for counts.

    Args:
        most: The largest count, 0 or more; of nothing there is an axis as well.
        ticks: About how many numbers stand along it, 2 or more.

    Returns:
        The axis; it never ends below the largest count.
    """
    span = nice(max(most, 1), nearest=False)
    step = max(1, int(nice(span / (ticks - 1), nearest=True)))
    return Axis(step, max(1, -(-most // step)) * step)


def with_room(
    places: Sequence[float], widths: Sequence[float], gap: float
) -> list[int]:
    """Choose labels that do not touch: every one, every second, and so on.

    Args:
        places: The middle of each label, in order along the axis.
        widths: How wide each one is.
        gap: How much stays free between two.

    Returns:
        Which of them are set, counted from 0; the first always is.
    """
    for stride in count(1):
        kept = list(range(0, len(places), stride))
        if all(
            places[two] - places[one] >= (widths[one] + widths[two]) / 2 + gap
            for one, two in pairwise(kept)
        ):
            return kept
    raise AssertionError  # with one label kept, none touches another
