"""Reading back finds what is wrong with a label before it is printed."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest

from dispatch.labels.shipment import SHIPMENT
from kitting.domain.errors import LotwardError, NotFit
from kitting.labels import kinds, paper
from kitting.labels.bag import BagLabel
from kitting.labels.cards import CommandLabel, PlaceLabel
from kitting.labels.carried import of_elements, of_number, same
from kitting.labels.dots import element_dots
from kitting.labels.kinds import BOX as BOX_KIND
from kitting.labels.kinds import Kind
from kitting.labels.press import draw, press, prove
from kitting.labels.readback import rasterise
from kitting.labels.stock import Stock
from tests.kitting.labels.drawn import linear_box, seen
from tests.kitting.labels.samples import (
    BOX,
    BOX_100X150,
    CONTENT,
    HEAD_203,
    HEAD_300,
    PLAIN,
    SAMPLES,
    check_box,
    draw_box,
    poppler,
    read_back,
)
from tests.patience import PATIENCE_S


def test_a_right_label_passes_and_its_symbols_stand_in_order() -> None:
    pdf = draw_box(BOX, BOX_100X150)
    check_box(pdf, BOX, BOX_100X150)
    matrix, linear = read_back(pdf, BOX_100X150)
    assert (matrix.symbology_identifier, linear.symbology_identifier) == ("]d2", "]C1")
    assert matrix.middle < linear.middle
    # 156 modules of 4 dots, in the middle of 800.
    assert abs(linear.left - 88) <= 1
    assert abs(linear.right - 711) <= 1


@pytest.mark.parametrize(
    "other",
    [
        replace(BOX, serial="X1-0001235-K"),
        replace(BOX, sscc="395212340000012352"),
        replace(BOX, use_by=None),
        replace(BOX, sscc=None),
        replace(BOX, profile="device"),
    ],
)
def test_another_boxs_label_is_refused(other: Any) -> None:
    with pytest.raises(LotwardError) as caught:
        check_box(draw_box(other, BOX_100X150), BOX, BOX_100X150)
    assert caught.value.code == "label_unreadable"
    assert caught.value.params["number"] == "X1-0001234-K"
    assert caught.value.params["wanted"] != caught.value.params["read"]


def test_an_empty_page_is_refused() -> None:
    page = paper.Paper(BOX_100X150, title="nothing")
    page.next_page()
    with pytest.raises(LotwardError) as caught:
        check_box(page.finish(), BOX, BOX_100X150)
    assert caught.value.params["read"] == []


@pytest.mark.parametrize(
    ("kind", "code"), [(BOX_KIND, "cells_uneven"), (SHIPMENT, "bars_uneven")]
)
def test_dots_that_spread_are_refused_though_all_is_readable(
    monkeypatch: pytest.MonkeyPatch, kind: Kind[Any], code: str
) -> None:
    """Each bar and cell reaches a dot into the white beside it."""
    monkeypatch.setattr(paper, "_INSET", -0.6)
    label = SAMPLES[kind.name]
    pressed = draw(kind, [label], BOX_100X150)
    assert len(read_back(pressed.pdf, BOX_100X150)) == len(kind.symbols(label))
    with pytest.raises(LotwardError) as caught:
        prove(pressed, kind, [label], BOX_100X150)
    assert caught.value.code == code
    assert caught.value.params == {"number": "X1-0001234-K"}


# Reed and Solomon's code heals a cell or two; a printer that drops one is still told of.
@pytest.mark.parametrize("cell", [(5, 5), (8, 11)])
def test_one_wrong_cell_is_refused_though_it_is_healed(cell: tuple[int, int]) -> None:
    def spoil(page: paper.Paper, label: Any) -> None:
        BOX_KIND.draw(page, label)
        (symbol, _) = read_back(draw_box(BOX, BOX_100X150), BOX_100X150)
        rows = BOX_KIND.symbols(BOX)[1].matrix().rows
        x = round((symbol.right - symbol.left) / len(rows))
        left, top = symbol.left + cell[0] * x, symbol.top + cell[1] * x
        fill = page.clear if rows[cell[1]][cell[0]] else page.block
        fill(left, top, x, x)

    spoilt = replace(BOX_KIND, draw=spoil)
    pdf = draw(spoilt, [BOX], BOX_100X150).pdf
    assert len(read_back(pdf, BOX_100X150)) == 2
    with pytest.raises(LotwardError) as caught:
        check_box(pdf, BOX, BOX_100X150)
    assert caught.value.code == "cells_uneven"


# Quiet zones of 10 modules beside the bars (ISO/IEC 15417), over their whole height; one
# module above and below, of which GS1 wants half (General Specifications, human readable
# interpretation, from memory). A dot of ink is set just inside or just outside.
@pytest.mark.parametrize(
    "place",
    ["above", "below", "left at the top", "right at the foot", "corner"],
)
@pytest.mark.parametrize("near", [True, False])
def test_ink_too_near_the_bars_is_refused_on_every_side(
    place: str, *, near: bool
) -> None:
    on = Stock(kinds.PLACE.width_mm, kinds.PLACE.height_mm, HEAD_203)
    label = replace(SAMPLES["place"], words="R")
    clean = rasterise(draw(kinds.PLACE, [label], on).pdf, on)
    (bars,) = (one for one in seen(clean) if one.symbology_identifier == "]C0")
    widths = kinds.PLACE.symbols(label)[0].bars().widths
    x, left, top, right, foot = linear_box(clean, widths, bars)
    less = 0 if near else 1
    at = {
        "above": (left + 5, top - x - less),
        "below": (left + 5, foot - 1 + x + less),
        "left at the top": (left - 10 * x - less, top),
        "right at the foot": (right - 1 + 10 * x + less, foot - 1),
        "corner": (left - 10 * x - less, top - x - less),
    }[place]

    def spoil(page: paper.Paper, label: Any) -> None:
        kinds.PLACE.draw(page, label)
        page.block(*at, 1, 1)

    pressed = draw(replace(kinds.PLACE, draw=spoil), [label], on)
    if not near:
        prove(pressed, kinds.PLACE, [label], on)
        return
    with pytest.raises(LotwardError) as caught:
        prove(pressed, kinds.PLACE, [label], on)
    assert caught.value.code == "quiet_zone_not_white"
    assert caught.value.params == {"number": label.code, "dots": 10 * x}


# Letters below the line: g, j, p, q and y have 0.3 of the height of capitals there.
@pytest.mark.parametrize("mark", [None, "PRACTICE"])
@pytest.mark.parametrize(
    ("kind", "label"),
    [
        (kinds.PLACE, PlaceLabel("RACK-0003-BB", "gypsy jigs, gyp")),
        (kinds.PLACE, PlaceLabel("R-1", "Rack gyp, second shelf: visors, jigs; trays")),
        (
            kinds.COMMAND,
            CommandLabel("ACT-GO", "Put jigs away, gyp by gyp, jig by jig"),
        ),
        (
            kinds.BAG,
            BagLabel("B1", replace(CONTENT, part="Jig", revision="gyp", lot="j")),
        ),
        (kinds.CLEARED, replace(SAMPLES["cleared"], cautions=("Gyp, jig.",))),
    ],
)
def test_words_keep_clear_of_the_bars(
    kind: Kind[Any], label: Any, mark: str | None
) -> None:
    for head in (HEAD_203, HEAD_300):
        on = Stock(kind.width_mm, kind.height_mm, head)
        marked = replace(label, mark=mark)
        assert press(kind, [marked], on).pages == 1


# The published widths of start C, FNC1 and 00: code128-widths.json. The second
# rasteriser blackens every dot that a bar touches; the first does not.
@pytest.mark.parametrize("stock", [BOX_100X150, BOX_100X150.at(HEAD_300)])
def test_bars_are_exact_to_the_dot_for_two_rasterisers(stock: Stock) -> None:
    pdf = draw_box(BOX, stock)
    linear = read_back(pdf, stock)[1]
    x = 4 if stock is BOX_100X150 else 6
    wanted = tuple(x * int(width) for width in "211232" + "411131" + "212222")
    ours = rasterise(pdf, stock).row(linear.middle)
    image = poppler(pdf, str(float(stock.dots_per_inch)))
    theirs = image.tobytes()[linear.middle * image.width :][: image.width]
    assert element_dots(ours, linear.left, 18) == wanted
    assert element_dots(theirs, linear.left, 18) == wanted


def test_a_line_without_ink_has_no_bars() -> None:
    assert element_dots(b"\xff" * 20, 5, 3) == ()
    assert element_dots(b"\xff\x00\x00\xff\x00", 2, 9) == (2, 1, 1)


def test_a_symbol_too_many_is_noticed() -> None:
    one = of_number("A1", linear=True)
    assert same([one], [("]C0", "A1")])
    assert not same([one], [("]C0", "A1"), ("]C0", "A1")])
    assert not same([one], [("]d1", "A1")])


def test_more_than_48_characters_are_never_one_linear_symbol() -> None:
    pairs = [("01", "09521234000013"), ("10", "A" * 20), ("21", "B" * 20)]
    with pytest.raises(NotFit) as caught:
        of_elements(pairs, linear=True).bars()
    assert caught.value.code == "too_many_characters"
    assert of_elements(pairs, linear=False).matrix().cells > 0


def test_a_batch_with_brackets_survives() -> None:
    pairs = [("01", "09521234000013"), ("10", "A(B)C")]
    label = replace(BOX, kit_batch="A(B)C")
    pdf = draw_box(label, BOX_100X150)
    check_box(pdf, label, BOX_100X150)
    assert of_elements(pairs, linear=False).readable()[1] == "(10)A(B)C"


# The rasteriser crashed the process when four threads used it without a lock.
def test_threads_take_turns() -> None:
    pdfs = {label: draw_box(label, BOX_100X150) for label in (BOX, PLAIN)}
    started = threading.Barrier(4)

    def check(number: int) -> int:
        started.wait(PATIENCE_S)
        for _ in range(3):
            for label, pdf in pdfs.items():
                check_box(pdf, label, BOX_100X150)
        return number

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(check, range(4))) == [0, 1, 2, 3]
