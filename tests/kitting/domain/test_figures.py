"""Figures as people enter them; the units are SI, checked against the decimal module."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.errors import CodeError
from kitting.domain.figures import (
    UW_CM2_IN,
    IrradianceUnit,
    doubtful,
    scaled,
    significant,
    told,
    written,
)

DOSES = st.integers(1, 10**10).map(lambda ujoules: Decimal(ujoules).scaleb(-3))
SHARES = st.integers(1, 10**6).map(lambda ppm: Decimal(ppm).scaleb(-6))


def place_of(figure: Decimal) -> Decimal:
    """What 1 at the last digit of a figure is worth."""
    return Decimal(1).scaleb(int(figure.as_tuple().exponent))


@given(DOSES, SHARES)
def test_a_figure_ends_where_the_second_digit_of_its_uncertainty_does(
    value: Decimal, share: Decimal
) -> None:
    """GUM 7.2.6, see told(): rounded up, the uncertainty is 10 to 99 of that place."""
    uncertainty = value * share
    figure = told(value, uncertainty)
    one = place_of(figure)
    assert 0 <= value - figure < one
    at_its_end = one == place_of(value)  # what was never measured is not made up
    assert at_its_end or 10 <= math.ceil(Fraction(uncertainty) / Fraction(one)) <= 99
    if at_its_end:
        assert Fraction(uncertainty) / Fraction(one) <= 99


@given(DOSES)
def test_a_figure_of_which_nothing_is_known_has_three_digits(value: Decimal) -> None:
    figure = told(value)
    one = place_of(figure)
    assert 0 <= value - figure < one
    assert figure / one < 1000
    assert figure / one >= 100 or one == place_of(value)
    assert told(value, Decimal(0)) == figure


@given(DOSES, DOSES, st.one_of(st.none(), SHARES), st.integers(-5, 5))
def test_a_figure_is_never_told_on_the_other_side_of_its_limit(
    value: Decimal, other: Decimal, share: Decimal | None, beside: int
) -> None:
    uncertainty = None if share is None else value * share
    near = max(value + Decimal(beside).scaleb(-3), Decimal(0))
    for limit in (other, near, near.normalize(), told(value, uncertainty)):
        figure = told(value, uncertainty, limit)
        assert figure <= value
        assert (figure >= limit) is (value >= limit)


@pytest.mark.parametrize(
    ("value", "uncertainty", "limit", "shown"),
    [
        # By hand: 7.58 % of 1259.029 is 95.4, and 96 has no tenths.
        ("1259.029", "95.434", None, "1259"),
        ("1259.029", "0.996", None, "1259.0"),
        ("1259.029", "9.96", None, "1259"),
        ("12590.29", "954.3", None, "12590"),
        ("12599.29", "954.3", "12600", "12590"),
        ("999.999", "50", "1000", "999"),
        ("1000.400", "50", "1000.25", "1000.40"),
        ("0.004", "0.003", None, "0.004"),
        ("0", None, "1", "0"),
        ("1259029", None, None, "1250000"),
    ],
)
def test_figures_worked_by_hand(value, uncertainty, limit, shown) -> None:
    given = [None if one is None else Decimal(one) for one in (uncertainty, limit)]
    assert f"{told(Decimal(value), *given):f}" == shown


@given(DOSES, st.integers(1, 6))
def test_significant_digits_are_those_of_the_decimal_module(value, digits) -> None:
    for up, way in ((False, ROUND_FLOOR), (True, ROUND_CEILING)):
        theirs = Context(prec=digits, rounding=way).plus(value)
        assert significant(value, digits, up=up) == theirs


@given(whole=st.integers(0, 10**9), rest=st.integers(0, 999), comma=st.booleans())
def test_a_figure_is_scaled_as_exact_fractions_are(whole, rest, comma) -> None:
    text = f"{whole}{',' if comma else '.'}{rest:03d}"
    exact = whole + Fraction(rest, 1000)
    assert scaled(text, 1000) == exact * 1000
    assert scaled(text, 100) == exact * 100 // 1
    assert scaled(text, 100, up=True) == -(-exact * 100 // 1)


@given(st.integers(0, 10**15 - 1))
def test_what_is_written_reads_back(value: int) -> None:
    assert scaled(written(value, 1000), 1000) == value


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "figure_missing"),
        (" \t", "figure_missing"),
        ("-1", "figure_negative"),
        ("\u2212,5".replace(",", "0."), "figure_negative"),
        *((odd, "figure_unreadable") for odd in ("4²", "٤", "1e3", "1,2,3", ".", "+4")),
        ("1 000", "figure_unreadable"),
        ("9" * 13, "figure_unreadable"),
    ],
)
def test_what_is_no_figure_is_refused(text: str, code: str) -> None:
    with pytest.raises(CodeError) as caught:
        scaled(text, 1000)
    assert caught.value.code == code


def test_the_units_of_irradiance_are_si() -> None:
    # 1 W/m² = 10⁶ µW / 10⁴ cm² = 100 µW/cm²; 1 mW/cm² = 1000 µW/cm².
    assert UW_CM2_IN == {
        IrradianceUnit.W_M2: 10**6 // 10**4,
        IrradianceUnit.MW_CM2: 1000,
        IrradianceUnit.UW_CM2: 1,
    }


@pytest.mark.parametrize("uw_cm2", [500, 4_000, 30_000])
def test_every_swap_of_two_units_is_doubted(uw_cm2: int) -> None:
    for shown in UW_CM2_IN.values():
        for chosen in UW_CM2_IN.values():
            read = uw_cm2 * chosen // shown
            assert doubtful(read, uw_cm2) == (shown != chosen)


def test_lamps_that_fade_are_not_doubted() -> None:
    # A combined fouling and ageing factor of 0.4 is the lowest of the design range in
    # EPA 815-R-06-007 (from memory).
    assert not doubtful(1_600, 4_000)
    assert [doubtful(uw, None) for uw in (99, 100, 100_000, 100_001)] == [
        *(True, False, False, True)
    ]
