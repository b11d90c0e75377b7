"""UV-C dose against SI identities, published tables and numerical integration."""

from __future__ import annotations

import json
import math
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad

from kitting.domain import exposure
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.exposure import Reading, SideDose

KEITZ = json.loads(
    (
        Path(__file__).parents[2] / "data" / "worked-examples" / "uvc-keitz.json"
    ).read_text(encoding="utf-8")
)["cases"]


def readings(*figures: tuple[int, exposure.Side, int, int]) -> list[Reading]:
    """Make the opening and closing reading of each (point, side, opening, closing)."""
    made: list[Reading] = []
    for point, side, opening, closing in figures:
        made.append(Reading(point, side, "opening", opening))
        made.append(Reading(point, side, "closing", closing))
    return made


def code_of(error: pytest.ExceptionInfo[LotwardError]) -> str:
    return error.value.code


# SI: 1 mW/cm² for 1 s is 1 mJ/cm²; 1 W/m² = 0.1 mW/cm²; 1 J/cm² = 1000 mJ/cm².
# Run times for 1.0 J/cm² (the respirator emergency dose of Applied Biosafety,
# doi 10.1089/apb.20.0051) at 1, 2 and 5 mW/cm², by the same rule.
@pytest.mark.parametrize(
    ("mw_cm2", "seconds", "passes", "mj_cm2"),
    [
        (1, 1, 1, 1),
        (0.1, 100, 1, 10),
        (1, 1000, 1, 1000),
        (2, 500, 1, 1000),
        (5, 200, 1, 1000),
        (5, 100, 2, 1000),
        (0, 1000, 1, 0),
        (4, 0, 1, 0),
    ],
)
def test_a_dose_is_irradiance_times_time(mw_cm2, seconds, passes, mj_cm2):
    assert exposure.dose_mj_cm2(mw_cm2, seconds, passes) == pytest.approx(mj_cm2)


def test_an_aged_lamp_needs_470_6_seconds_for_one_joule():
    # 2.5 mW/cm² at 85 % lamp output; 1000 / 2.125 = 470.6 s.
    dose = exposure.dose_mj_cm2(Decimal("2.125"), Decimal("470.6"))
    assert dose == Decimal("1000.0250")
    assert exposure.shortest_ms(required_uj_cm2=1_000_000, uw_cm2=2125) == 470_589


def test_a_dose_in_fractions_stays_exact():
    third = Fraction(1, 3)
    assert exposure.dose_mj_cm2(third, Fraction(3), 2) == 2


# dose = E zone / speed: 4 mW/cm² over 0.5 m at 5 mm/s is 400 mJ/cm²; 1000 mJ/cm²
# needs 2 mm/s (unit arithmetic).
@pytest.mark.parametrize(("belt_mm_s", "mj_cm2"), [(5, 400), (2, 1000)])
def test_a_belt_gives_irradiance_times_zone_over_speed(belt_mm_s, mj_cm2):
    seconds = exposure.belt_seconds(500, belt_mm_s)
    assert seconds == 500 / belt_mm_s
    assert exposure.dose_mj_cm2(4, seconds) == mj_cm2
    per_pass = exposure.exposure_ms(500_000, belt_mm_s * 1000)
    doses = exposure.run_dose(
        readings((1, "top", 4000, 4000)), exposure_ms=per_pass, passes=1, rel_u_ppm=0
    )
    assert doses["top"].measured_uj_cm2 == mj_cm2 * 1000


def test_the_fastest_belt_for_one_joule_is_two_millimetres_a_second():
    assert (
        exposure.fastest_belt_um_s(
            required_uj_cm2=1_000_000, uw_cm2=4000, zone_um=500_000
        )
        == 2000
    )


