"""The order of consignees, and days that stock lasts, worked by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from dispatch.domain.figures import Lasting, Share, in_tenths, neediest_first

pytestmark = pytest.mark.pure


def share(name: str, tier: int | None, lacks: int = 0, asked: int = 0) -> Share:
    return Share(name.upper(), name, tier, lacks, asked, 0, 0, 0)


def test_the_neediest_comes_first_and_who_needs_nothing_last() -> None:
    order = [
        share("None left, lacks more", 1, 20),
        share("None left", 1, 10),
        share("Runs out", 2, 90),
        share("Stock a", 3, 5, 9),
        share("Stock b", 3, 5, 9),
        share("Served, asked more", None, 0, 70),
        share("Served", None, 0, 60),
    ]
    assert neediest_first(reversed(order)) == order


@pytest.mark.parametrize(
    ("sent", "days", "a_day", "lasts"),
    [
        (140, 14, 10, Fraction(30)),  # 300 sets, 10 a day
        (7, 14, Fraction(1, 2), Fraction(600)),
        (90, 14, Fraction(45, 7), Fraction(140, 3)),
        (0, 14, 0, None),
        (0, 0, 0, None),
    ],
)
def test_stock_lasts_as_long_as_it_divides_by_what_was_sent_a_day(
    sent: int, days: int, a_day: Fraction | int, lasts: Fraction | None
) -> None:
    there = Lasting(120, 180, 6, "Visor", sent, days)
    assert (there.there, there.a_day) == (300, a_day)
    assert there.lasts(there.there) == lasts


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (Fraction(140, 3), "46.6"),  # 46.67: it is not said to last longer than it does
        (Fraction(30), "30.0"),
        (Fraction(99, 100), "0.9"),
        (Fraction(0), "0.0"),
    ],
)
def test_days_are_rounded_down(value: Fraction, written: str) -> None:
    assert in_tenths(value) == written
