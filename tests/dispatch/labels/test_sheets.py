"""Papers of several pages: heads again on each, no row alone, nothing over the edge."""

from __future__ import annotations

import re
from contextlib import closing
from dataclasses import replace
from datetime import date
from io import BytesIO
from itertools import chain
from typing import Any

import pypdfium2 as pdfium
import pytest
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import ContentStream

from dispatch.labels import spoken
from dispatch.labels.calls import Away, Call, CallSheet, call_sheet
from dispatch.labels.papers import Load, Packed, delivery_note, packing_list
from dispatch.labels.sheets import A4, LETTER, SIDE, TEXT, lines_in
from dispatch.labels.stops import Round, Stop, StopWords, drivers_copy
from kitting.labels.text import width_mm

LONG = (
    "Universitätsklinikum " * 4 + "Donaudampfschifffahrtsgesellschaftskapitänsweg" * 3
)
DAY = date(2026, 11, 27)
PARTS = ("Chin piece", "Elastic", "Headband", "Manual", "Visor")


def packed(nth: int, product: str = "Face shield with chin piece") -> Packed:
    return Packed(
        serial=f"K1{nth:06}X",
        sscc=f"0952123400{nth:08}",
        product=product,
        sets=(60, 24, 6)[nth % 3],
        packed_on=date(2026, 11, 26),
        use_by=date(2032, 11, 20),
        disinfected=(("Disinfected (UV-C)", date(2026, 11, 20)),),
        lots=tuple((part, (f"{part[:2].upper()}-{nth}",)) for part in PARTS),
    )


def load(boxes: int, **changes: Any) -> Load:
    given = Load(
        words=spoken.ENGLISH,
        shipment="S10000020M",
        ship_to=("Thornwick Children's", "Thornwick Rise", "EK3 1TC"),
        contact=("Stores, 214",),
        ship_from=("Harrow Lane Workshop",),
        sent_on=DAY,
        packed=tuple(packed(nth) for nth in range(boxes)),
        driver="Driver 2",
        head="1/926:f3dc12d819ee658d",
    )
    return replace(given, **changes)


def texts(pdf: bytes) -> list[str]:
    """The text of each page, without the thin spaces of numbers."""
    pages = PdfReader(BytesIO(pdf)).pages
    return [re.sub(r"[\u2009\u202f]", "", page.extract_text()) for page in pages]


DOTS = 4
"""To the mm."""


def images(pdf: bytes) -> list[Image.Image]:
    """Each page as a picture in grey."""
    with closing(pdfium.PdfDocument(pdf)) as document:
        return [
            page.render(scale=DOTS * 25.4 / 72).to_pil().convert("L")
            for page in document
        ]


@pytest.mark.parametrize("on", [A4, LETTER], ids=["A4", "US Letter"])
@pytest.mark.parametrize("words", [spoken.ENGLISH, spoken.GERMAN], ids=["en", "de"])
def test_four_boxes_fit_on_one_sheet(on: Any, words: Any) -> None:
    given = load(4, words=words, cautions=(("Face shield", ("A splash barrier.",)),))
    for paper in (packing_list, delivery_note):
        assert len(texts(paper(given, on))) == 1


@pytest.mark.parametrize("boxes", [1, 2, 19, 20, 21, 22, 23, 24, 25, 60, 250])
def test_heads_stand_on_every_page_and_no_row_stands_alone(boxes: int) -> None:
    pages = texts(packing_list(load(boxes), A4))
    rows = [re.findall(r"K1\d{6}X", page) for page in pages]
    assert list(chain(*rows)) == [f"K1{nth:06}X" for nth in range(boxes)]
    for nth, (page, on_page) in enumerate(zip(pages, rows, strict=True), start=1):
        assert f"Page {nth} of {len(pages)}" in page
        assert "1/926:f3dc12d819ee658d" in page
        if on_page:
            assert page.count("Use by") == 1
            assert len(on_page) >= min(2, boxes)
        if nth > 1:
            assert page.startswith("Packing list S10000020M · Thornwick Children's")


