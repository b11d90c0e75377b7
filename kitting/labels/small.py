"""What the labels of 70 × 40 mm share: a number at the foot, twice, and room above it.

Lengths are mm from the top left corner of the label.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.carried import Carried, twice
from kitting.labels.geometry import NUMBER, SMALL_MATRIX, Module, fit_linear, fit_matrix
from kitting.labels.paper import Paper
from kitting.labels.text import Style, fit, width_mm

LEFT: Final = 3.0
RIGHT: Final = 67.0
BASE: Final = 37.2

LOW_NUMBER: Final = Module(NUMBER.wanted_mm, NUMBER.floor_mm, Fraction(10))
"""A number with lower bars, for labels that say much; over 15 % of any length here."""

NUMBER_TEXT: Final = tuple((Style(high, bold=True), 1) for high in (4.0, 3.2, 2.4))
LOW_TEXT: Final = NUMBER_TEXT[1:]
TITLE: Final = Style(1.9)
VALUE: Final = Style(2.4, bold=True)
VALUE_SMALL: Final = Style(1.9, bold=True)
NOTE: Final = Style(1.7)
TITLE_GAP: Final = 1.5
SECOND: Final = 0.42
"""Where the second column starts, in parts of the room."""

STEP: Final = 4.4
LEAST_STEP: Final = 3.1
MARK: Final = tuple((Style(high, bold=True), 1) for high in (2.1, 1.8))
BAND: Final = 4.0
"""Height of the black band that says that a label is not for use."""

Row = list[tuple[float, str, str, Style]]
"""Indent, title, value and the style of the value."""


@dataclass(frozen=True)
class Room:
    """What the symbols and the band leave free."""

    number: str
    """What the label is called when it is refused."""

    top: float
    foot: float
    wide: float
    """From ``LEFT`` to the column of the matrix."""

    @property
    def high(self) -> float:
        """From the top to the foot."""
        return self.foot - self.top

    def hold(self, needed: float) -> None:
        """Refuse what needs more height than there is.

        Raises:
            NotFit: ``label_full``.
        """
        if needed > self.high:
            raise NotFit(
                "label_full",
                number=self.number,
                needed_mm=round(needed, 1),
                room_mm=round(self.high, 1),
            )


def frame(
    paper: Paper,
    number: str,
    *,
    mark: str | None,
    again: str,
    text: str | None,
    low: bool = False,
) -> Room:
    """Draw what every small label has, and give the room that is left.

    Args:
        paper: The label.
        number: What its bars at the foot and its matrix in the corner carry, and what
            it is called when it is refused.
        mark: Text of the black band across the top, if there is one.
        again: What a reprint says; empty on a first print.
        text: What stands below the bars, if anything does.
        low: Whether bars and their text are lower, to leave more room.

    Returns:
        The room.

    Raises:
        CodeError: A number that cannot be encoded.
        NotFit: A symbol or a text that has no room.
    """
    linear, matrix = twice(number)
    foot = _linear(paper, linear, text=text, low=low)
    top = 0.0
    if mark is not None:
        top = BAND
        style, lines = fit(mark, MARK, room_mm=RIGHT - LEFT)
        paper.band(top, lines[0], style)
    column = _matrix(paper, matrix, top, again)
    first = max(2.0, top + 0.6)
    return Room(number=number, top=first, foot=foot, wide=column - LEFT - 2)


def _linear(paper: Paper, carried: Carried, *, text: str | None, low: bool) -> float:
    """Draw the number at the foot, its bars above it; give where letters must end."""
    stock = paper.stock
    bars = carried.bars()
    module = LOW_NUMBER if low else NUMBER
    size = fit_linear(
        bars,
        module=module,
        room=stock.width_dots,
        stock=stock,
        instead=carried.matrix,
    )
    foot = BASE
    if text is not None:
        styles = LOW_TEXT if low else NUMBER_TEXT
        style, lines = fit(text, styles, room_mm=RIGHT - LEFT)
        middle = stock.mm(stock.width_dots) / 2
        paper.text(middle, BASE, lines[0], style, align="centre")
        foot = BASE - style.high_mm - 1
    left = (stock.width_dots - size.wide) // 2
    top = stock.dots(foot) - size.high
    paper.bars(left, top, bars, size)
    return stock.mm(top - size.x)


def _matrix(paper: Paper, carried: Carried, top: float, again: str) -> float:
    """Draw the matrix in the upper right corner; give the left of its column."""
    stock = paper.stock
    cells = carried.matrix()
    size = fit_matrix(cells, module=SMALL_MATRIX, room=stock.dots(16), stock=stock)
    left = stock.dots(RIGHT) - size.side
    high = stock.dots(max(3.0, top + 1.5))
    paper.matrix(left, high, cells, size)
    base = stock.mm(high + size.side + size.quiet) + 0.8 + NOTE.high_mm
    paper.text(RIGHT, base, again, NOTE, align="right")
    return min(stock.mm(left - size.quiet), RIGHT - width_mm(again, NOTE))


def title_lines(
    paper: Paper, room: Room, text: str, styles: Iterable[tuple[Style, int]]
) -> float:
    """Draw the heading of a label; give the base of its last line.

    Args:
        paper: The label.
        room: Where it may stand.
        text: The heading.
        styles: Styles with the lines each may take, best first.

    Returns:
        The base in mm from the top of the label.

    Raises:
        NotFit: When not even the last style holds the text, or its last line has no
            room.
    """
    style, lines = fit(text, tuple(styles), room_mm=room.wide)
    y = room.top
    for line in lines:
        y += style.high_mm + (0.9 if y == room.top else max(1.0, 0.45 * style.high_mm))
        paper.text(LEFT, y, line, style)
    room.hold(y + style.below_mm - room.top)
    return y


def in_rows(
    paper: Paper, room: Room, cells: Sequence[tuple[str, str]], *, y: float, foot: float
) -> float:
    """Draw titles with their values, two to a row where they fit.

    Args:
        paper: The label.
        room: Where they may stand.
        cells: Titles and values in reading order.
        y: Base of what stands above.
        foot: Where their letters must end.

    Returns:
        The base of the last row.

    Raises:
        NotFit: ``text_too_long`` or ``label_full``.
    """
    rows = _rows(cells, VALUE, room.wide)
    if len(rows) > -(-len(cells) // 2):
        rows = _rows(cells, VALUE_SMALL, room.wide)
    foot -= VALUE.below_mm
    room.hold(y - room.top + LEAST_STEP * len(rows) + room.foot - foot)
    step = min(STEP, (foot - y) / len(rows))
    for row in rows:
        y += step
        for x, title, value, heavy in row:
            paper.text(LEFT + x, y, title, TITLE)
            indent = width_mm(title, TITLE) + TITLE_GAP
            paper.text(LEFT + x + indent, y, value, heavy)
    return y


def _rows(cells: Sequence[tuple[str, str]], style: Style, room: float) -> list[Row]:
    """Set titles and values side by side, in two columns where they can."""
    rows: list[Row] = []
    end = room + 1
    for title, value in cells:
        wide = width_mm(title, TITLE) + TITLE_GAP + width_mm(value, style)
        if wide > room:
            raise NotFit("text_too_long", text=value, lines=1, room_mm=round(room, 1))
        start = max(end + 2.5, room * SECOND) if rows else end
        if start + wide > room:
            rows.append([])
            start = 0.0
        rows[-1].append((start, title, value, style))
        end = start + wide
    return rows
