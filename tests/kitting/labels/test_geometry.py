"""Sizes of symbols against the published limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial

import pytest

from kitting.domain.errors import CodeError, NotFit
from kitting.labels.carried import of_elements
from kitting.labels.code128 import Bars, code128, gs1_128
from kitting.labels.datamatrix import Matrix, gs1_matrix, plain_matrix
from kitting.labels.geometry import (
    LOGISTIC,
    MATRIX,
    NUMBER,
    SMALL_MATRIX,
    LinearFit,
    Module,
    fit_linear,
    fit_matrix,
    refuse_long,
)
from kitting.labels.stock import Stock
from tests.kitting.labels.samples import BAG_70X40, BOX_100X150, HEAD_300

SSCC = gs1_128("00106141412345678908")
WIDE_DATA = of_elements(
    [("01", "09521234512349"), ("17", "261130"), ("10", "ABC123")], linear=True
)
WIDE = gs1_128("01095212345123491726113010ABC123")


def sized(bars: Bars, *, module: Module, room: int, stock: Stock) -> LinearFit:
    """Fit bars whose content would be a small matrix."""
    instead = partial(plain_matrix, "123456")
    return fit_linear(bars, module=module, room=room, stock=stock, instead=instead)


def test_the_head_sold_as_203_has_203_2_dots_to_the_inch() -> None:
    assert BOX_100X150.dots_per_inch == Fraction("203.2")
    assert BOX_100X150.at(HEAD_300).dots_per_inch == 300
    assert (BOX_100X150.width_dots, BOX_100X150.height_dots) == (800, 1200)


# GS1 General Specifications 5.4.4: an SSCC with quiet zones is 176 modules; 4 dots at
# 8 dots/mm are the smallest legal width of 0.495 mm or more; height 31.75 mm.
def test_an_sscc_takes_four_dots_and_88_mm() -> None:
    size = sized(SSCC, module=LOGISTIC, room=800, stock=BOX_100X150)
    assert (size.x, size.quiet, size.whole, size.high) == (4, 40, 704, 254)
    assert BOX_100X150.mm(size.whole) == 88


# At 300 dpi one dot is 0.0847 mm: 6 dots are 0.508 mm.
def test_an_sscc_takes_six_dots_at_300_dpi() -> None:
    stock = BOX_100X150.at(HEAD_300)
    size = sized(SSCC, module=LOGISTIC, room=stock.width_dots, stock=stock)
    assert (size.x, size.quiet) == (6, 60)
    assert stock.mm(size.high) >= 31.75


# 286 modules with quiet zones (11 to a character, 13 for the stop, 20 of white): at
# 0.495 mm 141.57 mm, so at 4 dots of 0.125 mm 143 mm. GS1 General Specifications 5.4.4.
@pytest.mark.parametrize(
    ("width", "height", "code", "more"),
    [
        (100, 150, "bars_fit_turned", {"other_mm": 150}),
        (100, 142, "bars_too_wide", {}),
        (142, 143, "bars_fit_turned", {"other_mm": 143}),
    ],
)
def test_what_is_too_wide_is_refused_with_the_figures_and_what_would_fit(
    width: int, height: int, code: str, more: dict[str, float]
) -> None:
    stock = Stock(Fraction(width), Fraction(height), Fraction(8))
    instead = replace(WIDE_DATA, linear=False).matrix
    with pytest.raises(NotFit) as caught:
        fit_linear(WIDE, module=LOGISTIC, room=width * 8, stock=stock, instead=instead)
    assert caught.value.code == code
    # 20 cells and one of white on each side, 0.5 mm a cell: ISO/IEC 16022, table 7:
    # a symbol of 20 cells holds 22 codewords.
    assert caught.value.params == more | {
        "needed_mm": 143.0,
        "room_mm": float(width),
        "dots": 4,
        "least_mm": 143.0,
        "matrix_mm": 11.0,
    }


def test_what_would_fit_fits() -> None:
    instead = replace(WIDE_DATA, linear=False).matrix
    with pytest.raises(NotFit) as caught:
        fit_linear(WIDE, module=LOGISTIC, room=780, stock=BOX_100X150, instead=instead)
    least = Fraction(caught.value.params["least_mm"])  # type: ignore[arg-type]
    assert least == Fraction("145.5")  # 20 dots are kept for something else
    wider = replace(BOX_100X150, width_mm=least)
    room = wider.width_dots - 20
    assert sized(WIDE, module=LOGISTIC, room=room, stock=wider).x == 4
    with pytest.raises(NotFit):
        sized(WIDE, module=LOGISTIC, room=room - 1, stock=wider)
    side = wider.dots(caught.value.params["matrix_mm"])  # type: ignore[arg-type]
    fit_matrix(instead(), module=SMALL_MATRIX, room=side, stock=wider)


def test_a_number_takes_three_dots_where_they_fit_and_two_where_not() -> None:
    roomy = sized(code128("B1-01"), module=NUMBER, room=560, stock=BAG_70X40)
    tight = sized(code128("B1-0004821-7"), module=NUMBER, room=560, stock=BAG_70X40)
    assert (roomy.x, roomy.quiet) == (3, 30)
    assert tight.x in {2, 3}
    assert tight.whole <= 560
    packed = sized(code128("B1-0004821-7ABC"), module=NUMBER, room=560, stock=BAG_70X40)
    assert packed.x == 2


def test_one_dot_is_never_enough() -> None:
    dust = Module(Fraction("0.1"), Fraction("0.1"))
    size = sized(SSCC, module=dust, room=800, stock=BOX_100X150)
    assert size.x == 2
    with pytest.raises(NotFit):
        sized(SSCC, module=dust, room=351, stock=BOX_100X150)


# An SSCC at 0.940 mm would be 165.44 mm with its quiet zones: over 165.10 mm.
def test_gs1_128_is_never_longer_than_165_10_mm() -> None:
    module = Module(Fraction("0.940"), Fraction("0.940"))
    paper = BOX_100X150.at(Fraction(1000))
    with pytest.raises(NotFit) as caught:
        sized(SSCC, module=module, room=200_000, stock=paper)
    assert caught.value.code == "bars_too_long"
    assert caught.value.params["needed_mm"] == 165.44
    assert caught.value.params["most_mm"] == 165.10
    free = sized(code128("A" * 12), module=module, room=200_000, stock=paper)
    assert free.x == 940


# GS1 General Specifications 5.4.4.3: 48 characters, separators counted.
def test_48_characters_are_the_most() -> None:
    instead = partial(plain_matrix, "9" * 49)
    refuse_long("9" * 48, instead=instead)
    with pytest.raises(NotFit) as caught:
        refuse_long("9" * 49, instead=instead)
    assert caught.value.code == "too_many_characters"
    assert (caught.value.params["characters"], caught.value.params["most"]) == (49, 48)


# ISO/IEC 16022: the symbol for six or fewer digits is 10 cells on a side.
def test_a_matrix_has_one_cell_of_white_on_each_side() -> None:
    cells = plain_matrix("123456")
    size = fit_matrix(cells, module=MATRIX, room=400, stock=BOX_100X150)
    assert (cells.cells, size.x, size.side, size.quiet, size.whole) == (
        10,
        6,
        60,
        6,
        72,
    )


# ISO/IEC 16022: solid left and lower edge, alternating upper and right edge.
def test_a_matrix_has_its_finder() -> None:
    rows = plain_matrix("123456").rows
    assert all(row[0] for row in rows)
    assert all(rows[-1])
    assert list(rows[0]) == [True, False] * 5
    assert [row[-1] for row in rows] == [False, True] * 5


def test_a_matrix_shrinks_to_its_room_and_no_further() -> None:
    cells = plain_matrix("123456")
    assert fit_matrix(cells, module=SMALL_MATRIX, room=48, stock=BOX_100X150).x == 4
    assert fit_matrix(cells, module=SMALL_MATRIX, room=47, stock=BOX_100X150).x == 3
    with pytest.raises(NotFit) as caught:
        fit_matrix(cells, module=SMALL_MATRIX, room=35, stock=BOX_100X150)
    assert caught.value.code == "matrix_too_wide"
    # 12 cells of 3 dots, 4.5 mm, in 4.375 mm of 100 × 150 mm.
    assert caught.value.params == {
        "needed_mm": 4.5,
        "dots": 3,
        "room_mm": 4.37,
        "least_width_mm": 100.13,
        "least_height_mm": 150.13,
    }


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: plain_matrix(""), "nothing_to_encode"),
        (lambda: gs1_matrix([]), "nothing_to_encode"),
        (lambda: plain_matrix("Größe"), "not_encodable"),
        (lambda: gs1_matrix([("01", "123")]), "not_encodable"),
    ],
)
def test_what_a_matrix_cannot_carry_is_refused(
    make: Callable[[], Matrix], code: str
) -> None:
    with pytest.raises(CodeError) as caught:
        make()
    assert caught.value.code == code