def test_nothing_hangs_over_the_edge_of_the_page() -> None:
    """On the pixels of each page: whatever a text is made of, the margins stay white."""
    given = load(
        6,
        words={**dict.fromkeys(spoken.GERMAN, "M" * 80), "page": "{page} / {pages}"},
        ship_to=(LONG, LONG),
        contact=(LONG,),
        ship_from=(LONG,),
        packed=tuple(packed(nth, LONG) for nth in range(6)),
        reference="M" * 40,
        haulier="W" * 80,
        driver="W" * 80,
        vehicle="W" * 40,
        seal="8" * 40,
        cautions=((LONG, (LONG,)),),
        address=f"https://{'w' * 253}/received/S1{'0' * 18}M.99:{'W' * 43}/",
    )
    stop = Stop((LONG,), "S10000020M", 6, 90, LONG, LONG, LONG, "M" * 40, "8" * 40)
    round_ = Round(DAY, "W" * 80, (LONG,), (stop, stop))
    away = Away("K10000020M", 6, 60, "S10000020M", DAY, LONG, LONG, short=24)
    calls = Call(LONG, (LONG, LONG), (away, away), LONG, LONG)
    sheet = CallSheet(LONG, LONG, "M" * 40, (calls, calls), "W" * 40)
    documents = [packing_list(given, A4), delivery_note(given, A4)]
    for pdf in (*documents, drivers_copy(round_, A4), call_sheet(sheet, A4)):
        for page in images(pdf):
            black = page.point(lambda grey: 255 if grey < 200 else 0).getbbox()
            assert black is not None
            left, top, right, bottom = (each / DOTS for each in black)
            assert left >= SIDE - 0.5
            assert right <= 210 - SIDE + 0.5
            assert top >= 10
            assert bottom <= 297 - 5
    # What is broken ends inside its room.
    for text in (LONG, "W" * 200, "a b c " * 40):
        for line in lines_in(text, TEXT, 50.0):
            assert width_mm(line, TEXT) <= 50.0
    assert "".join(lines_in(LONG, TEXT, 50.0)).replace(" ", "") == LONG.replace(" ", "")


def test_the_same_shipment_gives_the_same_bytes() -> None:
    assert packing_list(load(30), A4) == packing_list(load(30), A4)


def test_stops_stay_whole_and_in_order() -> None:
    stops = tuple(
        Stop((f"Ward {nth}", "Eskmoor"), f"S1{nth:06}X", 3, 36, seal=str(nth))
        for nth in range(1, 15)
    )
    pages = texts(drivers_copy(Round(DAY, "Driver 2", ("Harrow Lane",), stops), A4))
    heads = [re.findall(r"^(\d+)\. Ward \1$", page, re.M) for page in pages]
    assert list(chain(*heads)) == [str(nth) for nth in range(1, 15)]
    for page, on_page in zip(pages, heads, strict=True):
        assert page.count("Signature") == len(on_page)
    assert len(pages) > 1


def test_lines_to_write_on_stay_below_the_boxes_they_are_about() -> None:
    calls = tuple(
        Call(
            f"Ward {nth}",
            ("1 Ward Road", "Eskmoor"),
            tuple(Away(f"K1{box:06}X", 6, 6, "S100001X", DAY) for box in range(nth)),
            night_contact=f"extension {nth}",
        )
        for nth in range(1, 12)
    )
    sheet = CallSheet("lot HB-0304", "All is said.", "2026-03-04 04:00", calls)
    pages = texts(call_sheet(sheet, A4))
    assert len(pages) > 2
    assert len(re.findall(r"^\d+\. Ward", "\n".join(pages), re.M)) == 11
    for page in pages:
        assert page.count("Spoke to") == page.count("What they said")
    assert "not on record" in pages[0]
    assert "extension 1" in pages[0]


def test_the_mark_of_a_demo_stands_on_every_page() -> None:
    pages = PdfReader(
        BytesIO(packing_list(load(60, mark="DEMONSTRATION – NOT FOR USE"), LETTER))
    ).pages
    assert len(pages) > 1
    for page in pages:
        drawn = ContentStream(page.get_contents(), page.pdf)  # type: ignore[attr-defined]
        # ISO 32000-1, 9.3.6: text rendering mode 1 strokes the outline of glyphs.
        assert any(op == b"Tr" and args[0] == 1 for args, op in drawn.operations)


def test_numbers_and_days_keep_their_order_among_arabic_words() -> None:
    words = {**dict.fromkeys(spoken.ENGLISH, "المرجع"), "page": "صفحة {page} / {pages}"}
    box = replace(
        packed(0),
        lots=(("قناع", ("12-345", "67-8/9")), ("Visor", ("88-771",))),
        disinfected=(("تطهير", date(2026, 11, 20)),),
    )
    given = load(
        1,
        words=words,
        packed=(box,),
        reference="4711/12-A",
        vehicle="12-346",
        seal="00-9/17",
        head="1/926:f3dc",
    )
    (page,) = texts(packing_list(given, A4))
    for number in ("12-345", "67-8/9", "88-771", "2026-11-20", "1/926:f3dc"):
        assert number in page
    (note,) = texts(delivery_note(given, A4))
    for number in ("4711/12-A", "12-346", "00-9/17", "2026-11-27"):
        assert number in note
    stop = Stop(
        ("قناع",), "S1", 6, 90, "", "", "", reference="4711/12-A", seal="00-9/17"
    )
    said = StopWords(reference="المرجع", seal="ختم")
    (copy,) = texts(drivers_copy(Round(DAY, "", ("A",), (stop,), words=said), A4))
    assert "4711/12-A" in copy
    assert "00-9/17" in copy


def test_the_margins_are_kept() -> None:
    page = PdfReader(BytesIO(packing_list(load(4), A4))).pages[0]
    lefts: list[float] = []
    page.extract_text(visitor_text=lambda t, _c, tm, _f, _s: lefts.append(tm[4]))
    assert min(left for left in lefts if left) >= SIDE / 25.4 * 72 - 0.1
