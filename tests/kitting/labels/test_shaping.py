"""Letters are joined, and marks set on letters, as the Unicode Standard says."""

from __future__ import annotations

import unicodedata

import pytest
import uharfbuzz

from kitting.domain.errors import NotFit
from kitting.labels.bidi import levels_of
from kitting.labels.shaping import shape
from kitting.labels.text import (
    Line,
    Style,
    drawn,
    load_font,
    printable,
    width_mm,
    wrap,
    wrap_sentences,
)

PLAIN = Style(2)
BOLD = Style(2, bold=True)
BEH = "\u0628"
AROUND = {
    "isolated": ("", ""),
    "initial": ("", BEH),
    "medial": (BEH, BEH),
    "final": (BEH, ""),
}
"""What a letter stands between to have each of its forms; beh joins on both sides."""


def forms() -> list[tuple[str, str, str]]:
    """Forms of Arabic letters that the Unicode Character Database names: the form, its
    letters and how they are joined."""
    found = []
    for code in (
        *range(0xFB50, 0xFBB2),
        *range(0xFBD3, 0xFC00),
        *range(0xFE80, 0xFEFD),
    ):
        how, *letters = unicodedata.decomposition(chr(code)).split() or ("",)
        if how[1:-1] in AROUND:
            text = "".join(chr(int(letter, 16)) for letter in letters)
            found.append((chr(code), text, how[1:-1]))
    return found


def glyphs(text: str, style: Style) -> str:
    """The glyphs of a line as they stand from left to right."""
    return "".join(piece.glyphs for piece in drawn(printable(text, style), style))


def look(char: str, style: Style) -> tuple[int, ...]:
    """What tells the drawings of Arabic letters apart; some are in the font twice."""
    font = load_font(style.font)
    glyph = font.face.charToGlyph[ord(char)]
    shaper = uharfbuzz.Font(font.hbFace)
    return (*shaper.get_glyph_extents(glyph), shaper.get_glyph_h_advance(glyph))


@pytest.mark.parametrize("style", [PLAIN, BOLD])
def test_letters_have_the_forms_that_their_neighbours_give_them(style: Style) -> None:
    face, tried = load_font(style.font).face, 0
    for form, letters, how in forms():
        before, after = AROUND[how]
        if ord(form) not in face.charToGlyph or any(
            ord(letter) not in face.charToGlyph for letter in letters
        ):
            continue
        seen = glyphs(before + letters + after, style)
        middle = seen[len(after) : len(seen) - len(before)]
        # Alone, a letter is as it is; the font draws some of these forms once more.
        wanted = letters if (len(letters), how) == (1, "isolated") else form
        assert [look(each, style) for each in middle] == [look(wanted, style)], form
        tried += 1
    assert tried > 180


@pytest.mark.parametrize(
    ("read", "seen"),
    [
        ("מגן פנים", "םינפ ןגמ"),
        ("מגן (שקוף) 24", "24 (ףוקש) ןגמ"),
        ("מגן FS-2/24 שקוף", "ףוקש FS-2/24 ןגמ"),
        ("Shield מגן, clear", "Shield ןגמ, clear"),
        ("מגן 3.5 מ״מ", "מ״מ 3.5 ןגמ"),
    ],
)
def test_hebrew_stands_in_the_order_of_the_eye(read: str, seen: str) -> None:
    assert glyphs(read, PLAIN) == seen


def test_letters_without_a_code_of_their_own_are_joined_too() -> None:
    # Sorani letters of which Unicode encodes no forms; reh joins on its right only.
    apart = [glyphs(letter, PLAIN) for letter in "ێڕ"]
    joined = glyphs("ێڕ", PLAIN)
    assert len(joined) == 2
    assert set(joined).isdisjoint(apart)


def test_a_joiner_parts_letters_and_a_mark_turns_what_follows() -> None:
    # A Persian word is written in two parts that nothing stands between.
    assert glyphs("می\u200cشود", PLAIN) == glyphs("شود", PLAIN) + glyphs("می", PLAIN)
    assert glyphs("میشود", PLAIN) != glyphs("می\u200cشود", PLAIN)
    assert glyphs("12\u200f!", PLAIN) == "!12"
    assert printable("Visor\u200e", PLAIN) == "Visor"
    assert width_mm(printable("מגן\u200f", PLAIN), PLAIN) == width_mm("מגן", PLAIN)


def test_scripts_side_by_side_are_each_joined() -> None:
    assert glyphs("אب", PLAIN) == glyphs("ب", PLAIN) + "א"
    assert glyphs("אبب", PLAIN) == glyphs("بب", PLAIN) + "א"


@pytest.mark.parametrize("text", ["q\u0301", "שָׁלוֹם", "مُحَمَّد", "Щ̆ит"])
def test_marks_take_no_room_and_stand_by_their_letters(text: str) -> None:
    bare = "".join(c for c in unicodedata.normalize("NFD", text) if not is_mark(c))
    composed = unicodedata.normalize("NFC", bare)
    assert width_mm(printable(text, PLAIN), PLAIN) == pytest.approx(
        width_mm(composed, PLAIN), rel=0.001
    )
    laid = shape(text, levels_of(text), load_font(PLAIN.font))
    low = shape(bare, levels_of(bare), load_font(PLAIN.font))
    assert laid.high - laid.low > low.high - low.low


def is_mark(char: str) -> bool:
    return unicodedata.category(char) == "Mn"


def test_piled_marks_are_refused() -> None:
    with pytest.raises(NotFit) as caught:
        printable("a" + 8 * "\u0301", PLAIN)
    assert caught.value.code == "marks_too_far"


def test_lines_break_as_read_and_are_ordered_line_by_line() -> None:
    # As the example of UAX #9, section 3.4, has it: levels first, then lines.
    text = "מגן ABC! DEF"
    whole = levels_of(text)
    room = width_mm("מגן ABC!", PLAIN)
    first, last = wrap(text, PLAIN, room_mm=room, lines=2)
    assert (first, last) == ("מגן ABC!", "DEF")
    assert printable(last, PLAIN) is last
    assert isinstance(first, Line)
    assert isinstance(last, Line)
    assert first.levels + whole[8:9] + last.levels == whole
    # The "!" stands between Latin letters, although its line ends with it.
    assert glyphs(first, PLAIN) == "ABC! ןגמ"
    assert glyphs(str(first), PLAIN) == "!ABC ןגמ"


def test_lines_read_from_the_right_begin_at_one_edge() -> None:
    lines = wrap("מגן פנים עם רצועה ומשקף", PLAIN, room_mm=14, lines=4)
    assert len(lines) > 2
    ends = {
        round(line.indent_mm + width_mm(line, PLAIN), 3)
        for line in lines
        if isinstance(line, Line)
    }
    assert ends == {round(max(width_mm(line, PLAIN) for line in lines), 3)}
    latin = wrap("a shield (מגן) with a band", PLAIN, room_mm=18, lines=4)
    assert {line.indent_mm for line in latin if isinstance(line, Line)} == {0}


def test_a_sentence_does_not_end_a_line_of_another_order() -> None:
    lines = wrap_sentences(["מגן פנים FFP", "dry"], PLAIN, room_mm=14)
    assert lines[-1] == "dry"