def test_a_pass_is_rounded_down_to_whole_milliseconds():
    assert exposure.exposure_ms(500_000, 3000) == 166_666
    assert exposure.exposure_ms(1, 2_000_000) == 0


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: exposure.dose_mj_cm2(-1, 1), "irradiance_negative"),
        (lambda: exposure.dose_mj_cm2(math.nan, 1), "irradiance_not_a_number"),
        (lambda: exposure.dose_mj_cm2(Decimal("NaN"), 1), "irradiance_not_a_number"),
        (lambda: exposure.dose_mj_cm2(10_000_001, 1), "irradiance_too_high"),
        (lambda: exposure.dose_mj_cm2(10**400, 1), "irradiance_too_high"),
        (lambda: exposure.dose_mj_cm2(1, -1), "exposure_not_positive"),
        (lambda: exposure.dose_mj_cm2(1, math.inf), "exposure_not_positive"),
        (lambda: exposure.dose_mj_cm2(1, 1, 0), "passes_not_positive"),
        (lambda: exposure.belt_seconds(500, 0), "belt_not_moving"),
        (lambda: exposure.belt_seconds(0, 5), "zone_not_positive"),
        (lambda: exposure.exposure_ms(500, 0), "belt_not_moving"),
        (lambda: exposure.exposure_ms(-1, 5), "zone_not_positive"),
        (lambda: exposure.longest_stay_s(-1), "irradiance_negative"),
        (lambda: exposure.keitz_mw_cm2(10, 0, 1), "lamp_figure_not_positive"),
        (lambda: exposure.keitz_mw_cm2(math.inf, 1, 1), "lamp_figure_not_positive"),
        (
            lambda: exposure.shortest_ms(required_uj_cm2=0, uw_cm2=1),
            "dose_not_positive",
        ),
        (
            lambda: exposure.shortest_ms(required_uj_cm2=1, uw_cm2=0),
            "irradiance_zero",
        ),
        (
            lambda: exposure.fastest_belt_um_s(
                required_uj_cm2=10**9, uw_cm2=1, zone_um=1
            ),
            "dose_out_of_reach",
        ),
    ],
)
def test_absurd_figures_are_refused(call, code):
    with pytest.raises(Refused) as error:
        call()
    assert code_of(error) == code


@pytest.mark.parametrize(
    ("figures", "codes"),
    [
        ({}, ()),
        ({"uw_cm2": 4000, "zone_um": 1, "belt_um_s": 1, "passes": 1}, ()),
        ({"uw_cm2": 0}, ("irradiance_zero",)),
        ({"uw_cm2": -1}, ("irradiance_negative",)),
        ({"uw_cm2": 10**10}, ()),
        ({"uw_cm2": 10**10 + 1}, ("irradiance_too_high",)),
        (
            {"exposure_ms": 0, "zone_um": 0, "belt_um_s": 0, "passes": 0},
            (
                "exposure_not_positive",
                "zone_not_positive",
                "belt_not_moving",
                "passes_not_positive",
            ),
        ),
        ({"rel_u_ppm": 0}, ()),
        ({"rel_u_ppm": 999_999}, ()),
        ({"rel_u_ppm": 1_000_000}, ("uncertainty_out_of_range",)),
        ({"rel_u_ppm": -1}, ("uncertainty_out_of_range",)),
    ],
)
def test_sanity_names_every_absurd_figure(figures, codes):
    assert exposure.sanity(**figures) == codes


def test_the_weakest_point_and_the_lower_moment_count_for_each_side():
    doses = exposure.run_dose(
        readings(
            (1, "top", 5000, 4800),
            (2, "top", 4100, 4300),
            (3, "top", 4500, 4090),
            (1, "bottom", 3900, 3900),
        ),
        exposure_ms=100_000,
        passes=2,
        rel_u_ppm=80_000,
    )
    # 4090 μW/cm² for twice 100 s = 818,000 μJ/cm²; less 8 % = 752,560.
    assert doses == {
        "top": SideDose("top", 3, "closing", 818_000, 752_560, 80_000),
        "bottom": SideDose("bottom", 1, "opening", 780_000, 717_600, 80_000),
    }
    assert list(doses) == ["top", "bottom"]


def test_of_two_readings_at_one_place_the_lower_counts():
    twice = [*readings((1, "top", 4000, 4000)), Reading(1, "top", "closing", 3000)]
    doses = exposure.run_dose(twice, exposure_ms=1000, passes=1, rel_u_ppm=0)
    assert doses["top"].measured_uj_cm2 == 3000


def test_a_dark_lamp_gives_no_dose_and_fails_the_run():
    doses = exposure.run_dose(
        readings((1, "top", 4000, 0)), exposure_ms=1000, passes=1, rel_u_ppm=0
    )
    assert doses["top"].low_uj_cm2 == 0
    assert not exposure.verdict(doses, {"top": 1}).passed


def test_no_readings_give_no_sides():
    assert exposure.run_dose([], exposure_ms=1, passes=1, rel_u_ppm=0) == {}


@pytest.mark.parametrize(
    ("dropped", "moment"), [("opening", "opening"), ("closing", "closing")]
)
def test_a_point_read_only_once_is_refused(dropped, moment):
    kept = [
        reading
        for reading in readings((1, "top", 5000, 5000), (2, "top", 4000, 4000))
        if (reading.point, reading.moment) != (2, dropped)
    ]
    with pytest.raises(Refused) as error:
        exposure.run_dose(kept, exposure_ms=1000, passes=1, rel_u_ppm=0)
    assert code_of(error) == "reading_missing"
    assert error.value.params == {"side": "top", "point": 2, "moment": moment}


