"""The slip that goes with every set: 50 × 25 mm.

A shield that has left its box can still be traced by it. Lengths are mm from the top
left corner of the label.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from kitting.domain.errors import NotFit
from kitting.domain.shown import spaced
from kitting.labels.bidi import filled
from kitting.labels.carried import Carried, of_number
from kitting.labels.geometry import SMALL_MATRIX, fit_matrix
from kitting.labels.paper import Paper
from kitting.labels.spoken import ENGLISH
from kitting.labels.text import Style, fit, width_mm, wrap_sentences

LEFT: Final = 2.0
RIGHT: Final = 48.0
FOOT: Final = 22.8
TOP: Final = 2.2
BAND: Final = 3.4

NAME: Final = (
    (Style(2.4, bold=True), 1),
    (Style(2.0, bold=True), 1),
    (Style(1.7, bold=True), 1),
    (Style(2.0, bold=True), 2),
    (Style(1.7, bold=True), 2),
    (Style(1.5, bold=True), 2),
    (Style(1.5, bold=True), 3),
)
TITLE: Final = Style(1.6)
VALUE: Final = tuple((Style(high, bold=True), 1) for high in (2.4, 2.0, 1.7, 1.5))
NOTE: Final = Style(1.6)
NOTE_SMALL: Final = Style(1.5)
"""Type of 5.8 points; taken where it saves a line."""

STEP: Final = 2.8
MORE: Final = 0.8
"""What a step may have more where there is room."""

SET_STEP: Final = 2.2
NOTE_STEP: Final = 1.45
"""From line to line, in heights."""

GAP: Final = 1.2
MARK: Final = tuple((Style(high, bold=True), 1) for high in (1.6, 1.4))


@dataclass(frozen=True)
class SetSlipWords:
    """Every word on the slip that is not data, in the label's language."""

    serial: str = ENGLISH["serial"]
    batch: str = ENGLISH["batch"]
    contact: str = ENGLISH["contact"]
    nth: str = ENGLISH["nth"]
    reprint: str = ENGLISH["reprint"]


@dataclass(frozen=True)
class SetSlip:
    """Which box a set came from."""

    product_name: str
    kit_batch: str
    serial: str
    """Serial of the box."""

    cautions: tuple[str, ...]
    nth: int
    of: int
    words: SetSlipWords = field(default_factory=SetSlipWords)
    mark: str | None = None
    """Text on a black band across the top."""

    copy: int = 1
    contact: str = ""
    """Whom a ward asks: a telephone number or an address."""


def slip_symbols(label: SetSlip) -> tuple[Carried]:
    """Tell what the symbol carries: the serial of the box.

    Args:
        label: The slip.

    Returns:
        The matrix.
    """
    return (of_number(label.serial, linear=False),)


def slip_face(paper: Paper, label: SetSlip) -> None:
    """Draw the slip where the paper stands.

    Args:
        paper: A label of 50 × 25 mm.
        label: What it says.

    Raises:
        CodeError: A serial that cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    top = 0.0
    if label.mark is not None:
        top = BAND
        style, marks = fit(label.mark, MARK, room_mm=RIGHT - LEFT)
        paper.band(BAND, marks[0], style)
    column, under = _matrix(paper, label, top)
    room = column - LEFT - 1.5
    style, lines = fit(label.product_name, NAME, room_mm=room)
    y = max(TOP, top + 1.0)
    first = y
    for nth, line in enumerate(lines):
        y += style.high_mm + (0.9 if nth else 0.0)
        paper.text(LEFT, y, line, style)
    words = label.words
    indent = max(width_mm(title, TITLE) for title in (words.serial, words.batch)) + GAP
    # The batch holds the product's code, which is wide: its row goes below the matrix.
    rows = (
        (words.serial, spaced(label.serial), room),
        (words.batch, spaced(label.kit_batch), RIGHT - LEFT),
    )
    style = min(
        (fit(value, VALUE, room_mm=wide - indent)[0] for _, value, wide in rows),
        key=lambda style: style.high_mm,
    )
    note, cautions = _cautions(_said(label))
    step = NOTE_STEP * note.high_mm
    last = max(y + 2 * STEP + SET_STEP, under + style.high_mm + 0.4)
    needed = last + step * len(cautions)
    if needed > FOOT:
        raise NotFit(
            "label_full",
            number=label.serial,
            needed_mm=round(needed - first, 1),
            room_mm=round(FOOT - first, 1),
        )
    more = min(MORE, (FOOT - needed) / len(rows))
    (serial, box, _), (batch, kit_batch, _) = rows
    y += STEP + more
    paper.text(LEFT, y, serial, TITLE)
    paper.text(LEFT + indent, y, box, style)
    y += SET_STEP
    fit(_nth(label, label.of), ((TITLE, 1),), room_mm=room)
    paper.text(LEFT, y, _nth(label, label.nth), TITLE)
    y = max(y + STEP + more, last)
    paper.text(LEFT, y, batch, TITLE)
    paper.text(LEFT + indent, y, kit_batch, style)
    y = FOOT - step * (len(cautions) - 1)
    for line in cautions:
        paper.text(LEFT, y, line, note)
        y += step


def _said(label: SetSlip) -> tuple[str, ...]:
    """The cautions, and whom to ask."""
    if not label.contact:
        return label.cautions
    return (*label.cautions, filled(label.words.contact, contact=label.contact))


def _cautions(sentences: tuple[str, ...]) -> tuple[Style, list[str]]:
    """Wrap the cautions, in the smaller style where that makes fewer lines."""
    large, small = (
        wrap_sentences(sentences, style, room_mm=RIGHT - LEFT)
        for style in (NOTE, NOTE_SMALL)
    )
    return (NOTE_SMALL, small) if len(small) < len(large) else (NOTE, large)


def _nth(label: SetSlip, nth: int) -> str:
    """Say which set it is, and of a reprint which copy."""
    said = label.words.nth.format(nth=nth, of=label.of)
    if label.copy == 1:
        return said
    return f"{said} · {label.words.reprint.format(copy=label.copy)}"


def _matrix(paper: Paper, label: SetSlip, top: float) -> tuple[float, float]:
    """Draw the matrix; give the left and the foot of it with its quiet zone."""
    stock = paper.stock
    cells = slip_symbols(label)[0].matrix()
    size = fit_matrix(cells, module=SMALL_MATRIX, room=stock.dots(12), stock=stock)
    high = stock.dots(max(TOP, top + 1.0))
    left = stock.dots(RIGHT) - size.side
    paper.matrix(left, high, cells, size)
    return stock.mm(left - size.quiet), stock.mm(high + size.side + size.quiet)
