"""Complaints for a thousand sets: against counting by hand, over random histories."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dispatch.domain.complaints import Rate, rates

pytestmark = pytest.mark.pure

PAIRS = st.lists(st.tuples(st.integers(0, 8), st.sampled_from("ABCD")), max_size=30)
SETS = st.dictionaries(st.sampled_from("ABCDE"), st.integers(0, 5_000))


@given(PAIRS, SETS)
def test_each_complaint_counts_once_for_each_thing(
    pairs: list[tuple[int, str]], sets: dict[str, int]
) -> None:
    found = {rate.key: rate for rate in rates(pairs, sets)}
    assert set(found) == {key for _one, key in pairs}
    for key, rate in found.items():
        one_by_one = []
        for complaint, about in pairs:
            if about == key and complaint not in one_by_one:
                one_by_one.append(complaint)
        assert rate.complaints == len(one_by_one)
        assert rate.sets == sets.get(key, 0)


@given(PAIRS, SETS)
def test_the_worst_come_first(
    pairs: list[tuple[int, str]], sets: dict[str, int]
) -> None:
    found = [rate for rate in rates(pairs, sets) if rate.sets]
    exact = [Fraction(rate.complaints, rate.sets) for rate in found]
    assert exact == sorted(exact, reverse=True)
    unsent = [not rate.sets for rate in rates(pairs, sets)]
    assert unsent == sorted(unsent, reverse=True)


@given(st.integers(0, 10_000), st.integers(1, 10**9))
def test_a_rate_has_two_decimals_rounded_half_up(complaints: int, sets: int) -> None:
    hundredths = floor(Fraction(complaints * 100_000, sets) + Fraction(1, 2))
    right = f"{hundredths // 100}.{hundredths % 100:02}"
    assert Rate("", complaints, sets).per_thousand == right


def test_of_what_was_never_sent_there_is_no_rate() -> None:
    assert Rate("", 3, 0).per_thousand == ""