@pytest.mark.parametrize(
    ("figures", "code"),
    [
        ({"exposure_ms": 0}, "exposure_not_positive"),
        ({"passes": 0}, "passes_not_positive"),
        ({"rel_u_ppm": 1_000_000}, "uncertainty_out_of_range"),
    ],
)
def test_a_run_with_an_absurd_figure_is_refused(figures, code):
    given_figures = {"exposure_ms": 1000, "passes": 1, "rel_u_ppm": 0, **figures}
    with pytest.raises(Refused) as error:
        exposure.run_dose(readings((1, "top", 1, 1)), **given_figures)
    assert code_of(error) == code


def test_a_run_with_a_negative_reading_is_refused():
    with pytest.raises(Refused) as error:
        exposure.run_dose(
            readings((1, "top", -1, 1)), exposure_ms=1, passes=1, rel_u_ppm=0
        )
    assert code_of(error) == "irradiance_negative"


def both_sides(top: int, bottom: int, rel_u_ppm: int = 0):
    return exposure.run_dose(
        readings((1, "top", top, top), (1, "bottom", bottom, bottom)),
        exposure_ms=1000,
        passes=1,
        rel_u_ppm=rel_u_ppm,
    )


def test_a_run_passes_when_the_lower_bound_just_meets_every_side():
    # 1000 μW/cm² for 1 s less 10 % is 900 μJ/cm² to the last digit.
    seen = exposure.verdict(
        both_sides(1000, 2000, 100_000), {"bottom": 1800, "top": 900}
    )
    assert seen.passed
    assert [(side.dose.side, side.met) for side in seen.sides] == [
        ("top", True),
        ("bottom", True),
    ]


def test_a_run_fails_when_only_the_measured_dose_meets_it():
    seen = exposure.verdict(both_sides(1000, 2000, 100_000), {"top": 901})
    assert not seen.passed
    assert seen.sides[0].dose.measured_uj_cm2 == 1000
    assert seen.sides[0].dose.low_uj_cm2 == 900


def test_one_weak_side_fails_the_run_as_a_whole():
    seen = exposure.verdict(both_sides(1000, 999), {"top": 1000, "bottom": 1000})
    assert not seen.passed
    assert [side.met for side in seen.sides] == [True, False]


@pytest.mark.parametrize(
    ("required", "code"),
    [
        ({}, "no_dose_required"),
        ({"top": 0}, "dose_not_positive"),
        ({"top": 1, "bottom": 1}, "side_not_read"),
    ],
)
def test_a_verdict_needs_a_requirement_and_its_readings(required, code):
    doses = exposure.run_dose(
        readings((1, "top", 1000, 1000)), exposure_ms=1000, passes=1, rel_u_ppm=0
    )
    with pytest.raises(Refused) as error:
        exposure.verdict(doses, required)
    assert code_of(error) == code


@given(
    uw=st.integers(1, 10**7),
    ms=st.integers(1, 10**8),
    passes=st.integers(1, 20),
    rel=st.integers(0, 999_999),
)
def test_figures_are_rounded_down_once_from_the_exact_product(uw, ms, passes, rel):
    side = exposure.run_dose(
        readings((1, "top", uw, uw)), exposure_ms=ms, passes=passes, rel_u_ppm=rel
    )["top"]
    exact = Fraction(uw) * Fraction(ms, 1000) * passes
    low = exact * (1 - Fraction(rel, 1_000_000))
    assert side.measured_uj_cm2 <= exact < side.measured_uj_cm2 + 1
    assert side.low_uj_cm2 <= low < side.low_uj_cm2 + 1


def meets(*, required: int, uw: int, ms: int, passes: int, rel: int) -> bool:
    if ms == 0:
        return False
    doses = exposure.run_dose(
        readings((1, "top", uw, uw)), exposure_ms=ms, passes=passes, rel_u_ppm=rel
    )
    return exposure.verdict(doses, {"top": required}).passed


@given(
    required=st.integers(1, 10**8),
    uw=st.integers(1, 10**6),
    passes=st.integers(1, 10),
    rel=st.integers(0, 500_000),
)
def test_the_shortest_pass_meets_the_dose_and_one_step_less_fails(
    required, uw, passes, rel
):
    ms = exposure.shortest_ms(
        required_uj_cm2=required, uw_cm2=uw, passes=passes, rel_u_ppm=rel
    )
    assert meets(required=required, uw=uw, ms=ms, passes=passes, rel=rel)
    assert not meets(required=required, uw=uw, ms=ms - 1, passes=passes, rel=rel)


