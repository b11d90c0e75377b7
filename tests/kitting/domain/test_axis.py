"""Round numbers along an axis, and labels that do not touch.

Worked by hand after P. S. Heckbert: Nice numbers for graph labels, Graphics Gems (1990):
a range is made round, a step is the round number nearest to so much of it as lies between
two ticks, and the ends are the multiples of the step that hold the data.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.axis import Axis, axis_to, nice, with_room

pytestmark = pytest.mark.pure


@pytest.mark.parametrize(
    ("value", "above", "near"),
    [
        (438, 500, 500),  # the range of his figure, 105 to 543
        (125, 200, 100),  # 500 over the four gaps of five ticks
        (1, 1, 1),
        (Fraction(149, 100), 2, 1),
        (Fraction(3, 2), 2, 2),
        (2, 2, 2),
        (Fraction(299, 100), 5, 2),
        (3, 5, 5),
        (5, 5, 5),
        (Fraction(699, 100), 10, 5),
        (7, 10, 10),
        (10, 10, 10),
        (99, 100, 100),
        (Fraction(1, 4), Fraction(1, 2), Fraction(1, 5)),
        (Fraction(3, 100), Fraction(1, 20), Fraction(1, 20)),
    ],
)
def test_nice_numbers_are_those_of_the_paper(
    value: Fraction | int, above: Fraction | int, near: Fraction | int
) -> None:
    assert nice(value, nearest=False) == above
    assert nice(value, nearest=True) == near


@pytest.mark.parametrize("value", [0, -1])
def test_nothing_has_no_nice_number(value: int) -> None:
    with pytest.raises(ValueError, match=str(value)):
        nice(value, nearest=True)


@pytest.mark.parametrize(
    ("most", "ticks"),
    [
        (0, [0, 1]),
        (1, [0, 1]),
        (2, [0, 1, 2]),  # range 2, a quarter is 0.5: no half of a set
        (6, [0, 2, 4, 6]),  # range 10, a quarter 2.5, near 2
        (10, [0, 2, 4, 6, 8, 10]),
        (24, [0, 10, 20, 30]),  # range 50, a quarter 12.5, near 10
        (543, [0, 200, 400, 600]),  # range 1000, a quarter 250, near 200
        (1000, [0, 200, 400, 600, 800, 1000]),
        (1001, [0, 500, 1000, 1500]),  # range 2000, a quarter 500
        (4812, [0, 1000, 2000, 3000, 4000, 5000]),  # range 5000, a quarter 1250
    ],
)
def test_ticks_worked_by_hand(most: int, ticks: list[int]) -> None:
    assert list(axis_to(most).ticks) == ticks


@given(most=st.integers(0, 10**9), ticks=st.integers(2, 12))
def test_an_axis_holds_what_it_shows_by_few_whole_steps(most: int, ticks: int) -> None:
    axis = axis_to(most, ticks)
    assert axis.top >= most
    assert axis.top - axis.step < max(most, 1)
    assert axis.ticks[-1] == axis.top
    assert str(axis.step).rstrip("0") in {"1", "2", "5"}
    # A step is at least two thirds of so much of the range, which the data never exceed.
    assert len(axis.ticks) <= 3 * (ticks - 1) / 2 + 2


def test_a_number_lies_at_its_share_of_the_length_and_never_beyond_the_ends() -> None:
    axis = Axis(10, 40)
    assert [axis.place(value, 320) for value in (0, 10, 25, 40)] == [0, 80, 200, 320]
    assert (axis.place(-1, 320), axis.place(41, 320)) == (0, 320)
    assert axis.place(Fraction(1, 3), 1000) == 8.3


places = st.lists(st.floats(1, 200), max_size=120).map(
    lambda gaps: [sum(gaps[: at + 1]) for at in range(len(gaps))]
)


@given(places=places, width=st.floats(1, 90), gap=st.floats(0, 20))
def test_no_two_labels_touch_and_none_is_left_out_needlessly(
    places: list[float], width: float, gap: float
) -> None:
    kept = with_room(places, [width] * len(places), gap)
    ends = [(places[at] - width / 2, places[at] + width / 2) for at in kept]
    assert all(two[0] - one[1] >= gap - 1e-6 for one, two in pairwise(ends))
    assert kept[:1] == [0][: len(places)]
    stride = kept[1] if len(kept) > 1 else len(places)
    assert kept == list(range(0, len(places), stride or 1))
    closer = (
        [places[at] for at in range(0, len(places), stride - 1)] if stride > 1 else []
    )
    if len(kept) > 1 and closer:
        assert min(b - a for a, b in pairwise(closer)) < width + gap


def test_labels_worked_by_hand() -> None:
    every_ten = [float(at) for at in range(0, 100, 10)]
    assert with_room(every_ten, [8.0] * 10, 2.0) == [*range(10)]
    assert with_room(every_ten, [8.1] * 10, 2.0) == [0, 2, 4, 6, 8]
    assert with_room(every_ten, [35.0] * 10, 0.0) == [0, 4, 8]
    assert with_room([], [], 4.0) == []
