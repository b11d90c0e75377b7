"""What labels of 100 × 150 mm share that go to a consignee: to whom, when, what, from whom.

Lengths are mm from the top left corner of the label.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.carried import Carried
from kitting.labels.large import (
    GAP,
    LEFT,
    RIGHT,
    TITLE,
    WIDE,
    across,
    foot_symbol,
    maker,
)
from kitting.labels.paper import Paper
from kitting.labels.text import Style, fit, width_mm, wrap

TOP: Final = 6.2
SIZES: Final = tuple(
    (Style(name, bold=True), Style(other))
    for name, other in ((5.6, 4.4), (4.8, 3.8), (4.0, 3.2), (3.2, 2.6), (2.8, 2.3))
)
"""Of the name and of the other lines of the address; the first that has room is taken."""

STAMP: Final = Style(7.0, bold=True)
"""The day of sending, as large as the pack date of a box."""
STAMP_WIDE: Final = 60.0
BESIDE: Final = tuple((Style(high, bold=True), 1) for high in (5.6, 4.4, 3.4, 2.6))
ROW: Final = 5.6
STAMP_HIGH: Final = 19.0
"""The stamp and what stands beside it, with titles, rules and white, above the rows."""
HALF: Final = 46.0
"""Where the second of two facts in a row begins, from the left."""

LINE_STEP: Final = 1.65
"""From line to line, in heights."""

NUMBER: Final = tuple((Style(high, bold=True), 1) for high in (3.2, 2.6, 2.2, 1.9))
TEXT: Final = (
    *NUMBER[:2],
    *((Style(2.2, bold=True), 2), (Style(1.8, bold=True), 3), (Style(1.4), 3)),
)
"""The last is for what no blank breaks, such as a reference of forty capitals."""

_FIRST: Final = TOP + TITLE.high_mm + 3.0
"""Where the address begins."""


@dataclass(frozen=True)
class Fact:
    """A title and what stands beside it, from some way to the right."""

    left: float
    title: str
    indent: float
    lines: tuple[str, ...]
    style: Style


@dataclass(frozen=True)
class Row:
    """Facts side by side."""

    facts: tuple[Fact, ...]

    @property
    def high(self) -> float:
        """Its height, in mm."""
        more = max(len(fact.lines) for fact in self.facts) - 1
        return ROW + more * max(fact.style.high_mm for fact in self.facts) * LINE_STEP


@dataclass(frozen=True)
class Face:
    """What stands on such a label, with its titles, from the top to the foot."""

    number: str
    """What the label is called when it is refused."""
    title: str
    """Over the lines on top."""
    lines: Sequence[str]
    """Name and address; or what else is to be read from afar."""
    name: int
    """Which of these lines is set bold and larger, from 0."""
    country: str
    stamp: tuple[str, str]
    """A title and what is as large as a date stamp."""
    beside: tuple[str, str]
    rows: Sequence[Row]
    symbol: Carried
    sender: str
    maker_name: str
    maker_address: tuple[str, ...]
    again: str
    """What a reprint says; empty on a first print."""
    mark: str | None
    sizes: Sequence[tuple[Style, Style]] = SIZES
    """Of that line and of the others; the first that has room is taken."""


def pair(title: str, value: str, other: str = "", its: str = "") -> Row:
    """Put one or two short facts side by side.

    Args:
        title: What the first is.
        value: A number or figures.
        other: What the second is.
        its: Its value; empty for none.

    Returns:
        The row.

    Raises:
        NotFit: When it has no room.
    """
    room = HALF - GAP if its else WIDE
    facts = [_fact(0.0, title, value, NUMBER, room)]
    if its:
        facts.append(_fact(HALF, other, its, NUMBER, WIDE - HALF))
    return Row(tuple(facts))


def alone(title: str, value: str) -> Row:
    """Give a text a row of its own.

    Args:
        title: What it is.
        value: The text.

    Returns:
        The row.

    Raises:
        NotFit: When it has no room.
    """
    return Row((_fact(0.0, title, value, TEXT, WIDE),))


def _fact(
    left: float,
    title: str,
    value: str,
    styles: tuple[tuple[Style, int], ...],
    room: float,
) -> Fact:
    indent = width_mm(title, TITLE) + 2.0
    style, lines = fit(value, styles, room_mm=room - indent)
    return Fact(left, title, indent, lines, style)


def draw_face(paper: Paper, face: Face) -> None:
    """Draw such a label where the paper stands.

    Args:
        paper: A label of 100 × 150 mm.
        face: What stands on it.

    Raises:
        CodeError: A number that breaks a rule of GS1 or cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    across(paper, face.mark)
    foot = maker(
        paper,
        face.maker_name,
        face.maker_address,
        again=face.again,
        foot=foot_symbol(paper, face.symbol),
        title=face.sender,
    )
    top = foot - STAMP_HIGH - sum(row.high for row in face.rows)
    lines = _lines_above(face, top)
    paper.text(LEFT, TOP + TITLE.high_mm, face.title, TITLE)
    y = _FIRST
    for line, down, of_line in lines:
        y += down
        paper.text(LEFT, y, line, of_line)
    paper.rule(LEFT, top, RIGHT - LEFT, thick=3)
    _draw_stamp(paper, face, top)
    _draw_rows(paper, face.rows, top + STAMP_HIGH - 3.0)