@given(
    required=st.integers(1, 10**7),
    uw=st.integers(1, 10**6),
    zone=st.integers(1000, 5_000_000),
    passes=st.integers(1, 10),
    rel=st.integers(0, 500_000),
)
def test_the_fastest_belt_meets_the_dose_and_one_step_more_fails(
    required, uw, zone, passes, rel
):
    slowest = exposure.exposure_ms(zone, 1)
    reachable = meets(required=required, uw=uw, ms=slowest, passes=passes, rel=rel)
    figures = {"required_uj_cm2": required, "uw_cm2": uw, "zone_um": zone}
    figures |= {"passes": passes, "rel_u_ppm": rel}
    if not reachable:
        with pytest.raises(Refused) as error:
            exposure.fastest_belt_um_s(**figures)
        assert code_of(error) == "dose_out_of_reach"
        return
    belt = exposure.fastest_belt_um_s(**figures)
    for speed, enough in ((belt, True), (belt + 1, False)):
        ms = exposure.exposure_ms(zone, speed)
        assert meets(required=required, uw=uw, ms=ms, passes=passes, rel=rel) is enough


# Exposure times at 254 nm: ICNIRP 2004 and NIOSH 73-11009, 6 mJ/cm² in 8 h. The first
# three rows as printed in a copy of the NIOSH table, the others from its rule.
STAYS = [
    (24 * 3600, "0.07"),
    (18 * 3600, "0.09"),
    (12 * 3600, "0.14"),
    (10 * 3600, "0.17"),
    (8 * 3600, "0.2"),
    (4 * 3600, "0.4"),
    (2 * 3600, "0.8"),
    (3600, "1.7"),
    (1800, "3.3"),
    (900, "6.7"),
    (600, "10"),
    (300, "20"),
    (60, "100"),
    (30, "200"),
    (10, "600"),
    (1, "6000"),
]


@pytest.mark.parametrize(("seconds", "uw_cm2"), STAYS)
def test_the_longest_stay_agrees_with_the_published_table(seconds, uw_cm2):
    printed = Decimal(uw_cm2)
    half = Decimal(1).scaleb(int(printed.as_tuple().exponent)) / 2
    # The table prints irradiances rounded: the time lies between the two ends.
    assert exposure.longest_stay_s(printed + half) <= seconds
    assert seconds <= exposure.longest_stay_s(printed - half)


@pytest.mark.parametrize(
    ("uw_cm2", "seconds"),
    [
        (0.2, 30_000),
        (100, 60),
        (6000, 1),
        (6001, 0),
        (7, 857),
        (Fraction(1, 3), 18_000),
        (0, 86_400),
        (0.01, 86_400),
    ],
)
def test_the_longest_stay_is_rounded_down_and_ends_at_a_day(uw_cm2, seconds):
    assert exposure.longest_stay_s(uw_cm2) == seconds


@given(uw=st.decimals(min_value="0.001", max_value=10**7, places=3))
def test_nobody_who_obeys_the_longest_stay_exceeds_the_limit(uw):
    seconds = exposure.longest_stay_s(uw)
    assert Fraction(uw) * seconds <= 6000
    assume(seconds < exposure.LONGEST_STAY_S)
    assert Fraction(uw) * (seconds + 1) > 6000


@pytest.mark.parametrize("case", KEITZ)
def test_the_lamp_formula_agrees_with_worked_cases(case):
    found = exposure.keitz_mw_cm2(
        case["power_W"], case["arc_length_m"], case["distance_m"]
    )
    # The cases are printed to a millionth of a W/m².
    assert found == pytest.approx(case["irradiance_mW_cm2"], rel=0, abs=5.01e-8)


@given(
    power=st.floats(0.1, 1000),
    length=st.floats(0.05, 3),
    distance=st.floats(0.02, 10),
)
def test_the_lamp_formula_is_the_integral_of_a_diffuse_line(power, length, distance):
    # A diffuse line source of radiant power P/L per metre radiates P/(π² L) across;
    # both the lamp's and the receiver's cosine are D/r.
    def element(x: float) -> float:
        return distance**2 / (distance**2 + x**2) ** 2

    integral, _ = quad(element, -length / 2, length / 2, epsabs=0, epsrel=1e-10)
    w_m2 = power / (math.pi**2 * length) * integral
    found = exposure.keitz_mw_cm2(power, length, distance)
    assert found == pytest.approx(w_m2 / 10, rel=1e-8)


def test_the_inverse_square_law_overstates_by_four_per_cent_at_two_lamp_lengths():
    # The "five times rule": 0.961 at two lengths, 0.993 at five.
    for distance, share in ((2, 0.961), (5, 0.993)):
        far = 1 / (math.pi**2 * distance**2) / 10
        assert exposure.keitz_mw_cm2(1, 1, distance) / far == pytest.approx(
            share, abs=5e-4
        )
