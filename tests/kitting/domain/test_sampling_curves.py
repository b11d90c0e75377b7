"""Chances of acceptance against scipy and published operating characteristics."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kitting.domain import sampling
from kitting.domain.errors import CodeError, LotwardError
from kitting.domain.sampling import Plan, acceptance, plan_for
from kitting.domain.sampling.curves import quality_at

SIZES = st.integers(1, 200)


def plan_of(size: int, accept: int, lot: int = 1_000_000) -> Plan:
    return Plan(
        lot_pieces=lot,
        letter="",
        sample_size=size,
        accept=accept,
        reject=accept + 1,
        whole_lot=False,
    )


def every_table_plan() -> list[Plan]:
    lots = (8, 500, 1_200, 35_000, 500_001)
    return [
        plan_for(lot, "II", aql, severity=severity)
        for lot in lots
        for aql in sampling.AQLS
        for severity in ("normal", "tightened", "reduced")
    ]


# NIST/SEMATECH e-Handbook 6.2.3.2, plan n 52, c 3 (the plan from memory; recomputed).
@pytest.mark.parametrize(
    ("share", "chance"), [(0.01, 0.998), (0.05, 0.738), (0.10, 0.223), (0.12, 0.115)]
)
def test_the_handbook_plan(share, chance):
    assert acceptance(plan_of(52, 3), share) == pytest.approx(chance, abs=0.0005)


# Chance at the AQL, and quality in percent at 95, 90, 50, 10 and 5 %, computed apart;
# letters J and K agree with Tables X-J-1 and X-K-1 of MIL-STD-105E (from memory).
@pytest.mark.parametrize(
    ("size", "accept", "aql", "at_aql", "qualities"),
    [
        (13, 0, 1.0, 0.8775, (0.394, 0.807, 5.19, 16.2, 20.6)),
        (20, 0, 0.65, 0.8777, (0.256, 0.525, 3.41, 10.9, 13.9)),
        (50, 1, 1.0, 0.9106, (0.715, 1.07, 3.33, 7.56, 9.14)),
        (80, 2, 1.0, 0.9534, (1.03, 1.39, 3.33, 6.52, 7.66)),
        (80, 5, 2.5, 0.9848, (3.32, 3.99, 7.06, 11.3, 12.7)),
        (125, 3, 1.0, 0.9626, (1.10, 1.40, 2.93, 5.27, 6.09)),
        (200, 5, 1.0, 0.9840, (1.31, 1.58, 2.83, 4.59, 5.18)),
    ],
)
def test_points_of_the_curve(size, accept, aql, at_aql, qualities):
    plan = plan_of(size, accept)
    assert acceptance(plan, Fraction(str(aql)) / 100) == pytest.approx(
        at_aql, abs=0.00005
    )
    for chance, percent in zip((0.95, 0.9, 0.5, 0.1, 0.05), qualities, strict=True):
        found = quality_at(plan, chance) / 10_000
        assert found == pytest.approx(percent, rel=0.005)


# scipy's own error grows in the far tail; the whole numbers here have none.
@pytest.mark.parametrize("share", [0, 0.0001, 0.00065, 0.01, 0.065, 0.1, 0.5, 0.9, 1])
def test_the_binomial_chance_agrees_with_scipy(share):
    for plan in every_table_plan():
        theirs = stats.binom.cdf(plan.reject - 1, plan.sample_size, share)
        assert acceptance(plan, share) == pytest.approx(theirs, rel=1e-9, abs=1e-280)


# 105E, 4.10.1.4: between the two numbers the lot is accepted. Letter J, AQL 1.5: 32
# pieces, 1/4; computed apart by scipy's probabilities of single counts.
def test_what_lies_between_the_two_numbers_counts_as_accepted():
    plan = plan_for(1_000, "II", 1.5, severity="reduced")
    by_count = stats.binom.pmf(range(4), 32, 0.05)
    assert acceptance(plan, 0.05) == pytest.approx(sum(by_count), rel=1e-9)
    assert acceptance(plan, 0.05) > acceptance(plan_of(32, 1), 0.05)


@given(SIZES, st.integers(0, 30), st.lists(st.integers(0, 10**6), min_size=2))
def test_more_bad_pieces_are_never_accepted_more_often(size, accept, shares):
    plan = plan_of(size, accept)
    chances = [acceptance(plan, Fraction(s, 10**6)) for s in sorted(shares)]
    assert chances == sorted(chances, reverse=True)
    assert all(0 <= chance <= 1 for chance in chances)


@pytest.mark.parametrize("plan", every_table_plan()[::7], ids=str)
def test_the_curve_falls_and_ends_where_hardly_a_lot_is_accepted(plan):
    curve = sampling.operating_characteristic(plan)
    chances = [point.chance for point in curve.points]
    assert len(chances) == 41
    assert chances == sorted(chances, reverse=True)
    assert (curve.points[0].bad_ppm, chances[0]) == (0, 1)
    assert chances[-1] <= 0.01
    for point in curve.points:
        assert point.chance == acceptance(plan, Fraction(point.bad_ppm, 10**6))


# Risks by scipy's inverse: the consumer's point is where the beta quantile is 0.9
# (Clopper and Pearson's relation of binomial and beta).
@pytest.mark.parametrize("plan", every_table_plan()[::5], ids=str)
def test_both_risks_agree_with_scipy(plan):
    curve = sampling.operating_characteristic(plan)
    size, accept = plan.sample_size, plan.reject - 1
    exactly = stats.beta.ppf(0.9, accept + 1, size - accept)
    assert 0 <= curve.consumers.bad_ppm - exactly * 10**6 < 1.001
    assert curve.consumers.chance <= 0.1
    assert curve.aql is not None
    assert curve.aql.bad_ppm == plan.aql_percent * 10_000
    rejected = stats.binom.sf(accept, size, curve.aql.bad_ppm / 10**6)
    assert curve.producers_risk == pytest.approx(rejected, rel=1e-9)
    assert curve.producers_risk == pytest.approx(1 - curve.aql.chance, abs=1e-15)


def test_a_quality_is_the_first_at_which_the_chance_is_reached():
    # One piece looked at and none bad allowed: the chance is the share of good ones.
    assert quality_at(plan_of(1, 0), 0.5) == 500_000


def test_a_plan_without_an_aql_has_no_producers_risk():
    curve = sampling.operating_characteristic(sampling.all_pieces(40))
    assert curve.aql is None
    assert curve.producers_risk is None
    assert curve.consumers.bad_ppm == math.ceil((1 - 0.1 ** (1 / 40)) * 10**6)


def test_a_plan_that_accepts_its_whole_sample_accepts_everything():
    assert acceptance(plan_of(3, 5), 1) == 1


@pytest.mark.parametrize(
    ("act", "code"),
    [
        (lambda plan: acceptance(plan, -0.01), "share_out_of_range"),
        (lambda plan: acceptance(plan, 1.01), "share_out_of_range"),
        (lambda plan: quality_at(plan, 0), "chance_out_of_range"),
        (lambda plan: quality_at(plan, 1), "chance_out_of_range"),
    ],
)
def test_absurd_figures_are_refused(act, code):
    with pytest.raises(LotwardError) as error:
        act(plan_of(50, 1))
    assert error.value.code == code


def test_a_share_that_is_no_figure_is_refused():
    with pytest.raises(CodeError):
        acceptance(plan_of(50, 1), float("nan"))
