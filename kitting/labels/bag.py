"""The label of a bag: 70 × 40 mm, its number twice and what is in it.

Lengths are mm from the top left corner.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.bag_label import BagContent, BagLabel, BagWords, bag_symbols
from kitting.labels.carried import Carried
from kitting.labels.geometry import NUMBER, SMALL_MATRIX, fit_linear, fit_matrix
from kitting.labels.paper import Paper
from kitting.labels.stock import Stock
from kitting.labels.text import Style, fit, width_mm

__all__ = ["BagContent", "BagLabel", "BagWords", "bag_symbols", "draw_bag", "draw_bags"]

LEFT: Final = 3.0
RIGHT: Final = 67.0
BASE: Final = 37.2

NUMBER_TEXT: Final = tuple((Style(high, bold=True), 1) for high in (4.0, 3.2, 2.4))
PART: Final = ((Style(3.0, bold=True), 1), (Style(2.4, bold=True), 2))
TITLE: Final = Style(1.9)
VALUE: Final = Style(2.4, bold=True)
VALUE_SMALL: Final = Style(1.9, bold=True)
TITLE_GAP: Final = 1.5
ROWS: Final = 2
SECOND: Final = 0.42
"""Where the second column starts, in parts of the room."""

LEAST_STEP: Final = 3.4
MARK: Final = tuple((Style(high, bold=True), 1) for high in (2.4, 1.9))
BAND: Final = 4.0
"""Height of the black band that says that a label is not for use."""


def draw_bag(label: BagLabel, stock: Stock) -> bytes:
    """Draw one bag label.

    Args:
        label: What it says; without content only the number is drawn.
        stock: Paper of 70 × 40 mm and the printer's head.

    Returns:
        A PDF of one page; the same bytes for the same label and stock.

    Raises:
        CodeError: A number that cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    return draw_bags([label], stock)


def draw_bags(labels: Sequence[BagLabel], stock: Stock) -> bytes:
    """Draw bag labels, one to a page.

    Args:
        labels: What they say, at least one, in the order of the pages.
        stock: Paper of 70 × 40 mm and the printer's head.

    Returns:
        A PDF; the same bytes for the same labels and stock.

    Raises:
        CodeError: As in ``draw_bag``.
        NotFit: As in ``draw_bag``.
    """
    paper = Paper(stock, title=" ".join(label.number for label in labels[:3]))
    for label in labels:
        _draw(paper, label)
        paper.next_page()
    return paper.finish()


def _draw(paper: Paper, label: BagLabel) -> None:
    linear, matrix = bag_symbols(label)
    foot = _linear(paper, linear)
    top = 0.0
    if label.mark is not None:
        top = BAND
        style, lines = fit(label.mark, MARK, room_mm=RIGHT - LEFT)
        paper.band(top, lines[0], style)
    column = _matrix(paper, matrix, top)
    if label.content is not None:
        room = column - LEFT - 2
        _content(paper, label.content, label.words, top=top, foot=foot, room=room)


def _linear(paper: Paper, carried: Carried) -> float:
    """Draw the number at the foot, its bars above it; give the top of the bars."""
    stock = paper.stock
    bars = carried.bars()
    size = fit_linear(bars, module=NUMBER, room=stock.width_dots, stock=stock)
    style, lines = fit(carried.data, NUMBER_TEXT, room_mm=RIGHT - LEFT)
    middle = stock.mm(stock.width_dots) / 2
    paper.text(middle, BASE, lines[0], style, align="centre")
    left = (stock.width_dots - size.wide) // 2
    top = stock.dots(BASE - style.high_mm - 1) - size.high
    paper.bars(left, top, bars, size)
    return stock.mm(top) - 0.3


def _matrix(paper: Paper, carried: Carried, top: float) -> float:
    """Draw the matrix in the upper right corner; give the left of its column."""
    stock = paper.stock
    cells = carried.matrix()
    size = fit_matrix(cells, module=SMALL_MATRIX, room=stock.dots(16), stock=stock)
    left = stock.dots(RIGHT) - size.side
    high = stock.dots(max(3.0, top + 1.5))
    paper.matrix(left, high, cells, size)
    return stock.mm(left - size.quiet)


def _content(
    paper: Paper,
    content: BagContent,
    words: BagWords,
    *,
    top: float,
    foot: float,
    room: float,
) -> None:
    """Draw the part and below it, in rows, what else is known."""
    style, lines = fit(content.part, PART, room_mm=room)
    y = max(2.0, top + 0.6)
    for line in lines:
        y += style.high_mm + 1
        paper.text(LEFT, y, line, style)
    cells = [
        (words.lot, content.lot),
        (words.revision, content.revision),
        (words.pieces, content.pieces),
        (words.made_on, content.made_on.isoformat()),
    ]
    rows = _rows(cells, VALUE, room)
    if len(rows) > ROWS:
        rows = _rows(cells, VALUE_SMALL, room)
    step = min(4.4, (foot - y) / len(rows))
    if step < LEAST_STEP:
        raise NotFit(
            "label_full",
            number=content.lot,
            needed_mm=round(y - top + LEAST_STEP * len(rows), 1),
            room_mm=round(foot - top, 1),
        )
    for row in rows:
        y += step
        for x, title, value, heavy in row:
            paper.text(LEFT + x, y, title, TITLE)
            indent = width_mm(title, TITLE) + TITLE_GAP
            paper.text(LEFT + x + indent, y, value, heavy)


def _rows(
    cells: list[tuple[str, str]], style: Style, room: float
) -> list[list[tuple[float, str, str, Style]]]:
    """Set titles and values side by side, in two columns where they can."""
    rows: list[list[tuple[float, str, str, Style]]] = []
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
