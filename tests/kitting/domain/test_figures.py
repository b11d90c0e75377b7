"""Figures as people enter them; the units are SI, checked against the decimal module."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.errors import CodeError
from kitting.domain.figures import UW_CM2_IN, IrradianceUnit, doubtful, scaled, written


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
