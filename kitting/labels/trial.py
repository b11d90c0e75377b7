"""A page that shows where a printer puts its dots: edges, rulers, exact bars.

Somebody holds a ruler beside it: the lines say what should be where. Lengths are mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.carried import of_number
from kitting.labels.geometry import FEWEST_DOTS, LINEAR_QUIET, LinearFit
from kitting.labels.paper import Paper
from kitting.labels.pressed import Pressed
from kitting.labels.readback import check_raster, rasterise
from kitting.labels.stock import Sheet, Stock, shown_mm
from kitting.labels.text import Style, fit

TRIAL: Final = of_number("TEST", linear=True)
"""Its bars and spaces are 1, 2, 3 and 4 modules wide."""

WANTED_DOTS: Final = 3
TICK_TEXT: Final = Style(1.5)
NAME: Final = ((Style(2.2, bold=True), 2), (Style(1.6, bold=True), 3))
FIGURES: Final = ((Style(1.8), 1), (Style(1.5), 2))
LEAST: Final = (50, 25)
LEFT: Final = 8.0
FIGURES_END: Final = 7.0
"""No figure of the ruler at the left reaches further."""

TOP: Final = 5.6
ROOMY: Final = 40
"""From this height on the lines are explained."""

BARS: Final = (8.0, 3.0)
"""Height of the bars, and the least."""

EDGE: Final = 2
"""Dots that a frame is thick."""

COMB: Final = (1, 2, 3, 4)
"""Dots that the lines of a comb are thick, and the white between them."""

COMB_LINES: Final = 3
COMB_GAP: Final = 1.5


@dataclass(frozen=True)
class TrialWords:
    """Every word on the page that is not data, in the workshop's language."""

    size: str = "{width} × {height} mm, {dots} dots per mm"
    grid: str = "{columns} × {rows} on {width} × {height} mm"
    bar: str = "Narrow bar {dots} dots, {mm} mm"
    edges: str = "Outer line: edge of the label. Inner line: {mm} mm inside."
    edge: str = "Outer line: edge of the label."
    page_edge: str = "Line along the page: {mm} mm inside its edge."


def test_page(
    on: Stock | Sheet,
    *,
    name: str,
    words: TrialWords | None = None,  # noqa: PT028
) -> Pressed:
    """Draw what shows whether a printer and its stock are as they were entered.

    The outer frame is the very edge of the paper, the second one the edge that the
    printer is said to reach; rulers count mm from the upper left corner. On a sheet
    every label has a frame and rulers of its own, and the second frame is the page's.

    Args:
        on: The paper and the printer's head.
        name: What the stock is called.
        words: What else stands there, if not in English.

    Returns:
        A document of one page; the same bytes for the same paper and name.

    Raises:
        LotwardError: ``label_unreadable`` or ``bars_uneven`` when its own symbol does
            not read back.
        NotFit: ``stock_too_small`` under 50 × 25 mm; ``label_full`` or a missing
            glyph for a name that does not fit.
    """
    label = _label(on)
    if label.width_mm < LEAST[0] or label.height_mm < LEAST[1]:
        raise NotFit(
            "stock_too_small",
            kind="test",
            needed_width_mm=LEAST[0],
            needed_height_mm=LEAST[1],
            width_mm=shown_mm(label.width_mm),
            height_mm=shown_mm(label.height_mm),
        )
    page, spots = (on, [(0, 0)]) if isinstance(on, Stock) else (on.page, on.spots())
    paper = Paper(label, title=name, page=page)
    margin = round(_margin_mm(on) * label.dots_per_mm)
    if margin:
        _frame(paper, page, inset=margin)
    for nth, spot in enumerate(spots):
        with paper.label_at(*spot):
            _frame(paper, label, inset=0)
            _rulers(paper)
            if nth == 0:
                _middle(paper, name, _told(on, words or TrialWords()))
    paper.next_page()
    pressed = Pressed(paper.finish(), 1)
    dots = rasterise(pressed.pdf, page)
    first = dots.part(*spots[0], label.width_dots, label.height_dots)
    check_raster(first, (TRIAL,), number=name)
    return pressed


def _margin_mm(on: Stock | Sheet) -> Fraction:
    """Give what the printer does not reach along the edges of the paper."""
    return (on if isinstance(on, Stock) else on.label).margin_mm


def _label(on: Stock | Sheet) -> Stock:
    """Give the label that tells of the paper, with what is not reached of itself.

    The margin of a sheet is the page's: a label that stands clear of it has none.
    """
    if isinstance(on, Stock):
        return on
    within = max(Fraction(0), on.label.margin_mm - min(on.edges_mm))
    return replace(on.label, margin_mm=within)


