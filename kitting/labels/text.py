"""Text on paper: one typeface in two weights, measured before it is drawn.

The typeface is DejaVu Sans Condensed (licence beside the font files). A character
without a glyph would drop out of a PDF silently, so it is refused here. Texts are kept
in the order in which they are read and broken into lines in it; only what is drawn is
in the order of the eye.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from threading import Lock
from typing import Final, Self

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from kitting.domain.errors import NotFit
from kitting.labels.bidi import base_of, levels_of, seen, turns
from kitting.labels.shaping import Piece, Shaped, name_glyphs, shape

_FOLDER: Final = Path(__file__).parent / "fonts"
_FILES: Final = {
    "LotwardSans": "DejaVuSansCondensed.ttf",
    "LotwardSans-Bold": "DejaVuSansCondensed-Bold.ttf",
}
_POINTS_PER_MM: Final = 72 / 25.4
_CAPITAL: Final = 0.729
"""Height of capitals and figures in parts of the type size, both weights."""

_BELOW: Final = 0.35
"""What the deepest letters have below the base line, in heights of capitals, both
weights; a g or y has 0.3, an Arabic qaf 0.34."""

_MARKS: Final = (-0.6, 1.75)
"""How far marks may stand below and above the base line, in heights of capitals; two
accents on a capital reach 1.53."""

_BLANKS: Final = re.compile(r"[^\S\u00a0\u202f]+")
"""Blanks at which a line may break; a no-break space is none."""

_loading: Final = Lock()


@dataclass(frozen=True)
class Style:
    """A weight and a size; the size is what the eye sees, the height of figures."""

    high_mm: float
    bold: bool = False

    @property
    def font(self) -> str:
        """Name under which the font is known to the PDF writer."""
        return "LotwardSans-Bold" if self.bold else "LotwardSans"

    @property
    def below_mm(self) -> float:
        """What letters may have below the base line."""
        return _BELOW * self.high_mm

    @property
    def points(self) -> float:
        """Type size in points."""
        return self.high_mm / _CAPITAL * _POINTS_PER_MM


@cache
def load_font(name: str) -> TTFont:
    """Read a font file once in a process and make it known to the PDF writer.

    Args:
        name: ``Style.font``.

    Returns:
        The font.
    """
    with _loading:
        font = TTFont(name, str(_FOLDER / _FILES[name]))
        name_glyphs(font)
        pdfmetrics.registerFont(font)
        return font


class Line(str):
    """A line of a text of which something is written from right to left.

    Args:
        text: The line as it is read.
        levels: Of each of its characters, resolved in the whole text.
        indent_mm: How far it begins from the left of the text's longest line.
    """

    levels: tuple[int, ...]
    indent_mm: float

    def __new__(cls, text: str, levels: tuple[int, ...], indent_mm: float) -> Self:
        line = super().__new__(cls, text)
        line.levels, line.indent_mm = levels, indent_mm
        return line


def printable(text: str, style: Style) -> str:
    """Give the text as it will be printed, or refuse it.

    Args:
        text: Any text; one line, perhaps with isolates of ``filled``.
        style: The weight it will be printed in.

    Returns:
        The text in its composed form (Unicode NFC), as it is read.

    Raises:
        NotFit: ``missing_glyph`` for a character that the font lacks, a control
            character or a mark without a letter; ``marks_too_far`` for marks that
            would reach into other lines.
    """
    if text.isascii() and text.isprintable() and not isinstance(text, Line):
        return text  # The typeface has every one, and none depends on another.
    composed = text
    if not unicodedata.is_normalized("NFC", text):
        composed = unicodedata.normalize("NFC", text)
    glyphs = load_font(style.font).face.charToGlyph
    before = "Z"
    plain = composed if composed.isascii() else seen(composed)
    for char in plain:
        kind = unicodedata.category(char)[0]
        loose = kind == "C" or (kind == "M" and before not in "LM")
        if loose or ord(char) not in glyphs:
            raise NotFit("missing_glyph", text=plain, character=char)
        before = kind
    if (line := _shaped(composed, style)) is not None:
        deepest, highest = (far * _CAPITAL for far in _MARKS)
        if line.low < deepest or line.high > highest:
            raise NotFit("marks_too_far", text=plain)
    if isinstance(composed, Line) or turns(composed):
        return composed
    return plain


def _shaped(text: str, style: Style) -> Shaped | None:
    """Lay a line out whose letters depend on one another; none where none does."""
    if isinstance(text, Line):
        return shape(str(text), text.levels, load_font(style.font))
    if _stands_as_read(text):
        return None
    return shape(text, levels_of(text), load_font(style.font))


@lru_cache(maxsize=4096)
def _stands_as_read(text: str) -> bool:
    return text.isascii() or not (
        turns(text) or any(unicodedata.category(char)[0] == "M" for char in text)
    )


def drawn(text: str, style: Style) -> tuple[Piece, ...]:
    """Give the glyphs of a line in the order of the eye.

    Args:
        text: What ``printable`` gave.
        style: Weight and size.

    Returns:
        Runs of glyphs; only a text that needs it has more than one.
    """
    line = _shaped(text, style)
    return (Piece(0, 0, text),) if line is None else line.pieces


def width_mm(text: str, style: Style) -> float:
    """Measure a line of text as it is drawn.

    Args:
        text: What ``printable`` gave.
        style: Weight and size.

    Returns:
        The width in mm.
    """
    if (line := _shaped(text, style)) is not None:
        return line.wide * style.points / _POINTS_PER_MM
    font, plain = load_font(style.font), text if text.isascii() else seen(text)
    return float(font.stringWidth(plain, style.points)) / _POINTS_PER_MM


def wrap(text: str, style: Style, *, room_mm: float, lines: int) -> tuple[str, ...]:
    """Break a text between words so that each line fits.

    Args:
        text: Any text; runs of blanks count as one.
        style: Weight and size.
        room_mm: Width of a line in mm.
        lines: How many lines there may be, at least one.

    Returns:
        The lines from the top; none for an empty text.

    Raises:
        NotFit: ``text_too_long`` when it needs more lines or a word is too wide;
            ``missing_glyph`` or ``marks_too_far`` as in ``printable``.
    """
    found: list[str] = []
    for word in _BLANKS.split(printable(_BLANKS.sub(" ", text).strip(" "), style)):
        longer = f"{found[-1]} {word}" if found else word
        if not word:
            continue
        if found and width_mm(longer, style) <= room_mm:
            found[-1] = longer
        else:
            found.append(word)
    too_wide = any(width_mm(line, style) > room_mm for line in found)
    if too_wide or len(found) > lines:
        plain = seen(text)
        room = round(room_mm, 1)
        raise NotFit("text_too_long", text=plain, lines=lines, room_mm=room)
    return tuple(found) if len(found) == 1 else _in_one_text(found, style)


def _in_one_text(found: list[str], style: Style) -> tuple[str, ...]:
    """Resolve the direction of lines in the text that they are of.

    Lines that are read from right to left begin at the right of the longest.
    """
    whole = " ".join(found)
    if not turns(whole):
        return tuple(found)
    levels, lines, start = levels_of(whole), [], 0
    widths = [width_mm(line, style) for line in found]
    for text, wide in zip(found, widths, strict=True):
        indent = (max(widths) - wide) * base_of(whole)
        lines.append(Line(text, levels[start : start + len(text)], indent))
        start += len(text) + 1
    return tuple(lines)


def wrap_sentences(
    sentences: Iterable[str], style: Style, *, room_mm: float
) -> list[str]:
    """Break sentences into lines; a short one may end the line of the one before.

    Args:
        sentences: Any texts.
        style: Weight and size.
        room_mm: Width of a line in mm.

    Returns:
        The lines from the top; a sentence that is broken begins a line of its own.

    Raises:
        NotFit: As in ``wrap``, when a sentence needs more than four lines.
    """
    found: list[str] = []
    for sentence in sentences:
        lines = wrap(sentence, style, room_mm=room_mm, lines=4)
        if found and len(lines) == 1 and not isinstance(found[-1], Line):
            gap = " " if found[-1].endswith((".", "!", "?", ";")) else " · "
            longer = found[-1] + gap + lines[0]
            if width_mm(longer, style) <= room_mm:
                found[-1] = longer
                continue
        found.extend(lines)
    return found


def fit(
    text: str, styles: tuple[tuple[Style, int], ...], *, room_mm: float
) -> tuple[Style, tuple[str, ...]]:
    """Wrap a text in the first style that holds it.

    Args:
        text: Any text.
        styles: Styles with the lines each may take, best first, at least one.
        room_mm: Width of a line in mm.

    Returns:
        The style that held, and the lines.

    Raises:
        NotFit: As in ``wrap``, when not even the last style holds the text.
    """
    *better, last = styles
    for style, lines in better:
        try:
            return style, wrap(text, style, room_mm=room_mm, lines=lines)
        except NotFit as error:
            if error.code != "text_too_long":
                raise
    return last[0], wrap(text, last[0], room_mm=room_mm, lines=last[1])


def balanced(
    text: str, styles: tuple[tuple[Style, int], ...], *, room_mm: float
) -> tuple[Style, tuple[str, ...]]:
    """Fit a text as ``fit`` does, then make its lines as equal as they can be.

    Args:
        text: Any text.
        styles: As in ``fit``.
        room_mm: Width of a line in mm.

    Returns:
        The style that held, and the lines.

    Raises:
        NotFit: As in ``fit``.
    """
    style, lines = fit(text, styles, room_mm=room_mm)
    while lines:
        room = max(width_mm(line, style) for line in lines) - 0.1
        try:
            lines = wrap(text, style, room_mm=room, lines=len(lines))
        except NotFit:
            break
    return style, lines
