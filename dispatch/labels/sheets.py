"""Papers of several pages: bands one below the other, tables that go on over pages.

Lengths are mm from the top left corner of the page. Nothing is drawn before it is known
how many pages there are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.paper import Paper
from kitting.labels.stock import Stock
from kitting.labels.text import Style, printable, width_mm, wrap

_DOTS: Final = Fraction(600) / Fraction("25.4")
A4: Final = Stock(Fraction(210), Fraction(297), _DOTS)
LETTER: Final = Stock(Fraction("215.9"), Fraction("279.4"), _DOTS)
_LETTER_IN: Final = frozenset(
    ("BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE")
)
"""Countries whose paper is US Letter: Unicode CLDR, supplemental data, ``paperSize``."""

SIDE: Final = 15.0
TOP: Final = 14.0
RUNNING: Final = 9.0
"""What the line on top of every page but the first takes."""
FOOT: Final = 17.0
GAP: Final = 3.0
"""White between columns."""
STEP: Final = 1.75
"""From line to line, in heights."""

TITLE: Final = Style(4.6, bold=True)
HEAD: Final = Style(1.75)
TEXT: Final = Style(2.15)
BOLD: Final = Style(2.15, bold=True)
NOTE: Final = Style(1.8)


def paper_of(country: str) -> Stock:
    """Give the paper that printers of a country hold.

    Args:
        country: As in ISO 3166-1; empty if it is not known.

    Returns:
        US Letter or A4.
    """
    return LETTER if country in _LETTER_IN else A4


@dataclass(frozen=True)
class Band:
    """Something across the page that no page's end parts."""

    high: float
    draw: Callable[[Paper, float], None]
    """Draws it below some height."""
    keep: bool = False
    """Whether it stays with the band below it."""
    again: Band | None = None
    """What stands above it once more where a page begins with it."""


@dataclass(frozen=True)
class Column:
    """A column of a table."""

    title: str
    wide: float
    right: bool = False
    bold: bool = False


@dataclass(frozen=True)
class Line:
    """A row of a table, and what stands below its cells in smaller type."""

    cells: tuple[str, ...]
    below: str = ""
    total: bool = False


@dataclass(frozen=True)
class Around:
    """What stands on every page around the bands."""

    title: str
    """Of the document."""
    running: str
    """On top of every page but the first."""
    foot: str
    page: str
    """Such as "Page {page} of {pages}"."""
    mark: str | None = None
    """Text across the face of a demo or a practice."""


def lines_in(text: str, style: Style, room_mm: float) -> tuple[str, ...]:
    """Break a text into as many lines as it needs, a word too wide for one as well.

    Args:
        text: Any text.
        style: Weight and size.
        room_mm: Width of a line.

    Returns:
        The lines; none for an empty text.

    Raises:
        NotFit: ``missing_glyph`` or ``marks_too_far``.
    """
    parts: list[str] = []
    for word in printable(" ".join(text.split(" ")), style).split(" "):
        while width_mm(word, style) > room_mm:
            fits = next(
                n
                for n in range(len(word), 0, -1)
                if width_mm(word[:n], style) <= room_mm
            )
            parts.append(word[:fits])
            word = word[fits:]
        parts.append(word)
    return wrap(" ".join(parts), style, room_mm=room_mm, lines=len(parts) + 1)


def text_band(
    text: str, style: Style, wide: float, *, after: float = 2.0, keep: bool = False
) -> Band:
    """Running text across the page.

    Args:
        text: The text.
        style: Weight and size.
        wide: How much room there is.
        after: White below it.
        keep: Whether it stays with what is below it.

    Returns:
        The band.
    """
    lines = lines_in(text, style, wide)

    def draw(paper: Paper, top: float) -> None:
        lines_at(paper, SIDE, top, lines, style)

    return Band(len(lines) * style.high_mm * STEP + after, draw, keep=keep)


def head_band(text: str, wide: float) -> Band:
    """The heading of what is below it, with white above and a rule below.

    Args:
        text: The heading.
        wide: How long the rule is.

    Returns:
        The band.
    """

    def draw(paper: Paper, top: float) -> None:
        paper.text(SIDE, top + 6.0, _short(text, wide, BOLD), BOLD)
        paper.rule(SIDE, top + 7.4, wide, thick=6)

    return Band(8.4, draw, keep=True)


Block = tuple[str, Sequence[str]]
"""A title and the lines below it."""


