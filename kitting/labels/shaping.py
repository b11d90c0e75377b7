"""Letters that depend on their neighbours: joined ones, and marks on letters.

HarfBuzz chooses the glyphs and says where they stand. The PDF writer knows glyphs by
character, so each glyph that no character stands for is given one of private use.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Final

import uharfbuzz
from reportlab.pdfbase.ttfonts import TTFont

from kitting.labels.bidi import Run, in_order

_PRIVATE: Final = range(0xE000, 0xF900)
_UNSEEN: Final = uharfbuzz.BufferFlags.REMOVE_DEFAULT_IGNORABLES


@dataclass(frozen=True)
class Piece:
    """Glyphs one after another, and where the first stands in parts of the type size."""

    right: float
    up: float
    glyphs: str


@dataclass(frozen=True)
class Shaped:
    """A line as it is drawn, in parts of the type size."""

    pieces: tuple[Piece, ...]
    wide: float
    high: float
    low: float


def name_glyphs(font: TTFont) -> None:
    """Give every glyph of a font a character, the same in each process.

    Args:
        font: The font as the PDF writer knows it.
    """
    face, shaper = font.face, _shaper(font)
    free = (code for code in _PRIVATE if code not in face.charToGlyph)
    named = [
        (next(free), glyph)
        for glyph in range(shaper.face.glyph_count)
        if glyph not in face.glyphToChar
    ]
    for code, glyph in named:
        face.charToGlyph[code] = glyph
        face.glyphToChar[glyph] = [code]
        face.charWidths[code] = face._pdfScale(shaper.get_glyph_h_advance(glyph))


@lru_cache(maxsize=4096)
def shape(text: str, levels: tuple[int, ...], font: TTFont) -> Shaped:
    """Lay the glyphs of a line out.

    Args:
        text: The line in its composed form.
        levels: Of each of its characters, as the bidirectional algorithm resolves them.
        font: The font, its glyphs named.

    Returns:
        The glyphs from left to right.
    """
    shaper = _shaper(font)
    em = shaper.face.upem
    pieces: list[Piece] = []
    pen = end = high = low = 0
    for start, after, level in _runs(text, levels):
        buffer = uharfbuzz.Buffer()
        buffer.add_str(text, start, after - start)
        buffer.guess_segment_properties()
        buffer.flags = _UNSEEN
        buffer.direction = "rtl" if level % 2 else "ltr"
        # Latin letters and figures stand as far apart as in text that is not shaped.
        asked = {"kern": False, "liga": bool(level % 2)}
        uharfbuzz.shape(shaper, buffer, asked)
        placed = zip(buffer.glyph_infos, buffer.glyph_positions, strict=True)
        for info, at in placed:
            char = chr(font.face.glyphToChar[info.codepoint][0])
            right, up = pen + at.x_offset, at.y_offset / em
            if pieces and (right, up) == (end, pieces[-1].up):
                pieces[-1] = replace(pieces[-1], glyphs=pieces[-1].glyphs + char)
            else:
                pieces.append(Piece(right / em, up, char))
            end = right + shaper.get_glyph_h_advance(info.codepoint)
            pen += at.x_advance
            ink = shaper.get_glyph_extents(info.codepoint)
            top = at.y_offset + ink.y_bearing
            high, low = max(high, top), min(low, top + ink.height)
    return Shaped(tuple(pieces), pen / em, high / em, low / em)


def _runs(text: str, levels: Sequence[int]) -> Iterator[Run]:
    """Split the runs of a line where another script begins."""
    for start, after, level in in_order(levels):
        parts, script = [start], None
        for at in range(start, after):
            other = _script(text[at])
            if other and script and other != script:
                parts.append(at)
            script = other or script
        ends = [*parts[1:], after]
        runs = [(first, last, level) for first, last in zip(parts, ends, strict=True)]
        yield from reversed(runs) if level % 2 else runs


@cache
def _script(char: str) -> str | None:
    """Name the script of a letter; signs and figures have none."""
    buffer = uharfbuzz.Buffer()
    buffer.add_str(char)
    buffer.guess_segment_properties()
    script: str | None = buffer.script
    return script


@cache
def _shaper(font: TTFont) -> uharfbuzz.Font:
    return uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob(font.face._ttf_data)))
