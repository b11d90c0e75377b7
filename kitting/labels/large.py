"""What the labels of 100 × 150 mm share: the symbol at the foot and who made it.

Lengths are mm from the top left corner of the label.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from kitting.labels.bidi import isolated
from kitting.labels.carried import Carried
from kitting.labels.geometry import LOGISTIC, NUMBER, fit_linear
from kitting.labels.paper import Paper
from kitting.labels.text import Style, balanced, printable, width_mm, wrap

LEFT: Final = 6.0
WIDE: Final = 88.0
RIGHT: Final = LEFT + WIDE
GAP: Final = 2.5
TITLE_GAP: Final = 1.5
MIDDLE: Final = 50.0
BASE: Final = 145.0

TITLE: Final = Style(2.1)
MAKER: Final = Style(1.9)
MAKER_NAME: Final = Style(1.9, bold=True)
MAKER_STEP: Final = 3.4
READABLE: Final = Style(2.8)
MARK_ROOM: Final = 104
"""So chosen that no mark reaches down to the bars at the foot, or what they keep white."""

MARK: Final = ((Style(11.5, bold=True), 2), (Style(7, bold=True), 3))


def across(paper: Paper, mark: str | None) -> None:
    """Draw the mark of a demo or a practice, hollow, so that all stays readable.

    Args:
        paper: The label.
        mark: The text; nothing is drawn without one.

    Raises:
        NotFit: When it has no room.
    """
    if mark is None:
        return
    style, lines = balanced(mark.replace(" –", "\u00a0–"), MARK, room_mm=MARK_ROOM)
    for index, line in enumerate(lines):
        down = (index - (len(lines) - 1) / 2) * style.high_mm * 1.6
        paper.slanted_outline(
            MIDDLE + down * 0.82, 58 + down * 0.57, line, style, degrees=55
        )


def foot_symbol(paper: Paper, carried: Carried) -> float:
    """Draw the linear symbol at the foot with its text; give the top of its block.

    Args:
        paper: The label.
        carried: An SSCC, or a workshop's own number.

    Returns:
        Where the next block above it may end.

    Raises:
        CodeError: Data that the symbol cannot carry.
        NotFit: When it has no room.
    """
    stock = paper.stock
    bars = carried.bars()
    module = LOGISTIC if carried.pairs else NUMBER
    size = fit_linear(
        bars,
        module=module,
        room=stock.width_dots,
        stock=stock,
        instead=carried.matrix,
    )
    text = "".join(carried.readable())
    paper.text(MIDDLE, BASE, text, READABLE, align="centre")
    left = (stock.width_dots - size.wide) // 2
    top = stock.dots(BASE - READABLE.high_mm - 1.4) - size.high
    paper.bars(left, top, bars, size)
    return stock.mm(top) - 3.5


def maker(
    paper: Paper,
    name: str,
    address: tuple[str, ...],
    *,
    again: str,
    foot: float,
    title: str = "",
    mark: Callable[[str, float, float], float] | None = None,
    indent: float = 0.0,
) -> float:
    """Draw who made it above the symbol, under a rule; give the top of the block.

    Args:
        paper: The label.
        name: The maker's name.
        address: Its lines from the top.
        again: What a reprint says; empty on a first print.
        foot: Base of the last line.
        title: What the maker is here, before the name.
        mark: Draws the mark of the maker at a place and gives where the name starts.
        indent: Room for that mark.

    Returns:
        Where the next block above it may end.

    Raises:
        NotFit: ``text_too_long``.
    """
    if title:
        indent += width_mm(title, MAKER) + TITLE_GAP
    room = WIDE - indent - (width_mm(again, MAKER) + GAP if again else 0)
    lines = wrap(name, MAKER_NAME, room_mm=room, lines=1)
    after = width_mm(name, MAKER_NAME) + GAP
    shown = printable(" · ".join(map(isolated, address)), MAKER)
    below: tuple[str, ...] = ()
    if after + width_mm(shown, MAKER) > room:
        below = wrap(shown, MAKER, room_mm=WIDE - indent, lines=2)
    y = foot - MAKER_STEP * len(below)
    paper.text(LEFT, y, title, MAKER)
    left = mark("maker", LEFT, y) if mark else LEFT + indent
    paper.text(RIGHT, y, again, MAKER, align="right")
    for line in lines:
        paper.text(left, y, line, MAKER_NAME)
    if not below:
        paper.text(left + after, y, shown, MAKER)
    for index, line in enumerate(below, start=1):
        paper.text(left, y + MAKER_STEP * index, line, MAKER)
    y -= MAKER.high_mm + 2.2
    paper.rule(LEFT, y, WIDE)
    return y
