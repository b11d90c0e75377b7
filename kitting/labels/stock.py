"""Label stock: how large the paper is and how fine the printer's dots are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

_MM_PER_INCH: Final = Fraction("25.4")
_POINTS_PER_INCH: Final = 72

HEAD_203: Final = Fraction(8)
"""Dots per mm of a head sold as "203 dpi", which really has 203.2."""

HEAD_300: Final = Fraction(300) / _MM_PER_INCH
"""Dots per mm of a head with 300 dots to the inch. Some heads have 12 to the mm."""


@dataclass(frozen=True)
class Stock:
    """One size of label on one printer head."""

    width_mm: Fraction
    height_mm: Fraction
    dots_per_mm: Fraction

    @property
    def width_dots(self) -> int:
        """Page width in whole dots."""
        return round(self.width_mm * self.dots_per_mm)

    @property
    def height_dots(self) -> int:
        """Page height in whole dots."""
        return round(self.height_mm * self.dots_per_mm)

    @property
    def points_per_dot(self) -> Fraction:
        """Size of one dot in PDF points."""
        return _POINTS_PER_INCH / _MM_PER_INCH / self.dots_per_mm

    @property
    def dots_per_inch(self) -> Fraction:
        """Resolution of the head."""
        return self.dots_per_mm * _MM_PER_INCH

    def dots(self, length_mm: float | Fraction) -> int:
        """Give the whole dots that fit into a length in mm."""
        return int(Fraction(length_mm) * self.dots_per_mm + Fraction(1, 1000))

    def mm(self, dots: int) -> float:
        """Give the length in mm of a number of dots."""
        return float(dots / self.dots_per_mm)

    def at(self, dots_per_mm: Fraction) -> Stock:
        """Give the same paper on another printer head."""
        return replace(self, dots_per_mm=dots_per_mm)


BOX_100X150: Final = Stock(Fraction(100), Fraction(150), HEAD_203)
BAG_70X40: Final = Stock(Fraction(70), Fraction(40), HEAD_203)
