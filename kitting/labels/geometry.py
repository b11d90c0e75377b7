"""Sizes of symbols: whole printer dots, quiet zones, and what does not fit.

Only numbers: nothing is drawn here. Lengths are whole dots of the printer's head
unless a name ends in ``_mm``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.code128 import Bars
from kitting.labels.datamatrix import Matrix
from kitting.labels.stock import Stock

LINEAR_QUIET: Final = 10
"""Modules of white on each side of Code 128 (GS1 General Specifications 5.4.4.2)."""

MATRIX_QUIET: Final = 1
"""Cells of white on each side of Data Matrix (GS1 DataMatrix Guideline)."""

LONGEST_MM: Final = Fraction("165.10")
"""GS1-128 with quiet zones (GS1 General Specifications 5.4.4.3)."""

MOST_CHARACTERS: Final = 48
"""Data characters with separators in one GS1-128 (the same section)."""

FEWEST_DOTS: Final = 2
"""Below two dots a bar no longer survives the printer."""


@dataclass(frozen=True)
class Module:
    """How wide the narrow bar or the cell should be and may become."""

    wanted_mm: Fraction
    floor_mm: Fraction
    height_mm: Fraction = Fraction(0)
    """Height of the bars; nothing for a matrix."""

    def wanted_dots(self, stock: Stock) -> int:
        """Give the smallest whole number of dots that reaches the wanted width."""
        return max(FEWEST_DOTS, ceil(self.wanted_mm * stock.dots_per_mm))

    def floor_dots(self, stock: Stock) -> int:
        """Give the smallest whole number of dots that is still allowed."""
        return max(FEWEST_DOTS, ceil(self.floor_mm * stock.dots_per_mm))


LOGISTIC: Final = Module(Fraction("0.495"), Fraction("0.495"), Fraction("31.75"))
"""SSCC: 4 dots at 8 dots/mm (GS1 General Specifications 5.12.3.5, from memory)."""

NUMBER: Final = Module(Fraction("0.375"), Fraction("0.25"), Fraction("12.70"))
"""A workshop's own number: 3 dots at 8 dots/mm where they fit, never under 2."""

MATRIX: Final = Module(Fraction("0.75"), Fraction("0.75"))
"""1.5 times the linear width (GS1 General Specifications 5.12.3.8, table 8: 0.750 to
1.520 mm, from memory); never less."""

SMALL_MATRIX: Final = Module(Fraction("0.5"), Fraction("0.375"))
"""For a bag number; target 0.380 mm (GS1 General Specifications table 6, from memory)."""


@dataclass(frozen=True)
class LinearFit:
    """A linear symbol that has its size."""

    x: int
    """Dots of one module."""

    wide: int
    """Dots from the first bar to the last, without quiet zones."""

    quiet: int
    """Dots of white on each side."""

    high: int
    """Dots of bar height."""

    @property
    def whole(self) -> int:
        """Dots with both quiet zones."""
        return self.wide + 2 * self.quiet


@dataclass(frozen=True)
class MatrixFit:
    """A matrix symbol that has its size."""

    x: int
    """Dots of one cell."""

    side: int
    """Dots on a side, without quiet zone."""

    quiet: int
    """Dots of white on each side."""

    @property
    def whole(self) -> int:
        """Dots on a side with quiet zones."""
        return self.side + 2 * self.quiet


Instead = Callable[[], Matrix]
"""Makes the matrix that could carry the same data."""


def refuse_long(element_string: str, *, instead: Instead) -> None:
    """Refuse more data than one GS1-128 may carry.

    Args:
        element_string: Element string without the leading FNC1.
        instead: The matrix that could carry it.

    Raises:
        NotFit: ``too_many_characters`` over 48, separators counted; with the side of
            the matrix in mm.
    """
    if len(element_string) > MOST_CHARACTERS:
        raise NotFit(
            "too_many_characters",
            text=element_string,
            characters=len(element_string),
            most=MOST_CHARACTERS,
            matrix_mm=_matrix_mm(instead),
        )


def fit_linear(
    bars: Bars, *, module: Module, room: int, stock: Stock, instead: Instead
) -> LinearFit:
    """Give a linear symbol the largest allowed width up to the wanted one.

    Args:
        bars: The symbol.
        module: Wanted and smallest width of the narrow bar, and the bar height.
        room: Dots there are for the symbol with both quiet zones.
        stock: The label and the printer's head.
        instead: The matrix that could carry the same data.

    Returns:
        The size in whole dots.

    Raises:
        NotFit: When the smallest allowed symbol has no room, each with the figure that
            broke and what would fit: ``bars_fit_turned`` when the label's other side
            is long enough; ``bars_too_wide``; ``bars_too_long`` when GS1 allows no
            symbol of that length on any label.
    """
    modules = bars.modules + 2 * LINEAR_QUIET
    longest = stock.dots(LONGEST_MM) if bars.gs1 else room
    fewest = module.floor_dots(stock)
    x = min(module.wanted_dots(stock), min(room, longest) // modules)
    if x < fewest:
        needed = modules * fewest
        told = {
            "needed_mm": _mm(needed, stock),
            "dots": fewest,
            "matrix_mm": _matrix_mm(instead),
        }
        if bars.gs1 and needed > longest:
            raise NotFit("bars_too_long", most_mm=float(LONGEST_MM), **told)
        told["room_mm"] = _room_mm(room, stock)
        told["least_mm"] = _mm(stock.width_dots - room + needed, stock)
        if stock.height_dots - stock.width_dots + room >= needed:
            other = float(round(stock.height_mm, 2))
            raise NotFit("bars_fit_turned", other_mm=other, **told)
        raise NotFit("bars_too_wide", **told)
    high = ceil(module.height_mm * stock.dots_per_mm)
    return LinearFit(x=x, wide=bars.modules * x, quiet=LINEAR_QUIET * x, high=high)


def fit_matrix(matrix: Matrix, *, module: Module, room: int, stock: Stock) -> MatrixFit:
    """Give a matrix symbol the largest allowed cell up to the wanted one.

    Args:
        matrix: The symbol.
        module: Wanted and smallest width of a cell.
        room: Dots there are for the symbol with its quiet zones.
        stock: The label and the printer's head.

    Returns:
        The size in whole dots.

    Raises:
        NotFit: ``matrix_too_wide`` when the smallest allowed symbol has no room, with
            the size of a label that it would fit.
    """
    cells = matrix.cells + 2 * MATRIX_QUIET
    fewest = module.floor_dots(stock)
    x = min(module.wanted_dots(stock), room // cells)
    if x < fewest:
        needed = cells * fewest
        raise NotFit(
            "matrix_too_wide",
            needed_mm=_mm(needed, stock),
            dots=fewest,
            room_mm=_room_mm(room, stock),
            least_width_mm=_mm(stock.width_dots - room + needed, stock),
            least_height_mm=_mm(stock.height_dots - room + needed, stock),
        )
    return MatrixFit(x=x, side=matrix.cells * x, quiet=MATRIX_QUIET * x)


def _mm(dots: int, stock: Stock) -> float:
    """A length as it is told: never less than is needed."""
    return ceil(dots / stock.dots_per_mm * 100) / 100


def _room_mm(dots: int, stock: Stock) -> float:
    """A length as it is told: never more than there is."""
    return floor(dots / stock.dots_per_mm * 100) / 100


def _matrix_mm(instead: Instead) -> float:
    """Side of a matrix with its quiet zone, at the wanted cell of a small one."""
    cells = instead().cells + 2 * MATRIX_QUIET
    return float(cells * SMALL_MATRIX.wanted_mm)