def beside(blocks: Sequence[Block], wide: float) -> Band:
    """Blocks of lines side by side.

    Args:
        blocks: The blocks; at least one.
        wide: How much room there is for all of them.

    Returns:
        The band.
    """
    room = (wide - GAP * (len(blocks) - 1)) / len(blocks)
    broken = [
        (title, [part for line in lines for part in lines_in(line, TEXT, room)])
        for title, lines in blocks
    ]

    def draw(paper: Paper, top: float) -> None:
        for nth, (title, lines) in enumerate(broken):
            left = SIDE + nth * (room + GAP)
            paper.text(left, top + HEAD.high_mm, _short(title, room, HEAD), HEAD)
            lines_at(paper, left, top + HEAD.high_mm + 1.6, lines, TEXT)

    most = max(len(lines) for _title, lines in broken)
    return Band(HEAD.high_mm + 3.6 + most * TEXT.high_mm * STEP, draw)


def table(columns: Sequence[Column], rows: Sequence[Line]) -> list[Band]:
    """A table; where it goes on over a page, its heads stand on the next one again.

    No row stands alone on a page, neither the first nor the last.

    Args:
        columns: The columns, from the left.
        rows: The rows; a total is one of them.

    Returns:
        The bands: the heads, and one a row.
    """
    titles = [lines_in(each.title, HEAD, each.wide - GAP) for each in columns]
    deep = max(len(each) for each in titles)
    high = deep * HEAD.high_mm * STEP + 2.0

    def draw(paper: Paper, top: float) -> None:
        for column, left, lines in zip(columns, _lefts(columns), titles, strict=True):
            low = top + (deep - len(lines)) * HEAD.high_mm * STEP
            _cell(paper, column, left, low, lines, HEAD)
        paper.rule(SIDE, top + high - 0.8, sum(each.wide for each in columns), thick=4)

    heads = Band(high, draw, keep=True)
    last = len(rows) - 1
    bands = [
        _row(columns, row, heads, keep=nth != last and nth in (0, last - 1))
        for nth, row in enumerate(rows)
    ]
    return [heads, *bands]


def _row(columns: Sequence[Column], row: Line, heads: Band, *, keep: bool) -> Band:
    wide = sum(each.wide for each in columns)
    cells = [
        lines_in(text, _style(column, row), column.wide - GAP)
        for column, text in zip(columns, row.cells, strict=True)
    ]
    below = lines_in(row.below, NOTE, wide - 2 * GAP) if row.below else ()
    deep = max(1, *(len(each) for each in cells)) * TEXT.high_mm * STEP
    high = deep + len(below) * NOTE.high_mm * STEP + 2.2

    def draw(paper: Paper, top: float) -> None:
        for column, left, lines in zip(columns, _lefts(columns), cells, strict=True):
            _cell(paper, column, left, top + 0.6, lines, _style(column, row))
        lines_at(paper, SIDE + GAP, top + deep + 0.6, below, NOTE)
        paper.rule(SIDE, top + high - 0.4, wide, thick=4 if row.total else 1)

    return Band(high, draw, keep=keep, again=heads)


def _style(column: Column, row: Line) -> Style:
    return BOLD if column.bold or row.total else TEXT


def _lefts(columns: Sequence[Column]) -> list[float]:
    return [
        SIDE + sum(one.wide for one in columns[:nth]) for nth in range(len(columns))
    ]


def _cell(
    paper: Paper,
    column: Column,
    left: float,
    top: float,
    lines: Sequence[str],
    style: Style,
) -> None:
    align = "right" if column.right else "left"
    at = left + column.wide - GAP if column.right else left
    lines_at(paper, at, top, lines, style, align=align)


def lines_at(
    paper: Paper,
    left: float,
    top: float,
    lines: Sequence[str],
    style: Style,
    *,
    align: str = "left",
) -> None:
    """Draw lines one below the other.

    Args:
        paper: Where.
        left: From the left, or where they end, by ``align``.
        top: From the top.
        lines: The lines.
        style: Weight and size.
        align: As for a text.
    """
    for nth, line in enumerate(lines):
        base = top + style.high_mm * (nth * STEP + 1.3)
        paper.text(left, base, line, style, align=align)


