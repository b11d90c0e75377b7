"""Sizes of symbols: whole printer dots, quiet zones, and what does not fit.

Only numbers: nothing is drawn here. Lengths are whole dots of the printer's head
unless a name ends in ``_mm``.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil
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

MATRIX: Final = Module(Fraction("0.75"), Fraction("0.5"))
"""1.5 times the linear width (GS1 General Specifications, table 8); 4 dots or more."""

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


def refuse_long(element_string: str) -> None:
    """Refuse more data than one GS1-128 may carry.

    Args:
        element_string: Element string without the leading FNC1.

    Raises:
        NotFit: ``too_many_characters`` over 48, separators counted.
    """
    if len(element_string) > MOST_CHARACTERS:
        raise NotFit(
            "too_many_characters",
            text=element_string,
            characters=len(element_string),
            most=MOST_CHARACTERS,
        )


def fit_linear(bars: Bars, *, module: Module, room: int, stock: Stock) -> LinearFit:
    """Give a linear symbol the largest allowed width up to the wanted one.

    Args:
        bars: The symbol.
        module: Wanted and smallest width of the narrow bar, and the bar height.
        room: Dots there are for the symbol with both quiet zones.
        stock: The paper and the printer's head.

    Returns:
        The size in whole dots.

    Raises:
        NotFit: ``bars_too_wide`` when the smallest allowed symbol is wider than the
            room or than GS1 allows.
    """
    most = min(room, stock.dots(LONGEST_MM)) if bars.gs1 else room
    modules = bars.modules + 2 * LINEAR_QUIET
    x = _largest(modules, module=module, most=most, stock=stock, code="bars_too_wide")
    high = ceil(module.height_mm * stock.dots_per_mm)
    return LinearFit(x=x, wide=bars.modules * x, quiet=LINEAR_QUIET * x, high=high)


def fit_matrix(matrix: Matrix, *, module: Module, room: int, stock: Stock) -> MatrixFit:
    """Give a matrix symbol the largest allowed cell up to the wanted one.

    Args:
        matrix: The symbol.
        module: Wanted and smallest width of a cell.
        room: Dots there are for the symbol with its quiet zones.
        stock: The paper and the printer's head.

    Returns:
        The size in whole dots.

    Raises:
        NotFit: ``matrix_too_wide`` when the smallest allowed symbol has no room.
    """
    cells = matrix.cells + 2 * MATRIX_QUIET
    x = _largest(cells, module=module, most=room, stock=stock, code="matrix_too_wide")
    return MatrixFit(x=x, side=matrix.cells * x, quiet=MATRIX_QUIET * x)


def _largest(
    modules: int, *, module: Module, most: int, stock: Stock, code: str
) -> int:
    floor = module.floor_dots(stock)
    x = min(module.wanted_dots(stock), most // modules)
    if x < floor:
        raise NotFit(
            code,
            needed_mm=round(stock.mm(modules * floor), 2),
            room_mm=round(stock.mm(most), 2),
        )
    return x
