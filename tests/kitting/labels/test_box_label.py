"""The box label: what it says, what its symbols carry, and what has no room."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from datetime import date
from fractions import Fraction
from io import BytesIO
from typing import Any

import pytest
from biip.gs1_messages import GS1Message
from pypdf import PdfReader

from kitting.domain.errors import CodeError, LotwardError, NotFit
from kitting.labels.box_label import BoxLabel, BoxWords, box_symbols
from kitting.labels.dots import Raster
from kitting.labels.kinds import BOX as KIND
from kitting.labels.press import press
from kitting.labels.readback import rasterise
from kitting.labels.stock import Stock
from tests.kitting.labels.drawn import matrix_box, seen
from tests.kitting.labels.samples import (
    BOX,
    BOX_100X150,
    DEVICE,
    HEAD_300,
    MARKED,
    PLAIN,
    check_box,
    draw_box,
    page_mm,
    poppler,
    read_back,
    scanned,
    text_of,
)

BOX_300 = BOX_100X150.at(HEAD_300)
LABELS = {"box": BOX, "marked": MARKED, "device": DEVICE}
SSCC = "00395212340000012345"
MATRIX = "0109521234000013132603141729031310HL-FS1-26073-3\x1d21X1-0001234-K"


def ink(raster: Raster, *, left: float, right: float, top: float, foot: float) -> range:
    """Rows with ink inside a part of the page given in mm, at 8 dots/mm."""
    across = slice(round(left * 8), round(right * 8))
    rows = [
        y for y in range(round(top * 8), round(foot * 8)) if 0 in raster.row(y)[across]
    ]
    return range(rows[0], rows[-1] + 1)


@pytest.mark.parametrize("stock", [BOX_100X150, BOX_300], ids=["203.2", "300"])
@pytest.mark.parametrize("label", [*LABELS.values(), PLAIN], ids=[*LABELS, "plain"])
def test_the_page_is_100_by_150_mm(label: BoxLabel, stock: Stock) -> None:
    assert page_mm(draw_box(label, stock)) == pytest.approx((100, 150), abs=0.1)


@pytest.mark.parametrize("head", [BOX_100X150, BOX_300], ids=["203.2", "300"])
@pytest.mark.parametrize("drawn", [BOX_100X150, BOX_300], ids=["for203.2", "for300"])
@pytest.mark.parametrize("name", LABELS)
def test_both_symbols_are_read_at_203_2_and_300_dpi(
    name: str, drawn: Stock, head: Stock
) -> None:
    pdf = draw_box(LABELS[name], drawn)
    read = {one.symbology_identifier: one.data for one in read_back(pdf, head)}
    date = "11260314" if name == "device" else "13260314"
    assert read == {"]C1": SSCC, "]d2": MATRIX.replace("13260314", date)}


@pytest.mark.parametrize("name", LABELS)
def test_a_second_rasteriser_reads_the_same(name: str) -> None:
    read = scanned(poppler(draw_box(LABELS[name], BOX_100X150), "203.2"))
    date = "11260314" if name == "device" else "13260314"
    assert read == {"]C1": SSCC, "]d2": MATRIX.replace("13260314", date)}


def test_biip_parses_what_was_read() -> None:
    for symbol in read_back(draw_box(BOX, BOX_100X150), BOX_100X150):
        message = GS1Message.parse(symbol.data)
        found = {item.ai.ai: item for item in message.element_strings}
        assert not any(item.gtin_error or item.sscc_error for item in found.values())
        if symbol.symbology_identifier == "]C1":
            sscc = found["00"].sscc
            assert sscc is not None
            assert sscc.value == "395212340000012345"
        else:
            assert list(found) == ["01", "13", "17", "10", "21"]
            gtin = found["01"].gtin
            assert gtin is not None
            assert gtin.as_gtin_14() == "09521234000013"
            assert found["13"].date == BOX.packed_on
            assert found["17"].date == BOX.use_by
            assert found["10"].value == "HL-FS1-26073-3"
            assert found["21"].value == "X1-0001234-K"


def test_without_a_prefix_nothing_claims_to_be_gs1() -> None:
    pdf = draw_box(PLAIN, BOX_100X150)
    read = {one.symbology_identifier: one.data for one in read_back(pdf, BOX_100X150)}
    assert read == {"]C0": "X1-0001234-K", "]d1": "X1-0001234-K"}
    assert "(" not in text_of(pdf).replace("Disinfected (UV-C)", "")


def test_an_sscc_may_stand_beside_a_matrix_without_a_gtin() -> None:
    label = replace(BOX, gtin=None)
    pdf = draw_box(label, BOX_100X150)
    check_box(pdf, label, BOX_100X150)
    assert scanned(poppler(pdf, "203.2")) == {"]C1": SSCC, "]d1": "X1-0001234-K"}


def test_everything_a_person_needs_is_printed() -> None:
    text = text_of(draw_box(BOX, BOX_100X150))
    for wanted in (
        "Face shield with forehead foam, single use",
        "24",
        "sets",
        "Packed 2026-03-14",
        "Disinfected (UV-C)",
        "2026-03-13",
        "Use by",
        "2029-03-13",
        "Kit batch",
        "HL-FS1-26073-3",
        "X1-0001234-K",
        "(00)395212340000012345",
        "(01)09521234000013",
        "(13)260314",
        "(17)290313",
        "(10)HL-FS1-26073-3",
        "(21)X1-0001234-K",
        "A splash barrier. Does not replace a respirator.",
        "Harrow Lane Workshop",
        "12 Harrow Lane · Thornwick · Eskmoor",
    ):
        assert wanted in text, wanted
    for part, number in BOX.lots:
        assert part in text
        assert number in text
    assert "Reprint" not in text
    assert "latex" not in text


def test_no_identifier_is_split_over_two_lines() -> None:
    long = replace(BOX, kit_batch="HL-ABCDEFGH-26073-V2", serial="X1-0001234567890-123")
    pdf = draw_box(long, BOX_100X150)
    lines = PdfReader(BytesIO(pdf)).pages[0].extract_text().splitlines()
    for piece in box_symbols(long)[1].readable():
        assert any(piece in line for line in lines), piece
    check_box(pdf, long, BOX_100X150)


def test_what_did_not_happen_is_not_mentioned() -> None:
    label = replace(BOX, disinfected=(), use_by=None)
    text = text_of(draw_box(label, BOX_100X150))
    assert "Disinfected" not in text
    assert "Use by" not in text
    assert "(17)" not in text
    assert not any(ai == "17" for ai, _ in box_symbols(label)[1].pairs)


# The job asks for 7 mm; 1 mm of height per 200 mm of distance is common practice, so
# that 15 mm are read from 3 m.
@pytest.mark.parametrize(("sets", "least_mm"), [(6, 14.8), (24, 14.8), (1234, 7)])
def test_the_count_is_read_from_afar(sets: int, least_mm: float) -> None:
    label = replace(BOX, sets=sets, product_name="Face shield")
    raster = rasterise(draw_box(label, BOX_100X150), BOX_100X150)
    rows = ink(raster, left=5, right=36, top=16, foot=34)
    assert len(rows) / 8 >= least_mm


def test_a_count_that_would_be_under_7_mm_is_refused() -> None:
    with pytest.raises(NotFit) as caught:
        draw_box(replace(BOX, sets=12345), BOX_100X150)
    assert caught.value.code == "text_too_long"


def test_the_packed_date_is_printed_7_mm_high() -> None:
    label = replace(BOX, product_name="Face shield")
    raster = rasterise(draw_box(label, BOX_100X150), BOX_100X150)
    # Figures 7 mm high; a rounded figure may stand a dot or two above and below.
    rows = ink(raster, left=39, right=94, top=21, foot=31)
    assert 56 <= len(rows) <= 60


def test_one_set_is_a_set() -> None:
    text = text_of(draw_box(replace(BOX, sets=1), BOX_100X150))
    assert re.search(r"\bset\b", text)
    assert not re.search(r"\bsets\b", text)


def test_lots_of_one_part_share_a_line() -> None:
    lots = (*BOX.lots, ("Headband", "HB-0313"))
    assert "HB-0312, HB-0313" in text_of(draw_box(replace(BOX, lots=lots), BOX_100X150))


@pytest.mark.parametrize(
    "lots",
    [
        tuple((f"Part {n}", f"L-{n}") for n in range(30)),
        (("A part with a very long name indeed, in two colours", "L-0001-0002-0003"),),
    ],
    ids=["many", "wide"],
)
def test_lots_that_do_not_stand_in_columns_run_on(
    lots: tuple[tuple[str, str], ...],
) -> None:
    text = text_of(draw_box(replace(BOX, lots=lots), BOX_100X150))
    assert all(f"{part} {number}" in text for part, number in lots)


def test_lots_without_room_in_the_smallest_type_stand_on_the_packing_list() -> None:
    lots = tuple((f"Part {n}", f"L-{n}") for n in range(90))
    text = text_of(draw_box(replace(BOX, lots=lots), BOX_100X150))
    assert "Lots: see packing list" in text
    assert "L-0" not in text


# GS1 General Specifications 5.12.3.8, table 8: X of GS1 DataMatrix is 0.750 to 1.520 mm.
@pytest.mark.parametrize("dpi", [203.2, 300, 600])
def test_the_cells_of_a_box_are_never_under_three_quarters_of_a_mm(dpi: float) -> None:
    stock = BOX_100X150.at(Fraction(dpi) / Fraction("25.4"))
    raster = rasterise(press(KIND, [DEVICE], stock).pdf, stock)
    (found,) = [one for one in seen(raster) if one.symbology_identifier == "]d2"]
    cells = box_symbols(DEVICE)[1].matrix().cells
    x, *_ = matrix_box(raster, cells, found)
    assert 0.75 <= stock.mm(x) <= 1.52
    full = replace(DEVICE, cautions=("Away from lamps and heat.",) * 22)
    with pytest.raises(NotFit) as caught:
        press(KIND, [full], stock)
    needed = caught.value.params["needed_mm"]
    assert needed > caught.value.params["room_mm"]
    assert needed > 0.75 * (cells + 2)


def test_a_reprint_says_so() -> None:
    assert "Reprint 2" in text_of(draw_box(MARKED, BOX_100X150))


def test_a_demonstration_says_so_across_the_face() -> None:
    text = text_of(draw_box(MARKED, BOX_100X150))
    assert "DEMONSTRATION –" in text
    assert "NOT FOR USE" in text
    bare = rasterise(draw_box(replace(MARKED, mark=None), BOX_100X150), BOX_100X150)
    marked = rasterise(draw_box(MARKED, BOX_100X150), BOX_100X150)
    more = {
        (at % 800, at // 800)
        for at, (a, b) in enumerate(zip(bare.dots, marked.dots, strict=True))
        if a != b
    }
    width = max(x for x, _ in more) - min(x for x, _ in more)
    height = max(y for _, y in more) - min(y for _, y in more)
    assert width > 400
    assert height > 500


def test_only_a_medical_device_carries_device_marks() -> None:
    def black(label: BoxLabel) -> int:
        return rasterise(draw_box(label, BOX_100X150), BOX_100X150).dots.count(0)

    none, ppe = replace(BOX, gtin=None), replace(BOX, gtin=None, profile="ppe")
    assert draw_box(none, BOX_100X150) == draw_box(ppe, BOX_100X150)
    assert black(replace(none, profile="device")) > black(none) + 2000
    drawn = text_of(draw_box(DEVICE, BOX_100X150))
    bare = text_of(draw_box(BOX, BOX_100X150))
    for letters in ("LOT", "SN", "MD"):
        assert re.search(rf"\b{letters}\b", drawn)
        assert not re.search(rf"\b{letters}\b", bare)


def test_latex_is_named_where_there_is_some() -> None:
    assert "Contains natural rubber latex." in text_of(draw_box(DEVICE, BOX_100X150))


@pytest.mark.parametrize(
    "name",
    [
        "Προσωπίδα με αφρό, μιας χρήσης",
        "Щиток лицевой с мягкой вставкой",
        "Przyłbica z gąbką, jednorazowa",
        "Tấm chắn mặt dùng một lần",
        "Süngerli yüz siperliği, tek kullanımlık",
    ],
)
def test_a_product_is_named_in_its_own_language(name: str) -> None:
    label = replace(
        BOX, product_name=name, words=BoxWords(packed="Συσκευάστηκε", sets="σετ")
    )
    text = text_of(draw_box(label, BOX_100X150))
    assert name in text
    assert "Συσκευάστηκε" in text


def test_same_label_same_bytes() -> None:
    first, second = (draw_box(BOX, BOX_100X150) for _ in range(2))
    assert hashlib.sha256(first).digest() == hashlib.sha256(second).digest()
    assert draw_box(replace(BOX, sets=25), BOX_100X150) != first


def test_fonts_are_embedded_and_no_other_is_named() -> None:
    pdf = draw_box(DEVICE, BOX_100X150)
    resources: Any = PdfReader(BytesIO(pdf)).pages[0]["/Resources"]
    fonts = resources["/Font"]
    for font in fonts.values():
        shown = font.get_object()
        assert "DejaVuSansCondensed" in shown["/BaseFont"]
        assert "/FontFile2" in shown["/FontDescriptor"]
    assert b"Helvetica" not in pdf


def test_many_labels_are_one_document() -> None:
    labels = [replace(BOX, serial=f"X1-000{n}-K") for n in range(3)]
    pressed = press(KIND, labels, BOX_100X150)
    assert len(PdfReader(BytesIO(pressed.pdf)).pages) == pressed.pages == 3


@pytest.mark.parametrize(
    ("change", "error", "code"),
    [
        ({"product_name": "フェイスシールド"}, NotFit, "missing_glyph"),
        ({"lots": (("\u202bقناع\u202c", "HB-0304"),)}, NotFit, "missing_glyph"),
        ({"product_name": "Face shield " * 20}, NotFit, "text_too_long"),
        ({"maker_name": "Harrow Lane " * 12}, NotFit, "text_too_long"),
        ({"cautions": ("A splash barrier, no more.",) * 40}, NotFit, "label_full"),
        ({"serial": "X1-000123456789012345678901234567890123"}, CodeError, None),
        ({"sscc": "395212340000012346"}, CodeError, "gs1_check_digit"),
        ({"gtin": "09521234000014"}, CodeError, "gs1_check_digit"),
        (
            {"sscc": None, "gtin": None, "serial": "ABCDEFGHIJKLMNOPQRSTUVWXYZABCDEFG"},
            NotFit,
            "bars_fit_turned",
        ),
    ],
)
def test_what_has_no_room_or_breaks_a_rule_is_refused(
    change: dict[str, Any], error: type[LotwardError], code: str | None
) -> None:
    with pytest.raises(error) as caught:
        draw_box(replace(BOX, **change), BOX_100X150)
    assert code is None or caught.value.code == code


def drawing(label: BoxLabel) -> str:
    try:
        draw_box(label, BOX_100X150)
    except NotFit as error:
        return error.code
    return "drawn"


@pytest.mark.parametrize(
    "more",
    [{}, {"copy": 2}, {"product_name": "Shield"}, {"disinfected": ()}],
    ids=["plain", "reprint", "short name", "one date"],
)
def test_cautions_push_nothing_off_the_label(more: dict[str, Any]) -> None:
    caution = ("Keep away from lamps, from heat and from open windows.",)
    label = replace(PLAIN, **more)
    codes = [drawing(replace(label, cautions=caution * n)) for n in range(10, 30)]
    room = codes.count("drawn")
    assert 0 < room < 20
    assert codes == ["drawn"] * room + ["label_full"] * (20 - room)


def test_a_piece_of_readable_text_too_wide_for_its_column_is_refused() -> None:
    label = replace(BOX, kit_batch="WWWWWWWWWWWWWWWWWWWW")
    with pytest.raises(NotFit) as caught:
        draw_box(label, BOX_100X150)
    assert caught.value.code == "text_too_long"


# GS1 General Specifications, 7.12: a year of two digits is from 49 years before to 50
# after the current one.
@pytest.mark.parametrize(("year", "carried"), [(2076, True), (2077, False)])
def test_a_use_by_is_carried_only_if_it_reads_back(year: int, *, carried: bool) -> None:
    label = replace(BOX, packed_on=date(2026, 3, 14), use_by=date(year, 1, 1))
    if carried:
        assert f"17{year % 100}0101" in box_symbols(label)[1].data
        return
    with pytest.raises(CodeError) as caught:
        box_symbols(label)
    assert (caught.value.code, caught.value.params) == (
        "use_by_too_far",
        {"use_by": label.use_by, "year": 2076},
    )