def to_fill(titles: Sequence[str], wide: float, *, in_row: int = 3) -> Band:
    """Lines that somebody writes on, each with its title below.

    Args:
        titles: What is written there.
        wide: How much room there is for all of them.
        in_row: How many stand side by side.

    Returns:
        The band.
    """
    room = (wide - GAP * (in_row - 1)) / in_row
    high = 15.0

    def draw(paper: Paper, top: float) -> None:
        for nth, title in enumerate(titles):
            down, across = divmod(nth, in_row)
            left, low = SIDE + across * (room + GAP), top + (down + 1) * high - 4.0
            paper.rule(left, low, room, thick=4)
            paper.text(left, low + 3.4, _short(title, room, HEAD), HEAD)

    return Band(-(-len(titles) // in_row) * high + 1.0, draw)


def press(bands: Sequence[Band], around: Around, on: Stock) -> bytes:
    """Set bands on pages and draw them.

    Args:
        bands: From the top.
        around: What stands on every page.
        on: The paper.

    Returns:
        The document, as PDF; the same bytes for the same bands.

    Raises:
        NotFit: A character that the typeface lacks.
    """
    return press_all([(bands, around)], on)


def press_all(papers: Sequence[tuple[Sequence[Band], Around]], on: Stock) -> bytes:
    """Set several papers in one document, each with pages of its own; see ``press``.

    Args:
        papers: Of each the bands and what stands around them; at least one.
        on: The paper.

    Returns:
        The document, as PDF.

    Raises:
        NotFit: A character that the typeface lacks.
    """
    paper = Paper(on, title=papers[0][1].title)
    for bands, around in papers:
        _draw(paper, bands, around)
    return paper.finish()


def _draw(paper: Paper, bands: Sequence[Band], around: Around) -> None:
    pages = _paged(bands, float(paper.stock.height_mm))
    wide = float(paper.stock.width_mm) - 2 * SIDE
    for nth, page in enumerate(pages, start=1):
        _across(paper, around.mark)
        if nth > 1:
            paper.text(SIDE, TOP + TEXT.high_mm, _short(around.running, wide), TEXT)
            paper.rule(SIDE, TOP + TEXT.high_mm + 1.6, wide, thick=2)
        _foot(paper, around, nth, len(pages))
        y = _start(nth)
        for band in page:
            band.draw(paper, y)
            y += band.high
        paper.next_page()


def _foot(paper: Paper, around: Around, nth: int, of: int) -> None:
    stock = paper.stock
    base = float(stock.height_mm) - 10.0
    right = float(stock.width_mm) - SIDE
    paper.rule(SIDE, base - 4.0, right - SIDE, thick=2)
    said = around.page.format(page=nth, pages=of)
    paper.text(right, base, said, HEAD, align="right")
    room = right - SIDE - width_mm(said, HEAD) - GAP
    paper.text(SIDE, base, _short(around.foot, room, HEAD), HEAD)


def _short(text: str, room: float, style: Style = TEXT) -> str:
    lines = lines_in(text, style, room)
    return lines[0] if lines else ""


def _start(nth: int) -> float:
    return TOP if nth == 1 else TOP + RUNNING


def _paged(bands: Sequence[Band], high: float) -> list[list[Band]]:
    """Set bands on pages: what is kept together goes on to the next page together."""
    pages: list[list[Band]] = [[]]
    y, end = _start(1), high - FOOT
    for group in _together(bands):
        needed = sum(band.high for band in group)
        if pages[-1] and y + needed > end:
            pages.append([])
            y = _start(len(pages))
            if again := group[0].again:
                pages[-1].append(again)
                y += again.high
        pages[-1] += group
        y += needed
    return pages


def _together(bands: Sequence[Band]) -> list[list[Band]]:
    groups: list[list[Band]] = [[]]
    for band in bands:
        groups[-1].append(band)
        if not band.keep:
            groups.append([])
    return [group for group in groups if group]


_MARK_TURNED: Final = 55
_MARK_ROOM: Final = 235.0


def _across(paper: Paper, mark: str | None) -> None:
    """Draw the mark of a demo or a practice, hollow, so that all stays readable."""
    if mark is None:
        return
    middle = float(paper.stock.width_mm) / 2, float(paper.stock.height_mm) / 2
    for high in (14.0, 11.0, 9.0, 7.0, 5.0):
        style = Style(high, bold=True)
        if width_mm(printable(mark, style), style) <= _MARK_ROOM:
            paper.slanted_outline(*middle, mark, style, degrees=_MARK_TURNED)
            return
    raise NotFit("text_too_long", text=mark, lines=1, room_mm=_MARK_ROOM)
