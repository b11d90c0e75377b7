"""Labels on stock and sheets: where they stand, and that each is read in its place."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from typing import Any

import pytest
import zxingcpp
from pypdf import PdfReader

from dispatch.labels.shipment import SHIPMENT, ShipmentWords
from kitting.domain.errors import LotwardError, NotFit
from kitting.labels import kinds, large, press
from kitting.labels.dots import Raster
from kitting.labels.kinds import Kind
from kitting.labels.paper import Paper
from kitting.labels.readback import rasterise
from kitting.labels.stock import Sheet, Stock
from kitting.labels.text import Style, width_mm
from tests.kitting.labels.drawn import DEMO, KINDS
from tests.kitting.labels.samples import (
    BAG,
    BAG_70X40,
    BLANK,
    HEAD_203,
    HEAD_300,
    SAMPLES,
    poppler,
    text_of,
)

HEAD_600 = Fraction(600) / Fraction("25.4")


def sheet(
    page: tuple[str, str],
    label: tuple[int, int],
    grid: tuple[int, int],
    corner: tuple[str, str] = ("0", "0"),
    gaps: tuple[str, str] = ("0", "0"),
    head: Fraction = HEAD_203,
) -> Sheet:
    """A sheet from figures in mm."""
    return Sheet(
        page_width_mm=Fraction(page[0]),
        page_height_mm=Fraction(page[1]),
        label=Stock(Fraction(label[0]), Fraction(label[1]), head),
        left_mm=Fraction(corner[0]),
        top_mm=Fraction(corner[1]),
        columns=grid[0],
        rows=grid[1],
        gap_across_mm=Fraction(gaps[0]),
        gap_down_mm=Fraction(gaps[1]),
    )


# ISO 216: A4 is 210 × 297 mm; ANSI/ASME Y14.1: Letter is 8.5 × 11 inches.
A4, LETTER = ("210", "297"), ("215.9", "279.4")
THREE_BY_SEVEN = sheet(A4, (70, 40), (3, 7), ("0", "8.5"))
SHEETS: dict[str, tuple[Kind[Any], Sheet]] = {
    "A4, 3 × 7": (kinds.BAG, THREE_BY_SEVEN),
    "A4, 4 × 11 slips, 300 dpi": (
        kinds.SET_SLIP,
        sheet(A4, (50, 25), (4, 11), ("3.7", "11"), ("0.93", "0"), HEAD_300),
    ),
    "A4, 2 × 6 larger than the label": (
        kinds.COMMAND,
        sheet(A4, (96, 46), (2, 6), ("7.3", "9.6"), ("3.4", "0.7")),
    ),
    "Letter, 3 × 6": (
        kinds.PLACE,
        sheet(LETTER, (70, 42), (3, 6), ("2.9", "13.7"), ("0.05", "0")),
    ),
    "Letter, 2 × 1 boxes": (kinds.BOX, sheet(LETTER, (102, 152), (2, 1), ("5", "7"))),
    "Letter, 2 × 5, office printer": (
        kinds.CLEARED,
        sheet(LETTER, (95, 50), (2, 5), ("9", "12"), ("5", "1.3"), HEAD_600),
    ),
}
FIELD = {"bag": "number", "place": "code", "command": "command", "cleared": "number"}


def numbered(kind: Kind[Any], count: int) -> list[Any]:
    """So many labels that differ in what their symbols carry."""
    field = FIELD.get(kind.name, "serial")
    sample = replace(
        SAMPLES[kind.name], **({"sscc": None} if kind.name == "box" else {})
    )
    return [replace(sample, **{field: f"AB-{nth:03}"}) for nth in range(count)]


def refusal(kind: Kind[Any], on: Stock | Sheet, **more: Any) -> NotFit:
    with pytest.raises(NotFit) as caught:
        press.draw(kind, [SAMPLES[kind.name]], on, **more)
    return caught.value


@pytest.mark.parametrize("name", SHEETS)
def test_every_place_of_a_sheet_is_read_by_another_rasteriser(name: str) -> None:
    kind, on = SHEETS[name]
    labels = numbered(kind, on.labels)
    pressed = press.press(kind, labels, on)
    assert pressed.pages == 1
    dpi = on.label.dots_per_inch
    image = poppler(pressed.pdf, str(float(dpi)))
    for nth, label in enumerate(labels):
        row, column = divmod(nth, on.columns)
        left = on.left_mm + column * (on.label.width_mm + on.gap_across_mm)
        top = on.top_mm + row * (on.label.height_mm + on.gap_down_mm)
        box = (left, top, left + on.label.width_mm, top + on.label.height_mm)
        part = image.crop(tuple(round(side * dpi / Fraction("25.4")) for side in box))
        read = {one.bytes.decode() for one in zxingcpp.read_barcodes(part)}
        wanted = {one.data for one in kind.symbols(label)}
        assert read == wanted, (nth, read)


@pytest.mark.parametrize("start", [1, 5, 21])
def test_a_sheet_is_filled_from_any_place_on(start: int) -> None:
    labels = numbered(kinds.BAG, 24)
    pressed = press.press(kinds.BAG, labels, THREE_BY_SEVEN, start=start)
    reader = PdfReader(BytesIO(pressed.pdf))
    assert pressed.pages == len(reader.pages) == (2 if start == 1 else 3 - (start < 20))
    found = [
        number
        for page in reader.pages
        for number in page.extract_text().split()
        if number.startswith("AB-")
    ]
    assert sorted(found) == [label.number for label in labels]
    first = rasterise(pressed.pdf, THREE_BY_SEVEN.page)
    used = [not blank(first, spot) for spot in THREE_BY_SEVEN.spots()]
    assert used == [nth + 1 >= start for nth in range(21)]


def blank(raster: Raster, spot: tuple[int, int]) -> bool:
    return 0 not in raster.part(*spot, 560, 320).dots


def test_places_are_counted_row_by_row() -> None:
    layout = kinds.BAG.on(THREE_BY_SEVEN)
    assert layout.place(0, start=5) == (0, (70 * 8, round((8.5 + 40) * 8)))
    assert layout.place(16, start=5)[0] == 0
    assert layout.place(17, start=5) == (1, (0, 68))
    assert [layout.pages(n, start=5) for n in (1, 17, 18, 38, 39)] == [1, 1, 2, 2, 3]


def test_a_place_is_never_half_a_dot_off() -> None:
    """No rounding adds up: each label is where the millimetres say."""
    on = SHEETS["A4, 4 × 11 slips, 300 dpi"][1]
    for nth, (left, top) in enumerate(on.spots()):
        row, column = divmod(nth, 4)
        exact_left = (Fraction("3.7") + column * Fraction("50.93")) * HEAD_300
        exact_top = (11 + row * 25) * HEAD_300
        assert abs(left - exact_left) <= Fraction(1, 2)
        assert abs(top - exact_top) <= Fraction(1, 2)


@pytest.mark.parametrize("kind", KINDS, ids=[kind.name for kind in KINDS])
def test_a_demo_mark_is_there_and_all_is_still_read(kind: Kind[Any]) -> None:
    on = Stock(kind.width_mm, kind.height_mm, HEAD_203)
    bare = SAMPLES[kind.name]
    pressed = press.press(kind, [replace(bare, mark=DEMO)], on)
    text = text_of(pressed.pdf)
    assert "DEMONSTRATION –" in text
    assert "NOT FOR USE" in text
    ink = rasterise(pressed.pdf, on).dots.count(0)
    assert ink > rasterise(press.draw(kind, [bare], on).pdf, on).dots.count(0) + 3000


@pytest.mark.parametrize("kind", [kinds.BOX, SHIPMENT], ids=["box", "shipment"])
@pytest.mark.parametrize(("high", "lines"), [(11.5, 2), (7, 3)])
def test_a_mark_as_long_as_can_be_keeps_out_of_the_bars(
    kind: Kind[Any], high: float, lines: int
) -> None:
    line = "H" * int(large.MARK_ROOM / width_mm("H", Style(high, bold=True)))
    marked = replace(SAMPLES[kind.name], mark=" ".join([line] * lines))
    on = Stock(kind.width_mm, kind.height_mm, HEAD_203)
    assert press.press(kind, [marked], on).pages == 1


def test_nothing_of_a_label_leaves_its_place_on_a_sheet() -> None:
    def draw(paper: Paper, label: Any) -> None:
        kinds.BAG.draw(paper, label)
        paper.block(-300, 10, 1200, 8)

    pressed = press.draw(replace(kinds.BAG, draw=draw), [BAG], THREE_BY_SEVEN, start=5)
    page = rasterise(pressed.pdf, THREE_BY_SEVEN.page)
    left, top = THREE_BY_SEVEN.spots()[4]
    inside = page.part(left, top, 560, 320).dots.count(0)
    assert page.dots.count(0) == inside > 560 * 8


@pytest.mark.parametrize("kind", KINDS, ids=[kind.name for kind in KINDS])
def test_larger_stock_carries_the_label_in_its_middle(kind: Kind[Any]) -> None:
    exact = Stock(kind.width_mm, kind.height_mm, HEAD_203)
    larger = Stock(kind.width_mm + 10, kind.height_mm + 6, HEAD_203)
    small = rasterise(press.draw(kind, [SAMPLES[kind.name]], exact).pdf, exact)
    large = rasterise(press.press(kind, [SAMPLES[kind.name]], larger).pdf, larger)
    assert (large.wide, large.high) == (small.wide + 80, small.high + 48)
    part = large.part(40, 24, small.wide, small.high)
    # Grey edges of letters may fall on either side of black and white.
    other = sum(a != b for a, b in zip(part.dots, small.dots, strict=True))
    assert other < small.dots.count(0) / 50
    assert part.dots.count(0) == large.dots.count(0)


@pytest.mark.parametrize(
    ("width", "height", "code"),
    [
        (69, 40, "stock_too_small"),
        (40, 70, "stock_is_turned"),
        (60, 39, "stock_too_small"),
    ],
)
def test_smaller_stock_is_refused_with_both_sizes(
    width: int, height: int, code: str
) -> None:
    error = refusal(kinds.BAG, Stock(Fraction(width), Fraction(height), HEAD_203))
    assert (error.code, error.params) == (
        code,
        {
            "kind": "bag",
            "needed_width_mm": 70,
            "needed_height_mm": 40,
            "width_mm": width,
            "height_mm": height,
        },
    )


def test_a_margin_that_would_cut_the_label_is_refused() -> None:
    press.draw(kinds.BAG, [BAG], replace(BAG_70X40, margin_mm=Fraction("1.5")))
    error = refusal(kinds.BAG, replace(BAG_70X40, margin_mm=Fraction(2)))
    assert (error.code, error.params["most_mm"]) == ("stock_edge_too_wide", 1.5)
    roomy = Stock(Fraction(74), Fraction(42), HEAD_203, Fraction("2.5"))
    press.draw(kinds.BAG, [BAG], roomy)


def test_on_a_sheet_the_margin_is_the_pages() -> None:
    label = Stock(Fraction(70), Fraction(40), HEAD_203, Fraction("4.2"))
    # 3 × 70 mm fill the page: the outer labels would be cut.
    error = refusal(kinds.BAG, replace(THREE_BY_SEVEN, label=label))
    assert (error.code, error.params["most_mm"]) == ("stock_edge_too_wide", 1.5)
    # Two columns leave 5 mm of page on each side, and three rows 8.5 mm above.
    fewer = replace(THREE_BY_SEVEN, label=label, columns=2, left_mm=Fraction(5), rows=3)
    press.press(kinds.BAG, numbered(kinds.BAG, 6), fewer)
    low = replace(fewer, top_mm=Fraction("0.5"))
    assert refusal(kinds.BAG, low).params["most_mm"] == 2


# What a margin may take is white; only the band of a demo reaches further, and its
# letters do not.
@pytest.mark.parametrize("kind", KINDS, ids=[kind.name for kind in KINDS])
def test_nothing_but_a_band_stands_at_the_edge(kind: Kind[Any]) -> None:
    on = Stock(kind.width_mm, kind.height_mm, HEAD_203)
    raster = rasterise(press.draw(kind, [SAMPLES[kind.name]], on).pdf, on)
    edge = round(kind.white_mm * 8)
    inner = raster.part(edge, edge, raster.wide - 2 * edge, raster.high - 2 * edge).dots
    assert inner.count(0) == raster.dots.count(0) > 0
    marked = replace(SAMPLES[kind.name], mark="MMMMMMMMMM")
    raster = rasterise(press.draw(kind, [marked], on).pdf, on)
    if set(raster.row(0)) == {0}:
        assert set(b"".join(map(raster.row, range(edge)))) == {0}


def test_a_sheet_whose_labels_leave_the_page_is_refused() -> None:
    with pytest.raises(NotFit) as caught:
        sheet(A4, (70, 40), (3, 7), ("0.1", "0"))
    assert (caught.value.code, caught.value.params["needed_width_mm"]) == (
        "sheet_too_small",
        210.1,
    )
    with pytest.raises(NotFit) as caught:
        sheet(A4, (70, 40), (3, 7), ("0", "0"), ("0", "3"))
    assert caught.value.params["needed_height_mm"] == 298
    with pytest.raises(NotFit) as caught:
        sheet(A4, (70, 40), (0, 7))
    assert caught.value.code == "sheet_has_no_labels"


@pytest.mark.parametrize(
    ("on", "start"), [(THREE_BY_SEVEN, 22), (BAG_70X40, 2), (BAG_70X40, 0)]
)
def test_a_place_that_is_not_there_is_refused(on: Stock | Sheet, start: int) -> None:
    error = refusal(kinds.BAG, on, start=start)
    assert (error.code, error.params["start"]) == ("start_beyond_sheet", start)


@pytest.mark.parametrize(
    "changes",
    [
        {"product": "Wide" * 40},
        {"product": "フ"},
        {"ship_to": ("Wide " * 60,)},
        {"sscc": "395212340000000008"},
        {"maker_address": ("Long Acre",) * 60},
        {"mark": "DEMONSTRATION " * 20},
        {"words": ShipmentWords(sent_on="フ")},
    ],
)
def test_a_label_is_refused_when_it_is_tried_on_as_when_it_is_drawn(
    changes: dict[str, Any],
) -> None:
    label = replace(SAMPLES["shipment"], **changes)
    on = Stock(SHIPMENT.width_mm, SHIPMENT.height_mm, HEAD_203)
    with pytest.raises(LotwardError) as drawn:
        press.draw(SHIPMENT, [label], on)
    with pytest.raises(LotwardError) as tried:
        press.try_on(SHIPMENT, label, on)
    assert tried.value.code == drawn.value.code
    assert tried.value.params == drawn.value.params


def test_no_label_is_no_document() -> None:
    with pytest.raises(NotFit) as caught:
        press.draw(kinds.BAG, [], BAG_70X40)
    assert caught.value.code == "no_labels"


def test_same_labels_same_bytes() -> None:
    labels = numbered(kinds.BAG, 3)
    first, second = (
        press.press(kinds.BAG, labels, THREE_BY_SEVEN, start=4) for _ in range(2)
    )
    assert first == second
    assert first.sha == hashlib.sha256(first.pdf).digest()
    other = press.draw(kinds.BAG, labels, THREE_BY_SEVEN, start=5)
    assert other.sha != first.sha


def test_one_bar_a_dot_too_wide_names_its_label(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plain, face = Paper.bars, kinds.BAG.draw

    def uneven(paper: Paper, left: int, top: int, bars: Any, size: Any) -> None:
        plain(paper, left, top, bars, size)
        paper.block(left + bars.widths[0] * size.x, top, 1, size.high)

    def draw(paper: Paper, label: Any) -> None:
        with monkeypatch.context() as patch:
            if label.number == "AB-006":
                patch.setattr(Paper, "bars", uneven)
            face(paper, label)

    with pytest.raises(LotwardError) as caught:
        press.press(
            replace(kinds.BAG, draw=draw), numbered(kinds.BAG, 9), THREE_BY_SEVEN
        )
    assert caught.value.code == "bars_uneven"
    assert caught.value.params["number"] == "AB-006"


def test_two_labels_in_each_others_place_are_noticed() -> None:
    labels = numbered(kinds.BAG, 9)
    swapped = [*labels[:4], labels[5], labels[4], *labels[6:]]
    pressed = press.draw(kinds.BAG, swapped, THREE_BY_SEVEN)
    with pytest.raises(LotwardError) as caught:
        press.prove(pressed, kinds.BAG, labels, THREE_BY_SEVEN)
    assert caught.value.code == "label_unreadable"
    assert caught.value.params["number"] == "AB-004"
    assert ("]C0", "AB-005") in caught.value.params["read"]  # type: ignore[operator]


def test_an_altered_matrix_is_noticed() -> None:
    def draw(paper: Paper, label: Any) -> None:
        kinds.SET_SLIP.draw(paper, replace(label, serial=label.serial + "0"))

    spoilt = replace(kinds.SET_SLIP, draw=draw)
    label = SAMPLES["set_slip"]
    with pytest.raises(LotwardError) as caught:
        press.press(spoilt, [label], Stock(Fraction(50), Fraction(25), HEAD_203))
    assert caught.value.code == "label_unreadable"
    assert caught.value.params["number"] == "X1-0001234-K 3/24"


@pytest.mark.parametrize("beside", [-25, 2])
def test_a_dot_in_a_quiet_zone_is_noticed(beside: int) -> None:
    """Bars of a blank bag label end 10 modules of 3 dots before the block."""

    def draw(paper: Paper, label: Any) -> None:
        kinds.BAG.draw(paper, label)
        widths = kinds.BAG.symbols(label)[0].bars().widths
        wide = 3 * sum(widths)
        first = (560 - wide) // 2
        at = first + beside if beside < 0 else first + wide + 30 - beside
        paper.block(at, 120, 1, 200)

    spoilt = replace(kinds.BAG, draw=draw)
    with pytest.raises(LotwardError) as caught:
        press.press(spoilt, [BLANK], BAG_70X40)
    assert caught.value.code == "quiet_zone_not_white"
    assert caught.value.params == {"number": "B1-0004821-7", "dots": 30}


def test_an_error_never_tells_what_a_badge_carries() -> None:
    def draw(paper: Paper, label: Any) -> None:
        kinds.BADGE.draw(paper, replace(label, token="BDG" + "C" * 33))

    with pytest.raises(LotwardError) as caught:
        press.press(replace(kinds.BADGE, draw=draw), [SAMPLES["badge"]], BAG_70X40)
    assert caught.value.code == "label_unreadable"
    assert caught.value.params == {"number": "Packer, bench 2"}


def test_a_badge_prints_no_token_in_clear_text() -> None:
    pdf = press.draw(kinds.BADGE, [SAMPLES["badge"]], BAG_70X40).pdf
    reader = PdfReader(BytesIO(pdf))
    assert SAMPLES["badge"].token not in reader.pages[0].extract_text()
    assert SAMPLES["badge"].token not in str(reader.metadata)
    assert SAMPLES["badge"].token.encode() not in pdf
