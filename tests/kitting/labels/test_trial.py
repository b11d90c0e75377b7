"""The test page of a stock, and the picture of a document, against a ruler."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from io import BytesIO

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from kitting.domain.errors import NotFit
from kitting.labels import kinds, press
from kitting.labels.picture import png
from kitting.labels.pressed import Pressed
from kitting.labels.readback import rasterise
from kitting.labels.stock import Sheet, Stock
from kitting.labels.trial import test_page as trial_page
from tests.kitting.labels.samples import (
    BAG,
    BAG_70X40,
    BOX_100X150,
    HEAD_203,
    HEAD_300,
    TABLE,
    poppler,
    text_of,
)

MARGIN = Stock(Fraction(100), Fraction(150), HEAD_203, Fraction("1.5"))
SMALL = Stock(Fraction(50), Fraction(25), HEAD_300, Fraction(1))
A4 = Sheet(Fraction(210), Fraction(297), BAG_70X40, Fraction(0), Fraction(8), 3, 7)

SLIPS = Sheet(Fraction(210), Fraction(297), SMALL, Fraction(5), Fraction(8), 4, 11)


def dots_of(pressed: Pressed, stock: Stock) -> np.ndarray:
    raster = rasterise(pressed.pdf, stock)
    return np.frombuffer(raster.dots, np.uint8).reshape(raster.high, raster.wide) == 0


def test_the_frames_are_the_edge_and_what_is_reached() -> None:
    dark = dots_of(trial_page(MARGIN, name="Box labels"), MARGIN)
    assert dark.shape == (1200, 800)
    for line in (dark[:2], dark[-2:], dark[:, :2].T, dark[:, -2:].T):
        assert line.all()
    inner = dark[12:-12, 12:-12]  # 1.5 mm at 8 dots/mm
    for line in (inner[:2], inner[-2:], inner[:, :2].T, inner[:, -2:].T):
        assert line.all()


def test_each_mm_of_the_rulers_is_where_a_ruler_has_it() -> None:
    dark = dots_of(trial_page(BOX_100X150, name="Box labels"), BOX_100X150)
    # Just under the frame along the top, and beside it along the left.
    across = np.flatnonzero(dark[4, 8:-2]) + 8
    down = np.flatnonzero(dark[8:-2, 4]) + 8
    assert across.tolist() == [8 * mm for mm in range(1, 100)]
    assert down.tolist() == [8 * mm for mm in range(1, 150)]
    longest = np.flatnonzero(dark[22, 8:-2]) + 8  # 2.75 mm down: only whole tens
    assert longest.tolist() == [80 * ten for ten in range(1, 10)]


@pytest.mark.parametrize("stock", [MARGIN, BAG_70X40, SMALL], ids=["100", "70", "50"])
def test_the_symbol_has_bars_of_one_to_four_modules(stock: Stock) -> None:
    pdf = trial_page(stock, name="Labels").pdf
    (read,) = zxingcpp.read_barcodes(poppler(pdf, str(float(stock.dots_per_inch))))
    assert (read.symbology_identifier, read.text) == ("]C0", "TEST")
    # Code 128: T, E and S in set B are the values 52, 37 and 51.
    widths = "".join(TABLE["widths"][value] for value in (104, 52, 37, 51, 52))
    assert set(widths) == set("1234")


# Four groups of three lines and their white, 1, 2, 3 and 4 dots each.
@pytest.mark.parametrize("stock", [MARGIN, BAG_70X40, SMALL], ids=["100", "70", "50"])
def test_the_comb_has_lines_of_one_to_four_dots(stock: Stock) -> None:
    pressed = trial_page(stock, name="Labels")
    image = poppler(pressed.pdf, str(float(stock.dots_per_inch)))
    (read,) = zxingcpp.read_barcodes(image)
    dark = np.asarray(image) == 0
    row = dark[(read.position.top_left.y + read.position.bottom_left.y) // 2]
    row = row[read.position.top_right.x + 3 : -round(3 * float(stock.dots_per_mm))]
    edges = np.flatnonzero(np.diff(row.astype(int)))
    starts, ends = edges[::2], edges[1::2]
    assert (ends - starts).tolist() == [1] * 3 + [2] * 3 + [3] * 3 + [4] * 3


def test_what_was_entered_is_said_in_words() -> None:
    text = text_of(trial_page(MARGIN, name="Box labels, roll").pdf)
    for wanted in (
        "Box labels, roll",
        "100 × 150 mm, 8 dots per mm",
        "Narrow bar 3 dots, 0.38 mm",
        "Inner line: 1.5 mm inside.",
        "140",
    ):
        assert wanted in text, wanted
    bare = text_of(trial_page(BOX_100X150, name="Box labels").pdf)
    assert "Inner line" not in bare
    assert "11.81 dots per mm" in text_of(trial_page(SMALL, name="Slips").pdf)


def test_a_sheet_shows_every_label_in_its_place() -> None:
    pressed = trial_page(A4, name="A4, 21 labels")
    dark = dots_of(pressed, A4.page)
    for left, top in A4.spots():
        frame = dark[top : top + 320, left : left + 560]
        assert frame[:2].all()
        assert frame[-2:].all()
        assert frame[:, :2].all()
        assert frame[:, -2:].all()
    assert "3 × 7 on 210 × 297 mm" in text_of(pressed.pdf)


def test_on_a_sheet_the_edge_that_is_reached_is_the_pages() -> None:
    on = replace(A4, label=replace(BAG_70X40, margin_mm=Fraction(4)))
    pressed = trial_page(on, name="A4, 21 labels")
    dark = dots_of(pressed, on.page)
    inner = dark[32:-32, 32:-32]  # 4 mm at 8 dots/mm
    for line in (inner[:2], inner[-2:], inner[:, :2].T, inner[:, -2:].T):
        assert line.all()
    assert "Line along the page: 4 mm inside its edge." in text_of(pressed.pdf)


def test_a_small_label_inside_the_page_has_room_whatever_the_page_loses() -> None:
    head = Fraction(600) / Fraction("25.4")
    slip = Stock(Fraction(50), Fraction(25), head, margin_mm=Fraction(5))
    on = Sheet(Fraction(210), Fraction(297), slip, Fraction(25), Fraction(14), 3, 10)
    pressed = trial_page(on, name="Slips on A4")
    (read,) = zxingcpp.read_barcodes(poppler(pressed.pdf, "600"))
    assert read.text == "TEST"
    box = [getattr(read.position, f"{corner}_right") for corner in ("top", "bottom")]
    left, top = on.spots()[0]
    assert all(left < corner.x < left + slip.width_dots for corner in box)
    assert all(top < corner.y < top + slip.height_dots for corner in box)


def test_a_label_that_reaches_over_the_edge_keeps_its_words_inside() -> None:
    slip = replace(SMALL, margin_mm=Fraction(5))
    with pytest.raises(NotFit, match="label_full"):
        trial_page(replace(SLIPS, label=slip, left_mm=Fraction(0)), name="Slips")


def test_same_stock_same_bytes() -> None:
    pages = [trial_page(A4, name="A4") for _ in range(2)]
    assert pages[0] == pages[1]
    assert len(PdfReader(BytesIO(pages[0].pdf)).pages) == pages[0].pages == 1


@pytest.mark.parametrize(
    ("stock", "name", "code"),
    [
        (replace(SMALL, width_mm=Fraction(49)), "Slips", "stock_too_small"),
        (replace(SMALL, height_mm=Fraction(24)), "Slips", "stock_too_small"),
        (SLIPS, "A name that is much too long for slips, " * 2, "label_full"),
        (SMALL, "A name that is much too long for slips, " * 9, "text_too_long"),
        (SMALL, "フェイス", "missing_glyph"),
    ],
)
def test_a_test_page_that_has_no_room_is_refused(
    stock: Stock | Sheet, name: str, code: str
) -> None:
    with pytest.raises(NotFit) as caught:
        trial_page(stock, name=name)
    assert caught.value.code == code


@pytest.mark.parametrize("head", [HEAD_203, HEAD_300], ids=["203.2", "300"])
def test_a_picture_has_a_pixel_for_each_dot(head: Fraction) -> None:
    stock = BAG_70X40.at(head)
    pressed = press.draw(kinds.BAG, [BAG], stock)
    picture = Image.open(BytesIO(png(pressed, stock)))
    assert (picture.format, picture.mode) == ("PNG", "1")
    assert picture.size == (stock.width_dots, stock.height_dots)
    assert picture.info["dpi"] == pytest.approx((float(stock.dots_per_inch),) * 2, 1e-3)
    read = {one.text for one in zxingcpp.read_barcodes(picture.convert("L"))}
    assert read == {BAG.number}


def test_a_picture_is_of_the_page_that_is_asked_for() -> None:
    labels = [replace(BAG, number=f"B1-{nth}") for nth in range(22)]
    pressed = press.draw(kinds.BAG, labels, A4)
    picture = Image.open(BytesIO(png(pressed, A4, page=1)))
    assert picture.size == (1680, 2376)
    assert {one.text for one in zxingcpp.read_barcodes(picture.convert("L"))} == {
        "B1-21"
    }
