"""Text is measured, wrapped and refused before it is drawn."""

from __future__ import annotations

import unicodedata

import pytest

from kitting.domain.errors import NotFit
from kitting.labels.bidi import isolated
from kitting.labels.shaping import Piece
from kitting.labels.text import (
    Style,
    balanced,
    drawn,
    fit,
    load_font,
    printable,
    width_mm,
    wrap,
    wrap_sentences,
)

PLAIN = Style(2)
BOLD = Style(2, bold=True)


@pytest.mark.parametrize(
    "text",
    [
        "Προσωπίδα με μετωπίδα",
        "Щиток лицевой, одноразовый",
        "Przyłbica ochronna z gąbką, żółć",
        "Tấm chắn mặt dùng một lần",
        "Yüz siperliği, İĞŞÖÇ ığşöç",
        "מגן פנים (שקוף)",
        "واقي الوجه الشفاف",
        "محافظ صورت گچپژ",
        "m̀bá, ẹ̀kọ́",
    ],
)
@pytest.mark.parametrize("style", [PLAIN, BOLD])
def test_the_typeface_has_the_letters_of_many_languages(
    text: str, style: Style
) -> None:
    assert printable(unicodedata.normalize("NFD", text), style) == text


@pytest.mark.parametrize(
    ("text", "code", "character"),
    [
        ("フェイスシールド", "missing_glyph", "フ"),
        ("หน้ากาก", "missing_glyph", "ห"),
        ("Line\nbreak", "missing_glyph", "\n"),
        ("Soft\u00adhyphen", "missing_glyph", "\u00ad"),
        ("\u0301q", "missing_glyph", "\u0301"),
        ("q \u0301", "missing_glyph", "\u0301"),
        ("ܡܓܢܐ", "missing_glyph", "ܡ"),
        ("מגן\u202bפנים", "missing_glyph", "\u202b"),
    ],
)
def test_what_would_not_print_right_is_refused(
    text: str, code: str, character: str
) -> None:
    with pytest.raises(NotFit) as caught:
        printable(text, PLAIN)
    assert (caught.value.code, caught.value.params["character"]) == (code, character)


def test_isolates_are_neither_printed_nor_measured_nor_told() -> None:
    """They only say how letters are ordered, which nothing here needs."""
    for text in ("Ward 4 – m̀bá", "Ward 4 – West"):
        said = printable(f"{isolated('Ward 4')} – {isolated(text[9:])}", PLAIN)
        assert said == text
    number = f"مرجع {isolated('12-345-AB')}"
    lines = wrap(number, PLAIN, room_mm=width_mm("12-345-AB", PLAIN) + 0.01, lines=2)
    assert lines == ("مرجع", isolated("12-345-AB"))
    assert printable(lines[1], PLAIN) is lines[1]
    for text in (f"{isolated('4')} フ", f"{isolated('4')} a" + 8 * "\u0301"):
        with pytest.raises(NotFit) as caught:
            printable(text, PLAIN)
        assert caught.value.params["text"] == unicodedata.normalize(
            "NFC", text.replace(isolated("4"), "4")
        )


def test_figures_stand_in_columns() -> None:
    for style in (PLAIN, BOLD):
        assert len({width_mm(figure, style) for figure in "0123456789"}) == 1


def test_lines_break_between_words_and_never_run_over() -> None:
    lines = wrap("one two  three\n four", PLAIN, room_mm=18, lines=3)
    assert " ".join(lines) == "one two three four"
    assert len(lines) > 1
    assert all(width_mm(line, PLAIN) <= 18 for line in lines)


def test_a_no_break_space_does_not_break() -> None:
    assert (
        wrap("9\u00a0mm 9\u00a0mm", PLAIN, room_mm=8.5, lines=2) == ("9\u00a0mm",) * 2
    )


def test_no_text_takes_no_line() -> None:
    assert wrap("  ", PLAIN, room_mm=5, lines=1) == ()
    assert balanced("", ((PLAIN, 1),), room_mm=5) == (PLAIN, ())


@pytest.mark.parametrize(("text", "lines"), [("one two three", 1), ("unbreakably", 9)])
def test_what_needs_more_room_is_refused(text: str, lines: int) -> None:
    with pytest.raises(NotFit) as caught:
        wrap(text, PLAIN, room_mm=12, lines=lines)
    assert caught.value.code == "text_too_long"
    assert caught.value.params == {"text": text, "lines": lines, "room_mm": 12}


def test_a_short_sentence_ends_the_line_of_the_one_before() -> None:
    room = width_mm("Keep dry. Keep flat. Keep", PLAIN)
    assert wrap_sentences(
        ["Keep dry.", "Keep flat.", "Keep away from lamps and from heat"],
        PLAIN,
        room_mm=room,
    ) == ["Keep dry. Keep flat.", "Keep away from lamps", "and from heat"]
    assert wrap_sentences(["Dry", "Flat", ""], PLAIN, room_mm=room) == ["Dry · Flat"]


def test_the_first_style_that_holds_is_taken() -> None:
    styles = ((Style(4), 1), (Style(2), 1))
    assert fit("short", styles, room_mm=30)[0] == Style(4)
    assert fit("rather longer", styles, room_mm=30)[0] == Style(2)
    with pytest.raises(NotFit):
        fit("rather longer than the paper is wide", styles, room_mm=30)


def test_a_missing_letter_is_no_reason_for_a_smaller_style() -> None:
    with pytest.raises(NotFit) as caught:
        fit("フ", ((Style(4), 1), (Style(2), 1)), room_mm=30)
    assert caught.value.code == "missing_glyph"


@pytest.mark.parametrize("style", [PLAIN, BOLD])
def test_every_letter_of_ascii_is_there_and_none_depends_on_another(
    style: Style,
) -> None:
    every = "".join(map(chr, range(0x20, 0x7F)))
    assert load_font(style.font).face.charToGlyph.keys() >= set(map(ord, every))
    assert drawn(printable(every, style), style) == (Piece(0, 0, every),)


def test_balanced_lines_are_as_equal_as_they_can_be() -> None:
    room = width_mm("aaa bbb ccc", PLAIN)
    _, lines = balanced("aaa bbb ccc ddd", ((PLAIN, 2),), room_mm=room)
    assert lines == ("aaa bbb", "ccc ddd")
