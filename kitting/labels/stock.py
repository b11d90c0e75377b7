"""Label stock: how large the paper is and how fine the printer's dots are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from kitting.domain.errors import NotFit

_MM_PER_INCH: Final = Fraction("25.4")
_POINTS_PER_INCH: Final = 72


@dataclass(frozen=True)
class Stock:
    """One size of label on one printer head."""

    width_mm: Fraction
    height_mm: Fraction
    dots_per_mm: Fraction
    margin_mm: Fraction = Fraction(0)
    """What the printer cannot reach on each side; on a sheet, of the page."""

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


@dataclass(frozen=True)
class Sheet:
    """A page of labels that stand in columns and rows.

    Raises:
        NotFit: ``sheet_has_no_labels`` without a column or a row; ``sheet_too_small``
            when the labels reach over the page.
    """

    page_width_mm: Fraction
    page_height_mm: Fraction
    label: Stock
    """Size of one label, and the dots of the printer."""

    left_mm: Fraction
    """From the edge of the page to the first label."""

    top_mm: Fraction
    columns: int
    rows: int
    gap_across_mm: Fraction = Fraction(0)
    """Between two labels side by side."""

    gap_down_mm: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        """Refuse a grid that is empty or leaves the page."""
        if self.columns < 1 or self.rows < 1:
            raise NotFit("sheet_has_no_labels", columns=self.columns, rows=self.rows)
        wide = self.left_mm + self.columns * self._across - self.gap_across_mm
        high = self.top_mm + self.rows * self._down - self.gap_down_mm
        if wide > self.page_width_mm or high > self.page_height_mm:
            raise NotFit(
                "sheet_too_small",
                needed_width_mm=shown_mm(wide),
                needed_height_mm=shown_mm(high),
                width_mm=shown_mm(self.page_width_mm),
                height_mm=shown_mm(self.page_height_mm),
            )

    @property
    def labels(self) -> int:
        """How many labels stand on a page."""
        return self.columns * self.rows

    @property
    def page(self) -> Stock:
        """The whole page as stock, on the same printer head."""
        return Stock(self.page_width_mm, self.page_height_mm, self.label.dots_per_mm)

    @property
    def dots_per_mm(self) -> Fraction:
        """Dots of the printer's head."""
        return self.label.dots_per_mm

    @property
    def edges_mm(self) -> tuple[Fraction, Fraction]:
        """Least white of the page beside the outer labels, and above or below them."""
        wide = self.columns * self._across - self.gap_across_mm
        high = self.rows * self._down - self.gap_down_mm
        return (
            min(self.left_mm, self.page_width_mm - self.left_mm - wide),
            min(self.top_mm, self.page_height_mm - self.top_mm - high),
        )

    @property
    def _across(self) -> Fraction:
        return self.label.width_mm + self.gap_across_mm

    @property
    def _down(self) -> Fraction:
        return self.label.height_mm + self.gap_down_mm

    def spots(self) -> tuple[tuple[int, int], ...]:
        """Give the upper left corner of each label in dots, row by row.

        Each is rounded to the nearest dot by itself, so that no error adds up.
        """
        dots = self.label.dots_per_mm
        return tuple(
            (
                round((self.left_mm + column * self._across) * dots),
                round((self.top_mm + row * self._down) * dots),
            )
            for row in range(self.rows)
            for column in range(self.columns)
        )


def shown_mm(length: Fraction | float) -> float | int:
    """Give a length in mm as it is told: two decimals, none where they are 0."""
    rounded = round(float(length), 2)
    return int(rounded) if rounded.is_integer() else rounded
