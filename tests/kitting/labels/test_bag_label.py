"""The bag label, with content and blank."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from kitting.domain.errors import CodeError, LotwardError, NotFit
from kitting.labels.bag import BagLabel
from kitting.labels.kinds import BAG as KIND
from kitting.labels.press import draw, press
from kitting.labels.readback import rasterise
from kitting.labels.stock import Stock
from tests.kitting.labels.samples import (
    BAG,
    BAG_70X40,
    BLANK,
    CONTENT,
    HEAD_300,
    page_mm,
    poppler,
    scanned,
    text_of,
)

BAG_300 = BAG_70X40.at(HEAD_300)


def draw_bag(label: BagLabel, stock: Stock) -> bytes:
    return draw(KIND, [label], stock).pdf


BAND = replace(BAG, mark="DEMONSTRATION – NOT FOR USE")


@pytest.mark.parametrize("stock", [BAG_70X40, BAG_300], ids=["203.2", "300"])
@pytest.mark.parametrize("label", [BAG, BLANK, BAND], ids=["full", "blank", "band"])
def test_the_number_is_read_twice(label: BagLabel, stock: Stock) -> None:
    pdf = press(KIND, [label], stock).pdf
    assert page_mm(pdf) == pytest.approx((70, 40), abs=0.1)
    dpi = str(float(stock.dots_per_inch))
    assert scanned(poppler(pdf, dpi)) == {"]C0": label.number, "]d1": label.number}


def test_what_is_in_the_bag_is_printed() -> None:
    text = text_of(draw_bag(BAG, BAG_70X40))
    for wanted in (
        "Headband, printed",
        "Lot HB-0312",
        "Revision R7",
        "Pieces 48",
        "Made 2026-03-10",
        "B1-0004821-7",
    ):
        assert wanted in text, wanted


def test_a_blank_bag_number_says_nothing_else() -> None:
    assert text_of(draw_bag(BLANK, BAG_70X40)) == "B1-0004821-7"


def test_a_demonstration_has_a_black_band() -> None:
    pdf = draw_bag(BAND, BAG_70X40)
    assert "DEMONSTRATION – NOT FOR USE" in text_of(pdf)
    assert set(rasterise(pdf, BAG_70X40).row(2)) == {0}


# A lot number may have 20 characters.
def test_a_long_lot_number_takes_a_row_of_its_own() -> None:
    content = replace(
        CONTENT,
        lot="HB-0312-AB-CDEF-0001",
        part="Headband, printed, with a long name for two lines",
    )
    text = text_of(draw_bag(replace(BAG, content=content), BAG_70X40))
    assert "Lot HB-0312-AB-CDEF-0001" in text
    assert "Made 2026-03-10" in text


def test_short_content_is_printed_larger() -> None:
    def size(lot: str) -> float:
        pdf = draw_bag(replace(BAG, content=replace(CONTENT, lot=lot)), BAG_70X40)
        sizes: list[float] = []

        def note(text: str, _: object, matrix: object, __: object, size: float) -> None:
            if lot in text:
                sizes.append(size)

        PdfReader(BytesIO(pdf)).pages[0].extract_text(visitor_text=note)
        return max(sizes)

    assert size("HB-0312") > size("HB-0312-AB-CDEF-0001")


def test_many_labels_are_one_document() -> None:
    labels = [replace(BLANK, number=f"B1-000482{n}-7") for n in range(3)]
    pressed = press(KIND, labels, BAG_70X40)
    assert len(PdfReader(BytesIO(pressed.pdf)).pages) == pressed.pages == 3


def test_same_label_same_bytes() -> None:
    assert draw_bag(BAG, BAG_70X40) == draw_bag(BAG, BAG_70X40)


LONG = replace(CONTENT, lot="HB-0312-AB-CDEF-0001")


@pytest.mark.parametrize(
    ("label", "error", "code"),
    [
        (replace(BAG, number="ABCDEFGHIJKLMNOPQRSTUVWX"), NotFit, "bars_too_wide"),
        (replace(BAG, number=""), CodeError, "nothing_to_encode"),
        (replace(BAG, content=replace(LONG, part="頭带")), NotFit, "missing_glyph"),
        (
            replace(BAG, content=replace(LONG, lot="HB-0312-AB-CDEF-0001-0002-0003")),
            NotFit,
            "text_too_long",
        ),
        (
            replace(
                BAND,
                content=replace(LONG, part="Headband, printed, with a very long name"),
            ),
            NotFit,
            "label_full",
        ),
    ],
)
def test_what_has_no_room_is_refused(
    label: BagLabel, error: type[LotwardError], code: str
) -> None:
    with pytest.raises(error) as caught:
        draw_bag(label, BAG_70X40)
    assert caught.value.code == code
