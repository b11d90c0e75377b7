"""Windows and counts by weight against scipy, simulation and a worked table row."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kitting.domain import weighing
from kitting.domain.errors import CodeError, Refused
from kitting.domain.weighing import (
    Mass,
    count_by_weight,
    largest_trusted,
    reading_u,
    singles,
    window,
)

PIECES = {"headband": 24, "visor": 24, "elastic": 24, "manual": 1}
MASSES = {
    "headband": Mass(Decimal("14.20"), Decimal("0.15")),
    "visor": Mass(Decimal("31.50"), Decimal("0.30"), Decimal("0.02")),
    "elastic": Mass(Decimal("1.10"), Decimal("0.05")),
    "manual": Mass(Decimal("5.00"), Decimal("0.04")),
}
TARE = Mass(Decimal(310), Decimal("1.50"))
SCALE_G = Decimal("0.5")


def box() -> weighing.Window:
    return window(PIECES, MASSES, TARE, SCALE_G)


def test_what_is_stored_in_mg_is_read_in_grams():
    assert weighing.grams(12_345) == Decimal("12.345")


def test_the_expected_mass_is_that_of_all_pieces_and_the_carton():
    # 24 x (14.20 + 31.50 + 1.10) + 5.00 + 310.
    assert box().expected_g == Decimal("1438.2")


def test_variances_add_and_a_common_error_of_the_mean_adds_to_its_root():
    parts = 24 * 0.15**2 + 24 * 0.30**2 + 24 * 0.05**2 + 0.04**2
    of_mean = (24 * 0.02) ** 2
    by_hand = math.sqrt(parts + of_mean + 1.50**2 + 0.5**2)
    assert box().sd_g == pytest.approx(by_hand, rel=1e-12)
    assert float(box().low_g) == pytest.approx(1438.2 - 3 * by_hand, abs=0.001)
    assert float(box().high_g) == pytest.approx(1438.2 + 3 * by_hand, abs=0.001)


# check weighing: sqrt(n s² + u²), 12 pieces of spread 0.5 g on a scale of 1 g is 2 g.
def test_a_window_without_rounding_is_exact():
    found = window({"part": 12}, {"part": (10, 0.5)}, 0, 1)
    assert found.sd_g == 2
    assert [found.low_g, found.high_g] == [Decimal(114), Decimal(126)]


def test_edges_are_rounded_outwards_to_the_mg():
    found = window({"part": 1}, {"part": (10, 0.0001)}, 0, 0)
    assert (found.low_g, found.high_g) == (Decimal("9.999"), Decimal("10.001"))
    third = window({"part": 1}, {"part": (Fraction(10, 3), 0)}, 0, 0)
    assert (third.low_g, third.high_g) == (Decimal("3.333"), Decimal("3.334"))
    assert third.expected_g == Decimal("3.333")


def test_no_edge_lies_below_an_empty_scale():
    assert window({"part": 1}, {"part": (1, 0)}, 0, 5).low_g == 0


# One piece less: its mass and its own variance are gone.
@pytest.mark.parametrize("part", PIECES)
def test_the_chance_that_a_missing_piece_is_noticed_agrees_with_scipy(part):
    found = box()
    less = PIECES[part] - 1
    short = window({**PIECES, part: less}, MASSES, TARE, SCALE_G)
    mass = stats.norm(float(short.expected_g), short.sd_g)
    outside = mass.cdf(float(found.low_g)) + mass.sf(float(found.high_g))
    assert found.noticed[part] == pytest.approx(outside, abs=1e-12)


def test_a_part_lighter_than_the_window_is_wide_is_hardly_noticed():
    noticed = box().noticed
    assert noticed["visor"] > 0.999
    assert noticed["headband"] > 0.98
    assert noticed["elastic"] < 0.05


# 200,000 boxes weighed with a seeded generator; four standard errors of a share.
@pytest.mark.parametrize("part", PIECES)
def test_a_simulation_notices_as_often(part):
    boxes, rng = 200_000, np.random.default_rng(20261125)
    found = box()
    read = rng.normal(float(TARE.mean_g), float(TARE.sd_g), boxes)
    read += rng.normal(0, float(SCALE_G), boxes)
    for name, many in PIECES.items():
        mean, sd, u_mean = (float(figure) for figure in MASSES[name])
        many = many - 1 if name == part else many
        read += many * (mean + rng.normal(0, 1, boxes) * u_mean)
        read += rng.normal(0, sd * math.sqrt(many), boxes)
    outside = (read < float(found.low_g)) | (read > float(found.high_g))
    chance = found.noticed[part]
    error = math.sqrt(max(chance * (1 - chance), 1 / boxes) / boxes)
    assert abs(outside.mean() - chance) < 4 * error


# 10,000 boxes, each piece of its own mass, weighed one by one: how many short ones are
# noticed is binomial. Of a right chance a count outside these bounds comes once in a
# million times (scipy.stats.binom).
@pytest.mark.parametrize("part", PIECES)
def test_ten_thousand_boxes_are_noticed_within_the_binomial_bound(part):
    boxes, rng = 10_000, np.random.default_rng(42)
    found = box()
    read = rng.normal(float(TARE.mean_g), float(TARE.sd_g), boxes)
    read += rng.normal(0, float(SCALE_G), boxes)
    for name, many in PIECES.items():
        mean, sd, u_mean = (float(figure) for figure in MASSES[name])
        mean = mean + rng.normal(0, 1, (boxes, 1)) * u_mean
        short = many - 1 if name == part else many
        read += (mean + rng.normal(0, sd, (boxes, short))).sum(axis=1)
    noticed = int(((read < float(found.low_g)) | (read > float(found.high_g))).sum())
    low, high = stats.binom.interval(1 - 1e-6, boxes, found.noticed[part])
    assert low <= noticed <= high


# -- One piece too few or too many ------------------------------------------------------


def fitting(read: float) -> list[tuple[str, bool]]:
    found = singles(read, PIECES, MASSES, TARE, SCALE_G)
    return [(single.part, single.missing) for single in found]


# By hand: 1438.2 g complete; a visor is 31.5 g, a headband 14.2 g, one spread 2.3 g.
@pytest.mark.parametrize(
    ("read", "fits"),
    [
        (1438.2 - 31.5, [("visor", True)]),
        (1438.2 + 31.5, [("visor", False)]),
        (1438.2 - 14.2, [("headband", True)]),
        (1438.2 - 80, []),
        (1438.2 - 22.9, []),
        (0, []),
    ],
)
def test_the_single_piece_that_fits_is_named(read, fits):
    assert fitting(read) == fits


def test_parts_of_like_mass_are_named_together_the_best_first():
    masses = {"band": (36, 0.7), "visor": (37, 0.5)}
    found = singles(438 - 36.2, {"band": 6, "visor": 6}, masses, 0, 0.5)
    assert [single.part for single in found] == ["band", "visor"]
    assert all(single.missing for single in found)
    assert found[0].off < found[1].off


def test_without_any_uncertainty_only_the_very_mass_fits():
    of = {"pieces": {"a": 3, "b": 2}, "masses": {"a": (10, 0), "b": (7, 0)}}
    assert [one.part for one in singles(34, **of, tare=0, scale=0)] == ["a"]
    assert [one.part for one in singles(51, **of, tare=0, scale=0)] == ["b"]
    assert singles(43, **of, tare=0, scale=0) == ()


def test_a_reading_below_an_empty_scale_is_refused():
    with pytest.raises(Refused) as error:
        singles(-1, PIECES, MASSES, TARE, SCALE_G)
    assert error.value.code == "mass_out_of_range"


@st.composite
def weighed_boxes(draw):
    parts = draw(st.lists(st.sampled_from("abcdef"), min_size=1, unique=True))
    pieces = {part: draw(st.integers(1, 60)) for part in parts}
    figures = st.decimals("0.5", "60", places=1), st.decimals("0", "1", places=2)
    masses = {part: (draw(figures[0]), draw(figures[1])) for part in parts}
    whole = sum(pieces[part] * masses[part][0] for part in parts)
    read = draw(st.decimals("0", str(whole + 70), places=1))
    return read, pieces, masses, draw(st.decimals("0.1", "2", places=1))


# Brute force: the window of every box with one piece fewer or more, by `window` itself.
@given(weighed_boxes())
def test_singles_are_those_whose_own_box_would_weigh_that(weighed):
    read, pieces, masses, scale = weighed
    near = {}
    for part in pieces:
        for more in (-1, 1):
            other = {**pieces, part: pieces[part] + more}
            if sum(other.values()) == 0:
                mean, sd = 0.0, float(scale)
            else:
                wanted = window(other, masses, 0, scale)
                mean, sd = float(wanted.expected_g), wanted.sd_g
            near[part, more < 0] = abs(float(read) - mean) / sd
    found = singles(read, pieces, masses, 0, scale)
    for single in found:
        assert single.off == pytest.approx(near[single.part, single.missing], abs=1e-6)
    offs = [single.off for single in found]
    assert offs == sorted(offs)
    named = {(single.part, single.missing) for single in found}
    for which, off in near.items():
        if abs(off - 3) > 1e-6:
            assert (which in named) == (off < 3)


# GUM F.2.2.1: a resolution of d is d/sqrt(12) = 0.29 d.
def test_the_step_of_a_scale_adds_to_its_uncertainty():
    assert reading_u(1, 0) == Decimal("0.289")
    assert float(reading_u(2, 1)) == pytest.approx(math.sqrt(4 / 12 + 1), abs=0.001)
    assert reading_u(0, 0) == 0
    with pytest.raises(Refused):
        reading_u(-1, 0)


# By the normal distribution 0.27 % of complete boxes are outside 3 standard deviations.
def test_complete_boxes_pass_as_often_as_the_normal_distribution_says():
    rng = np.random.default_rng(3)
    found = box()
    read = rng.normal(float(found.expected_g), found.sd_g, 200_000)
    inside = (read >= float(found.low_g)) & (read <= float(found.high_g))
    assert inside.mean() == pytest.approx(0.9973, abs=0.0005)


def test_without_any_uncertainty_a_missing_piece_is_always_noticed():
    found = window({"part": 2}, {"part": (10, 0)}, 100, 0)
    assert [found.low_g, found.high_g] == [Decimal(120)] * 2
    assert found.noticed == {"part": 1.0}
    # Lighter than the mg to which the window is rounded: never.
    light = window({"part": 1}, {"part": (Fraction(1, 3000), 0)}, 0, 0)
    assert light.noticed == {"part": 0.0}


def test_parts_with_no_piece_in_the_box_are_passed_over():
    found = window({"part": 2, "other": 0}, {"part": (10, 1)}, 0, 1)
    assert set(found.noticed) == {"part"}


def test_a_wider_window_notices_less():
    narrow = window(PIECES, MASSES, TARE, SCALE_G, k=2)
    wide = window(PIECES, MASSES, TARE, SCALE_G, k=4)
    assert narrow.low_g > box().low_g > wide.low_g
    for part in PIECES:
        assert narrow.noticed[part] >= box().noticed[part] >= wide.noticed[part]


@pytest.mark.parametrize(
    ("pieces", "masses", "tare", "scale", "k", "code"),
    [
        ({}, {}, 0, 1, 3, "box_empty"),
        ({"a": 0}, {"a": (1, 0)}, 0, 1, 3, "box_empty"),
        ({"a": -1}, {"a": (1, 0)}, 0, 1, 3, "pieces_negative"),
        ({"a": 1}, {}, 0, 1, 3, "mass_missing"),
        ({"a": 1}, {"a": (0, 0)}, 0, 1, 3, "mass_out_of_range"),
        ({"a": 1}, {"a": (-1, 0)}, 0, 1, 3, "mass_out_of_range"),
        ({"a": 1}, {"a": (1_000_001, 0)}, 0, 1, 3, "mass_out_of_range"),
        ({"a": 1}, {"a": (1, 0)}, -1, 1, 3, "mass_out_of_range"),
        ({"a": 1}, {"a": (1, -0.1)}, 0, 1, 3, "spread_out_of_range"),
        ({"a": 1}, {"a": (1, 0, -0.1)}, 0, 1, 3, "spread_out_of_range"),
        ({"a": 1}, {"a": (1, 0)}, 0, -1, 3, "scale_out_of_range"),
        ({"a": 1}, {"a": (1, 0)}, 0, 1, 0, "coverage_out_of_range"),
        ({"a": 1}, {"a": (1, 0)}, 0, 1, 11, "coverage_out_of_range"),
    ],
)
def test_a_window_of_absurd_figures_is_refused(pieces, masses, tare, scale, k, code):
    with pytest.raises(Refused) as error:
        window(pieces, masses, tare, scale, k=k)
    assert error.value.code == code


def test_a_mass_that_is_no_figure_is_refused():
    with pytest.raises(CodeError) as error:
        window({"a": 1}, {"a": (float("nan"), 0)}, 0, 1)
    assert error.value.code == "figure_unreadable"


# The worked row of the published formula: n 200, mu 5.00 g, s 0.05 g, m 10, u 0.1 g:
# parts 0.141, reference 0.632, scale 0.020, together 0.648 (computed apart).
def test_the_worked_row_of_weigh_counting():
    found = count_by_weight(1_120, 120, 10, 50, 0.1, 0.05)
    assert found.pieces == 200
    assert found.off == 0
    assert found.fits
    assert found.sd == pytest.approx(0.648, abs=0.0005)
    assert not found.trusted
    scale_alone = count_by_weight(1_120, 120, 10, 50, 0.1, 0)
    assert scale_alone.sd == pytest.approx(0.020)
    parts_alone = count_by_weight(1_000, 0, 100_000, 500_000, 0, 0.05)
    assert parts_alone.sd == pytest.approx(0.141, abs=0.001)


# 20,000 counts with a seeded generator: new reference and new pieces each time.
@pytest.mark.parametrize("reference_u", [0.0, 0.1])
def test_a_simulation_spreads_as_the_formula_says(reference_u):
    n, mean, sd, m, u, times = 200, 5.0, 0.05, 10, 0.1, 20_000
    rng = np.random.default_rng(10)
    reference = rng.normal(mean * m, sd * math.sqrt(m), times)
    reference += rng.normal(0, reference_u, times) if reference_u else 0
    net = rng.normal(n * mean, sd * math.sqrt(n), times) + rng.normal(0, u, times)
    counts = net / (reference / m)
    found = count_by_weight(n * mean, 0, m, m * mean, u, sd, reference_u_g=reference_u)
    # The standard error of a standard deviation is about 1 in sqrt(2 times).
    assert counts.std(ddof=1) == pytest.approx(found.sd, rel=4 / math.sqrt(2 * times))
    # A count is wrong as often as the normal distribution puts it past half a piece.
    wrong = (np.rint(counts) != n).mean()
    chance = 2 * stats.norm.sf(0.5 / found.sd)
    assert wrong == pytest.approx(chance, abs=4 * math.sqrt(0.25 / times) + 0.005)


def test_counts_within_the_largest_trusted_are_right_in_a_simulation():
    mean, sd, m, u, times = 5.0, 0.05, 50, 0.1, 20_000
    n = largest_trusted(m, m * mean, u, sd)
    rng = np.random.default_rng(11)
    reference = rng.normal(mean * m, sd * math.sqrt(m), times) / m
    net = rng.normal(n * mean, sd * math.sqrt(n), times) + rng.normal(0, u, times)
    wrong = (np.rint(net / reference) != n).mean()
    assert wrong < 0.0027 + 4 * math.sqrt(0.0027 / times)
    assert wrong > 0  # Not so careful that nothing is ever counted.


# By hand, k 3: n (s/mu)² (1 + n/m) + (u/mu)² at most 1/36.
@pytest.mark.parametrize(
    ("m", "u", "s"), [(10, 0.1, 0.05), (50, 0.1, 0.05), (100, 0, 0.2), (10, 0.5, 0.01)]
)
def test_the_largest_trusted_count_solves_the_quadratic(m, u, s):
    a, c = (s / 5) ** 2, (u / 5) ** 2 - 1 / 36
    root = (-a + math.sqrt(a**2 - 4 * a / m * c)) / (2 * a / m)
    assert largest_trusted(m, 5 * m, u, s) == math.floor(root)


def test_a_scale_too_coarse_for_one_piece_counts_nothing():
    assert largest_trusted(10, 10, 0.5, 0) == 0
    assert not count_by_weight(1, 0, 10, 10, 0.5, 0).trusted


def test_without_spread_no_count_is_too_large():
    assert largest_trusted(10, 50, 0.1, 0) == weighing.MOST_PIECES


def test_the_reference_sample_weighed_on_the_same_scale_counts_less_far():
    careless = largest_trusted(10, 50, 0.1, 0.05)
    assert largest_trusted(10, 50, 0.1, 0.05, reference_u_g=0.1) < careless
    careful = largest_trusted(100, 500, 0.1, 0.05, reference_u_g=0.1)
    assert careful > careless


# Within these the largest trusted count stays below a tonne.
masses_g = st.decimals("0.5", "50", places=2)
spreads_g = st.decimals("0.02", "5", places=2)


@given(st.integers(1, 200), masses_g, spreads_g, spreads_g)
def test_one_more_than_the_largest_trusted_is_not_trusted(m, piece_g, u, s):
    most = largest_trusted(m, piece_g * m, u, s)
    assert most < weighing.MOST_PIECES
    found = count_by_weight(piece_g * most, 0, m, piece_g * m, u, s)
    assert found.pieces == most
    assert found.trusted is (most > 0 or 6 * u <= piece_g)
    above = count_by_weight(piece_g * (most + 1), 0, m, piece_g * m, u, s)
    assert not above.trusted


@given(st.integers(1, 500), st.integers(0, 2_000), masses_g, spreads_g)
def test_whole_pieces_are_counted_whatever_the_tare(m, pieces, piece_g, tare_g):
    gross = tare_g + piece_g * pieces
    found = count_by_weight(gross, tare_g, m, piece_g * m, 0.1, 0.05)
    assert (found.pieces, found.off) == (pieces, 0)


def test_a_mass_between_two_whole_numbers_is_not_trusted():
    found = count_by_weight(52.4, 0, 100, 500, 0.01, 0.01)
    assert found.pieces == 10
    assert found.off == pytest.approx(0.48)
    assert largest_trusted(100, 500, 0.01, 0.01) >= 10
    assert not found.fits
    assert not found.trusted


def test_an_empty_container_holds_no_pieces():
    found = count_by_weight(120, 120, 10, 50, 0.1, 0.05)
    assert (found.pieces, found.trusted) == (0, True)


@pytest.mark.parametrize(
    ("figures", "code"),
    [
        ((119, 120, 10, 50, 0.1, 0.05), "gross_below_tare"),
        ((1_120, 120, 0, 50, 0.1, 0.05), "pieces_not_positive"),
        ((1_120, 120, 10, 0, 0.1, 0.05), "mass_out_of_range"),
        ((1_120, -1, 10, 50, 0.1, 0.05), "mass_out_of_range"),
        ((2_000_000, 0, 10, 50, 0.1, 0.05), "mass_out_of_range"),
        ((1_120, 120, 10, 50, -0.1, 0.05), "scale_out_of_range"),
        ((1_120, 120, 10, 50, 0.1, -0.05), "spread_out_of_range"),
        ((900_000, 0, 10, 0.001, 0.1, 0.05), "weighed_out_of_range"),
    ],
)
def test_a_count_from_absurd_figures_is_refused(figures, code):
    with pytest.raises(Refused) as error:
        count_by_weight(*figures)
    assert error.value.code == code
