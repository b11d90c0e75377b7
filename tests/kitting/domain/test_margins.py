"""Lower bounds of doses: uncertainties combined, decline subtracted, dosimeters."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import doses, exposure, margins
from kitting.domain.doses import Dosed
from kitting.domain.errors import Refused
from kitting.domain.exposure import Reading

shares = st.integers(min_value=0, max_value=999_999)


# JCGM 100:2008 (GUM) 5.1.6: for a product the relative variances add. 3-4-5, 5-12-13
# and 8-15-17 are Pythagorean; the last two by hand, rounded up.
@pytest.mark.parametrize(
    ("meter", "belt", "ppm"),
    [
        (30_000, 40_000, 50_000),
        (50_000, 120_000, 130_000),
        (80_000, 150_000, 170_000),
        (60_000, 0, 60_000),
        (0, 0, 0),
        (10_000, 10_000, 14_143),  # 14,142.13…
        (1, 1, 2),
    ],
)
def test_uncertainties_combine_as_the_root_of_the_sum_of_squares(meter, belt, ppm):
    assert margins.combined_ppm(meter, belt) == ppm
    assert margins.margin_ppm(meter, belt) == ppm


def test_decline_is_subtracted_in_full():
    assert margins.margin_ppm(30_000, 40_000, 20_000) == 70_000
    # It is one-sided: squared with the others it would count for only 3,852.
    assert margins.combined_ppm(30_000, 40_000, 20_000) == 53_852


@given(shares, shares)
def test_the_combination_is_never_below_the_exact_root(meter, belt):
    exact = math.sqrt(meter * meter + belt * belt)
    found = margins.combined_ppm(meter, belt)
    assert found - 1 < exact + 1e-6
    assert found * found >= meter * meter + belt * belt


@given(shares, shares, shares)
def test_the_margin_grows_with_each_of_its_parts_and_ends_at_all(meter, belt, decline):
    found = margins.margin_ppm(meter, belt, decline)
    assert max(meter, belt, decline) <= found <= margins.MILLION


@pytest.mark.parametrize(
    ("parts", "code"),
    [
        ((-1, 0, 0), "uncertainty_out_of_range"),
        ((1_000_000, 0, 0), "uncertainty_out_of_range"),
        ((0, -1, 0), "belt_u_out_of_range"),
        ((0, 1_000_000, 0), "belt_u_out_of_range"),
        ((0, 0, -1), "decline_out_of_range"),
        ((0, 0, 1_000_000), "decline_out_of_range"),
    ],
)
def test_a_share_out_of_range_is_refused(parts, code):
    with pytest.raises(Refused) as caught:
        margins.margin_ppm(*parts)
    assert caught.value.code == code


def test_a_bound_of_which_nothing_is_sure_is_nothing():
    assert margins.margin_ppm(900_000, 0, 900_000) == margins.MILLION
    assert margins.low(10**12, margins.MILLION, 1000) == 0


def run(**changes):
    values = {"exposure_ms": 250_000, "passes": 1, "rel_u_ppm": 30_000, **changes}
    readings = [
        Reading(1, "top", "opening", 4_100),
        Reading(1, "top", "closing", 4_000),
    ]
    return exposure.run_dose(readings, **values)


def test_a_run_leaves_out_meter_belt_and_decline():
    # 4 mW/cm² for 250 s = 1000 mJ/cm²; 3 % and 4 % make 5 %, and 2 % of decline.
    dose = run(belt_u_ppm=40_000, decline_ppm=20_000)["top"]
    assert (dose.measured_uj_cm2, dose.low_uj_cm2) == (1_000_000, 930_000)
    assert (dose.rel_u_ppm, dose.by_dosimeter) == (30_000, False)


def test_the_inverse_questions_answer_for_the_whole_margin():
    margin = margins.margin_ppm(30_000, 40_000, 20_000)
    wanted = {"required_uj_cm2": 1_000_000, "uw_cm2": 4_000, "rel_u_ppm": margin}
    shortest = exposure.shortest_ms(**wanted)
    assert shortest == 268_818  # 250 s / 0.93 = 268.817…
    for ms, met in ((shortest, True), (shortest - 1, False)):
        dose = run(exposure_ms=ms, belt_u_ppm=40_000, decline_ppm=20_000)["top"]
        assert (dose.low_uj_cm2 >= 1_000_000) is met


# -- Dosimeters ---------------------------------------------------------------------


def test_a_dosimeter_stands_instead_of_readings():
    found = doses.with_dosimeters({}, [Dosed(1, "bottom", 900_000, 100_000)])
    assert list(found) == ["bottom"]
    dose = found["bottom"]
    assert (dose.measured_uj_cm2, dose.low_uj_cm2) == (900_000, 810_000)
    assert (dose.point, dose.by_dosimeter, dose.rel_u_ppm) == (1, True, 100_000)


def test_the_lowest_dosimeter_of_a_side_counts():
    many = [
        Dosed(1, "top", 900_000, 100_000),
        Dosed(2, "top", 850_000, 100_000),
        Dosed(3, "bottom", 700_000, 100_000),
    ]
    found = doses.with_dosimeters({}, many[::-1])
    assert [(side, dose.point) for side, dose in found.items()] == [
        ("top", 2),
        ("bottom", 3),
    ]


@pytest.mark.parametrize(
    ("uj_cm2", "rel_u_ppm", "by_dosimeter"),
    [
        # Against readings of 1000 mJ/cm² with 3 %: a bound of 970.
        (1_100_000, 100_000, False),  # 990
        (1_100_000, 150_000, True),  # 935
        (969_999, 0, True),
        (970_000, 0, True),  # the same bound: the lower measured figure is shown
        (970_001, 0, False),
    ],
)
def test_beside_readings_the_weaker_evidence_decides(uj_cm2, rel_u_ppm, by_dosimeter):
    found = doses.with_dosimeters(run(), [Dosed(1, "top", uj_cm2, rel_u_ppm)])
    assert found["top"].by_dosimeter is by_dosimeter
    assert found["top"].low_uj_cm2 <= 970_000


def test_belt_and_decline_count_for_a_dosimeter_too():
    found = doses.with_dosimeters(
        {}, [Dosed(1, "top", 1_000_000, 30_000)], belt_u_ppm=40_000, decline_ppm=20_000
    )
    assert found["top"].low_uj_cm2 == 930_000


@pytest.mark.parametrize("uj_cm2", [-1, doses.MAX_UJ_CM2 + 1])
def test_an_absurd_dosimeter_is_refused(uj_cm2):
    with pytest.raises(Refused) as caught:
        doses.with_dosimeters({}, [Dosed(1, "top", uj_cm2, 0)])
    assert caught.value.code == "dosimeter_dose_out_of_range"


def test_the_largest_dose_is_that_of_the_strongest_point_rounded_up():
    readings = [
        Reading(1, "top", "opening", 4_001),
        Reading(2, "bottom", "closing", 3_000),
    ]
    # 4001 μW/cm² for 333 ms twice = 2664.666 μJ/cm².
    largest = doses.largest_uj_cm2(readings, [], exposure_ms=333, passes=2)
    assert largest == 2_665
    shown = [Dosed(1, "top", 3_000, 0)]
    assert doses.largest_uj_cm2(readings, shown, exposure_ms=333, passes=2) == 3_000
    assert doses.largest_uj_cm2([], [], exposure_ms=333, passes=2) == 0


def test_of_the_largest_dose_the_upper_bound_counts():
    readings = [Reading(1, "top", "opening", 4_000)]
    times = {"exposure_ms": 1_000, "passes": 1}
    # 4000 μJ/cm²; 6 % and 8 % combine to 10 % (JCGM 100:2008, 5.1.6).
    both = doses.largest_uj_cm2(
        readings, [], **times, rel_u_ppm=60_000, belt_u_ppm=80_000
    )
    assert both == 4_400
    # The dosimeter's own uncertainty stands instead of the meter's.
    shown = [Dosed(1, "top", 4_200, 60_000)]
    assert doses.largest_uj_cm2([], shown, **times, belt_u_ppm=80_000) == 4_620


@given(product=st.integers(0, 10**12), share=st.integers(0, 10**6))
def test_the_bounds_lie_on_either_side(product, share):
    assert margins.low(product, share) <= product <= margins.high(product, share)
    exact = Fraction(product * (10**6 + share), 10**6)
    assert 0 <= margins.high(product, share) - exact < 1