def _frame(paper: Paper, stock: Stock, *, inset: int) -> None:
    """Draw a frame that many dots inside the edge."""
    wide, high = stock.width_dots - 2 * inset, stock.height_dots - 2 * inset
    paper.block(inset, inset, wide, EDGE)
    paper.block(inset, inset + high - EDGE, wide, EDGE)
    paper.block(inset, inset, EDGE, high)
    paper.block(inset + wide - EDGE, inset, EDGE, high)


def _rulers(paper: Paper) -> None:
    """Draw mm along the upper and the left edge; every tenth with its figure."""
    stock = paper.stock
    for mm in range(1, int(stock.width_mm)):
        long = _tick(mm)
        paper.block(round(mm * stock.dots_per_mm), 0, 1, stock.dots(long))
        if mm % 10 == 0:
            base = long + 0.5 + TICK_TEXT.high_mm
            paper.text(mm, base, str(mm), TICK_TEXT, align="centre")
    for mm in range(1, int(stock.height_mm)):
        long = _tick(mm)
        paper.block(0, round(mm * stock.dots_per_mm), stock.dots(long), 1)
        if mm % 10 == 0:
            paper.text(long + 0.5, mm + TICK_TEXT.high_mm / 2, str(mm), TICK_TEXT)


def _tick(mm: int) -> float:
    if mm % 10 == 0:
        return 3.0
    return 2.2 if mm % 5 == 0 else 1.4


def _told(on: Stock | Sheet, words: TrialWords) -> list[str]:
    """List what is said about the paper; the last line only where there is room."""
    stock = _label(on)
    told = [
        words.size.format(
            width=shown_mm(stock.width_mm),
            height=shown_mm(stock.height_mm),
            dots=shown_mm(stock.dots_per_mm),
        )
    ]
    if isinstance(on, Sheet):
        told.append(
            words.grid.format(
                columns=on.columns,
                rows=on.rows,
                width=shown_mm(on.page_width_mm),
                height=shown_mm(on.page_height_mm),
            )
        )
    x = _x(stock)
    told.append(words.bar.format(dots=x, mm=shown_mm(stock.mm(x))))
    if stock.height_mm >= ROOMY:
        line = words.edge
        if _margin_mm(on):
            line = words.edges if on is stock else words.page_edge
        told.append(line.format(mm=shown_mm(_margin_mm(on))))
    return told


def _room(stock: Stock) -> float:
    return float(stock.width_mm - stock.margin_mm) - LEFT - 2


def _x(stock: Stock) -> int:
    """Give the dots of the narrow bar: three where a comb fits beside the symbol."""
    room = stock.dots(_room(stock)) - _comb_dots(stock)
    x = room // (TRIAL.bars().modules + 2 * LINEAR_QUIET)
    return max(FEWEST_DOTS, min(WANTED_DOTS, x))


def _comb_dots(stock: Stock) -> int:
    lines = sum(thick * (2 * COMB_LINES - 1) for thick in COMB)
    return lines + len(COMB) * stock.dots(COMB_GAP)


def _middle(paper: Paper, name: str, told: list[str]) -> None:
    """Draw the words, the symbol and the comb, clear of the rulers."""
    stock, bars = paper.stock, TRIAL.bars()
    y = TOP
    for text, styles in ((name, NAME), *((line, FIGURES) for line in told)):
        style, pieces = fit(text, styles, room_mm=_room(stock))
        for piece in pieces:
            y += style.high_mm + 0.9
            paper.text(LEFT, y, piece, style)
    y += 1.5
    ends = float(stock.height_mm - stock.margin_mm) - 1
    high = min(BARS[0], ends - y)
    if high < BARS[1]:
        raise NotFit(
            "label_full",
            number=name,
            needed_mm=round(y + BARS[1], 1),
            room_mm=round(ends, 1),
        )
    x, top, tall = _x(stock), stock.dots(y), stock.dots(high)
    size = LinearFit(x, bars.modules * x, LINEAR_QUIET * x, tall)
    left = stock.dots(FIGURES_END) + size.quiet
    paper.bars(left, top, bars, size)
    at = left + size.wide + size.quiet
    for thick in COMB:
        at += stock.dots(COMB_GAP)
        for line in range(COMB_LINES):
            paper.block(at + 2 * thick * line, top, thick, tall)
        at += thick * (2 * COMB_LINES - 1)
