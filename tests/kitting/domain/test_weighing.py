"""Counts by weight against scipy, simulation and a worked table row."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kitting.domain import weighing
from kitting.domain.errors import CodeError, Refused
from kitting.domain.weighing import count_by_weight, largest_trusted


def test_what_is_stored_in_mg_is_read_in_grams():
    assert weighing.grams(12_345) == Decimal("12.345")


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


def test_a_mass_that_is_no_figure_is_refused():
    with pytest.raises(CodeError) as error:
        count_by_weight(float("nan"), 120, 10, 50, 0.1, 0.05)
    assert error.value.code == "figure_unreadable"
