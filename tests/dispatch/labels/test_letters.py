"""Letters about a recall as they are drawn: margins, pages, and what one has to say."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dispatch.labels import letter_words
from dispatch.labels.letters import Notice, Recalled, letters
from dispatch.labels.sheets import A4, LETTER, SIDE
from tests.dispatch.labels.test_sheets import DAY, DOTS, LONG, images, texts

pytestmark = pytest.mark.pure


def recalled(nth: int, **changes: Any) -> Recalled:
    given = Recalled(
        serial=f"K1{nth:06}X",
        product="Face shield",
        sets=(6, 24, 60)[nth % 3],
        lots=("VI-1117",),
        shipment="S10000020M",
        sent_on=DAY,
    )
    return replace(given, **changes)


def notice(boxes: int = 3, **changes: Any) -> Notice:
    given = Notice(
        words=letter_words.ENGLISH,
        case="V10000014",
        urgent=True,
        written_on=DAY,
        to=("Eskmoor General", "1 Infirmary Road"),
        sender=("Harrow Lane Workshop", "1 Harrow Lane"),
        contact="+44 1632 960123",
        night_contact="+44 1632 960199",
        hazard="A visor cracks",
        to_do="Send them back",
        boxes=tuple(recalled(nth) for nth in range(boxes)),
        parts=(("Visor", "C", "VI-1117"),),
        head="1/926:f3dc12d819ee658d",
    )
    return replace(given, **changes)


def test_both_languages_have_every_word() -> None:
    assert letter_words.ENGLISH.keys() == letter_words.GERMAN.keys()
    blanks = [
        name
        for name, said in letter_words.ENGLISH.items()
        if said.count("{") != letter_words.GERMAN[name].count("{")
    ]
    assert blanks == []


@pytest.mark.parametrize("on", [A4, LETTER], ids=["A4", "US Letter"])
@pytest.mark.parametrize("language", ["en", "de"])
def test_nothing_hangs_over_the_edge_of_the_page(language: str, on: Any) -> None:
    lots = tuple(f"LOT-{nth:016}" for nth in range(6))
    given = replace(
        notice(words=letter_words.words_for(language)),
        to=(LONG, LONG),
        sender=(LONG, LONG),
        contact="W" * 60,
        night_contact="8" * 60,
        hazard="W" * 500,
        to_do=f"{LONG}\n\n{'M' * 200}",
        boxes=tuple(
            recalled(nth, product=LONG, lots=lots, passed_to=LONG, new=nth < 4)
            for nth in range(8)
        ),
        parts=((LONG, "W" * 12, "W" * 20),) * 3,
        address=f"https://{'w' * 200}/reply/{'W' * 60}/",
        mark="DEMONSTRATION",
    )
    wide = float(on.width_mm)
    for page in images(letters([given], on)):
        black = page.point(lambda grey: 255 if grey < 120 else 0).getbbox()
        assert black is not None
        left, top, right, bottom = (each / DOTS for each in black)
        assert left >= SIDE - 0.5
        assert right <= wide - SIDE + 0.5
        assert top >= 10
        assert bottom <= float(on.height_mm) - 5


def test_each_letter_has_pages_of_its_own() -> None:
    """Printed together, each is put into its own envelope."""
    few, many = notice(1), notice(60, words=letter_words.GERMAN)
    pages = texts(letters([few, many, few], A4))
    counted = [page.splitlines()[0:2] for page in pages]
    assert sum("Page 1 of" in " ".join(each) for each in counted) == 2
    assert sum("Seite 1 von" in " ".join(each) for each in counted) == 1
    of = len(pages) - 2 * len(texts(letters([few], A4)))
    assert any(f"Seite {of} von {of}" in page for page in pages)


def test_the_reply_form_has_a_row_for_each_box() -> None:
    text = "\n".join(texts(letters([notice(40)], A4)))
    form = text[text.index("Reply form") :]
    assert [nth for nth in range(40) if f"K1{nth:06}X" not in form] == []


def test_without_a_mark_of_urgency_nothing_says_so() -> None:
    said = " ".join(texts(letters([notice(urgent=False)], A4)))
    assert "URGENT" not in said
    assert "URGENT" in " ".join(texts(letters([notice()], A4)))
