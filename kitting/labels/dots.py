"""A label in the printer's own dots, and whether its symbols are exact in them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby, product
from typing import Final

from kitting.domain.errors import LotwardError
from kitting.labels.code128 import Bars
from kitting.labels.datamatrix import Matrix
from kitting.labels.geometry import LINEAR_QUIET, MATRIX_QUIET

_BLACK: Final = b"\x00"
_WHITE: Final = b"\xff"
_NEAR: Final = sorted(range(-3, 4), key=abs)
"""How far, in dots, the decoder may be wrong about where a matrix stands."""


@dataclass(frozen=True)
class Raster:
    """A page in the printer's own dots, one byte each: 0 black, 255 white."""

    wide: int
    high: int
    dots: bytes

    def row(self, y: int) -> bytes:
        """Give one line of dots."""
        return self.dots[y * self.wide : (y + 1) * self.wide]

    def part(self, left: int, top: int, wide: int, high: int) -> Raster:
        """Cut out a rectangle."""
        if (left, top, wide, high) == (0, 0, self.wide, self.high):
            return self
        rows = (self.row(y)[left : left + wide] for y in range(top, top + high))
        return Raster(wide, high, b"".join(rows))


@dataclass(frozen=True)
class Symbol:
    """A symbol as it was read."""

    symbology_identifier: str
    """As a scanner reports it, such as ``]C1`` (ISO/IEC 15424)."""

    data: str
    """What follows it; GS (0x1D) separates; no leading FNC1."""

    left: int
    """Dots from the left edge of the page to the symbol."""

    right: int
    top: int
    """Dots from the top of the page to the symbol."""

    foot: int

    @property
    def middle(self) -> int:
        """Dots from the top of the page to the middle of the symbol."""
        return (self.top + self.foot) // 2


def refuse_uneven_bars(raster: Raster, symbol: Symbol, bars: Bars, number: str) -> None:
    """Compare each bar and space with its modules, and what is around the symbol.

    Beside it 10 modules are white over its whole height (ISO/IEC 15417; GS1 General
    Specifications 5.4.4.2). Above and below it one module is: the usual space between
    bars and the text under them, of which the least is half of that (GS1 General
    Specifications, human readable interpretation; both from memory).

    Args:
        raster: The dots.
        symbol: Where the decoder found it.
        bars: What it must be.
        number: What the label is called in the error.

    Raises:
        LotwardError: ``bars_uneven`` when a bar or space is not its whole dots wide;
            ``quiet_zone_not_white`` when something stands too near on any side.
    """
    row = raster.row(symbol.middle)
    found = element_dots(row, symbol.left, len(bars.widths))
    x, rest = divmod(sum(found), bars.modules)
    if rest or found != tuple(modules * x for modules in bars.widths):
        raise LotwardError("bars_uneven", number=number)
    first, quiet = _first_bar(row, symbol.left), LINEAR_QUIET * x
    last = first + sum(found)
    white, line = _WHITE * quiet, row[first:last]
    top = foot = symbol.middle
    while top > 0 and raster.row(top - 1)[first:last] == line:
        top -= 1
    while foot < raster.high and raster.row(foot)[first:last] == line:
        foot += 1
    sides = (
        (across[max(0, first - quiet) : first], across[last : last + quiet])
        for across in map(raster.row, range(top, foot))
    )
    above = (
        raster.row(y)[max(0, first - quiet) : last + quiet]
        for y in (*range(top - x, top), *range(foot, foot + x))
    )
    clear = all(side == (white, white) for side in sides)
    if not clear or set(above) != {white + _WHITE * len(line) + white}:
        raise LotwardError("quiet_zone_not_white", number=number, dots=quiet)


def refuse_uneven_cells(
    raster: Raster, symbol: Symbol, matrix: Matrix, number: str
) -> None:
    """Compare each dot of a matrix and of its quiet zone.

    Args:
        raster: The dots.
        symbol: Where the decoder found it.
        matrix: What it must be.
        number: What the label is called in the error.

    Raises:
        LotwardError: ``cells_uneven`` when a dot is not as it must be.
    """
    x = round((symbol.right - symbol.left) / matrix.cells)
    lines = list(_cell_lines(matrix, x))
    quiet = MATRIX_QUIET * x
    for down, across in product(_NEAR, _NEAR):
        left, top = symbol.left - quiet + across, symbol.top - quiet + down
        if left >= 0 and top >= 0 and _stands(raster, lines, left, top):
            return
    raise LotwardError("cells_uneven", number=number)


def _cell_lines(matrix: Matrix, x: int) -> Iterator[bytes]:
    """Give the lines of dots of a matrix with its quiet zone, from the top."""
    quiet = MATRIX_QUIET * x
    white = _WHITE * (matrix.cells * x + 2 * quiet)
    yield from [white] * quiet
    for row in matrix.rows:
        cells = b"".join((_BLACK if dark else _WHITE) * x for dark in row)
        yield from [_WHITE * quiet + cells + _WHITE * quiet] * x
    yield from [white] * quiet


def _stands(raster: Raster, lines: list[bytes], left: int, top: int) -> bool:
    """Tell whether these lines of dots stand at a place."""
    start = top * raster.wide + left
    for line in lines:
        if raster.dots[start : start + len(line)] != line:
            return False
        start += raster.wide
    return True


def element_dots(row: bytes, near: int, elements: int) -> tuple[int, ...]:
    """Measure bars and spaces along a line of dots.

    Args:
        row: One line of a raster.
        near: Dots from the left to somewhere on or just before the first bar.
        elements: How many bars and spaces to measure.

    Returns:
        Their widths in dots, starting with a bar; fewer when the line ends before.
    """
    at = _first_bar(row, near)
    if at < 0:
        return ()
    runs = [len(list(run)) for _, run in groupby(row[at:])]
    return tuple(runs[:elements])


def _first_bar(row: bytes, near: int) -> int:
    """Find where the bar begins that is at or after a place; -1 without one."""
    at = near
    while at > 0 and row[at - 1] == 0:
        at -= 1
    return row.find(0, at)
