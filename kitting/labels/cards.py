"""What is scanned instead of typed or tapped: badges, places and commands, 70 × 40 mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.carried import Carried, of_number
from kitting.labels.geometry import MATRIX, fit_matrix
from kitting.labels.paper import Paper
from kitting.labels.small import (
    BAND,
    BASE,
    LEFT,
    MARK,
    NOTE,
    RIGHT,
    Room,
    frame,
    title_lines,
)
from kitting.labels.text import Style, fit, printable, width_mm

NAME: Final = (
    (Style(4.2, bold=True), 1),
    (Style(3.4, bold=True), 1),
    (Style(3.4, bold=True), 2),
    (Style(2.8, bold=True), 2),
)
CODE: Final = tuple(Style(high, bold=True) for high in (11.0, 10.0, 9.0, 8.0, 7.0))
CODE_IN_TWO: Final = tuple(Style(high, bold=True) for high in (8.0, 7.0))
"""1 mm of height to 200 or 300 mm of distance is common practice: 7 mm for 2 m."""

CODE_AT_LEAST: Final = tuple(Style(high, bold=True) for high in (6.0, 5.0))
"""At 2 m normal sight needs 2.9 mm (five minutes of arc)."""

CODE_STEP: Final = 1.32
"""From line to line, in heights."""

DO: Final = (
    (Style(4.2, bold=True), 2),
    (Style(3.4, bold=True), 3),
    (Style(2.8, bold=True), 4),
)
WORDS: Final = ((Style(2.6), 1), (Style(2.0), 2))
WORDS_STEP: Final = 1.55
WORDS_GAP: Final = 1.6
"""Above the words, where there is room."""


@dataclass(frozen=True)
class BadgeLabel:
    """What a person scans to sign in; the token is never printed in clear text."""

    name: str
    role: str
    """In words."""

    token: str
    mark: str | None = None
    """Text on a black band across the top."""

    copy: int = 1
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class PlaceLabel:
    """A shelf, a rack or a bench."""

    code: str
    words: str
    """What it is called."""

    mark: str | None = None
    """Text on a black band across the top."""

    copy: int = 1
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class CommandLabel:
    """Something that is done when it is scanned."""

    command: str
    """Such as ``ACT-CLOSE``."""

    words: str
    """What it does, such as "Close the box and print its label"."""

    mark: str | None = None
    """Text on a black band across the top."""


def badge_symbols(label: BadgeLabel) -> tuple[Carried]:
    """Tell what the one symbol of a badge carries.

    Args:
        label: The badge.

    Returns:
        The matrix. As bars, 36 letters would be 113 mm long at 2 dots of 8 to the mm.
    """
    return (of_number(label.token, linear=False),)


def badge_face(paper: Paper, label: BadgeLabel) -> None:
    """Draw a badge where the paper stands: who it is of, and a large matrix.

    Args:
        paper: A label of 70 × 40 mm.
        label: What it says.

    Raises:
        CodeError: A token that cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    stock = paper.stock
    top = 0.0
    if label.mark is not None:
        top = BAND
        style, lines = fit(label.mark, MARK, room_mm=RIGHT - LEFT)
        paper.band(top, lines[0], style)
    (carried,) = badge_symbols(label)
    cells = carried.matrix()
    size = fit_matrix(cells, module=MATRIX, room=stock.dots(28), stock=stock)
    left = stock.dots(RIGHT) - size.side
    high = (stock.dots(top) + stock.height_dots - size.side) // 2
    paper.matrix(left, high, cells, size)
    base = stock.mm(high + size.side + size.quiet) + 0.8 + NOTE.high_mm
    paper.text(RIGHT, base, _again(label), NOTE, align="right")
    wide = stock.mm(left - size.quiet) - LEFT - 2
    room = Room(number=label.name, top=max(2.0, top + 0.6), foot=BASE, wide=wide)
    _words(paper, room, label.role, title_lines(paper, room, label.name, NAME))


def place_face(paper: Paper, label: PlaceLabel) -> None:
    """Draw the label of a place where the paper stands.

    Args:
        paper: A label of 70 × 40 mm.
        label: What it says; a code that is long for one line is set in two, broken
            after a hyphen.

    Raises:
        CodeError: A code that cannot be encoded.
        NotFit: As in ``badge_face``.
    """
    room = frame(
        paper,
        label.code,
        mark=label.mark,
        again=_again(label),
        text=None,
        low=True,
    )
    y = _code(paper, room, label)
    _words(paper, room, label.words, y)


def command_face(paper: Paper, label: CommandLabel) -> None:
    """Draw a command where the paper stands.

    Args:
        paper: A label of 70 × 40 mm.
        label: What it says.

    Raises:
        CodeError: A command that cannot be encoded.
        NotFit: As in ``badge_face``.
    """
    room = frame(
        paper,
        label.command,
        mark=label.mark,
        again="",
        text=label.command,
        low=True,
    )
    title_lines(paper, room, label.words, DO)


def _again(label: BadgeLabel | PlaceLabel) -> str:
    return label.reprint.format(copy=label.copy) if label.copy > 1 else ""


def _words(paper: Paper, room: Room, text: str, y: float) -> None:
    """Draw plain words under the heading whose base is ``y``."""
    style, lines = fit(text, WORDS, room_mm=room.wide)
    step = style.high_mm * WORDS_STEP
    needed = y - room.top + step * len(lines) + style.below_mm
    room.hold(needed)
    y += min(WORDS_GAP, room.high - needed)
    for line in lines:
        y += step
        paper.text(LEFT, y, line, style)


def _code(paper: Paper, room: Room, label: PlaceLabel) -> float:
    """Draw the code as large as its words leave room for; give its last base."""
    style, lines = fit(label.words, WORDS, room_mm=room.wide)
    high = room.high - style.high_mm * WORDS_STEP * len(lines) - style.below_mm
    for style, pieces in _ways(label.code):
        step = style.high_mm * CODE_STEP
        widest = max(width_mm(piece, style) for piece in pieces)
        needed = 1 + style.high_mm + step * (len(pieces) - 1)
        if widest <= room.wide and needed <= high:
            break
    else:
        raise NotFit(
            "text_too_long", text=label.code, lines=2, room_mm=round(room.wide, 1)
        )
    y = room.top + 1 + style.high_mm
    for nth, piece in enumerate(pieces):
        y += step if nth else 0
        paper.text(LEFT, y, piece, style)
    return y


def _ways(code: str) -> Iterator[tuple[Style, tuple[str, ...]]]:
    """List the ways to set a code, best first: large, then broken, then smaller."""
    code = printable(code, CODE[0])
    cuts = sorted(
        (at for at in range(1, len(code)) if code[at - 1] in "-./ "),
        key=lambda at: abs(len(code) - 2 * at),
    )
    yield from ((style, (code,)) for style in CODE)
    for style in CODE_IN_TWO:
        yield from ((style, (code[:at].rstrip(), code[at:])) for at in cuts)
    yield from ((style, (code,)) for style in CODE_AT_LEAST)