def _lines_above(face: Face, top: float) -> list[tuple[str, float, Style]]:
    """Break the address in the first sizes in which it ends above a line."""
    refused: list[NotFit] = []
    for name, other in face.sizes:
        try:
            lines = _lines(face, name, other)
        except NotFit as error:  # A word that is too wide may fit when it is smaller.
            refused.append(error)
            continue
        needed = sum(down for _, down, _ in lines) + 4.0
        if _FIRST + needed <= top:
            return lines
        room = {"needed_mm": round(needed, 1), "room_mm": round(top - _FIRST, 1)}
        refused.append(NotFit("label_full", number=face.number, **room))
    raise refused[-1]


def _lines(face: Face, name: Style, other: Style) -> list[tuple[str, float, Style]]:
    """Break the address into what is drawn: a line, its way down, its style."""
    lines = [
        (line, name if nth == face.name else other)
        for nth, line in enumerate(face.lines)
        if line.strip()
    ]
    if face.country:
        lines.append((face.country.upper(), other))
    found: list[tuple[str, float, Style]] = []
    for nth, (line, style) in enumerate(lines):
        for piece in wrap(line, style, room_mm=WIDE, lines=3):
            down = style.high_mm * (LINE_STEP if found else 1.0)
            found.append((piece, down + (1.0 if nth == 1 else 0.0), style))
    return found


def _draw_stamp(paper: Paper, face: Face, top: float) -> None:
    """Draw the day of sending, and what is read with it beside it."""
    (title, stamp), (other, its) = face.stamp, face.beside
    y = top + 3.0 + TITLE.high_mm
    right = LEFT + STAMP_WIDE
    paper.text(LEFT, y, title, TITLE)
    paper.text(right, y, other, TITLE)
    y += 2.4 + STAMP.high_mm
    # Large figures carry their own white; without it they stand on the margin.
    paper.text(LEFT - STAMP.high_mm * 0.07, y, stamp, STAMP)
    if its:
        style, shown = fit(its, BESIDE, room_mm=WIDE - STAMP_WIDE)
        paper.text(right, y, shown[0], style)


def _draw_rows(paper: Paper, rows: Sequence[Row], y: float) -> None:
    for row in rows:
        y += ROW
        for fact in row.facts:
            paper.text(LEFT + fact.left, y, fact.title, TITLE)
            left = LEFT + fact.left + fact.indent
            for nth, line in enumerate(fact.lines):
                down = nth * fact.style.high_mm * LINE_STEP
                paper.text(left, y + down, line, fact.style)
        y += row.high - ROW
