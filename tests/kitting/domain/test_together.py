"""Which revisions may lie in one box, against every box that there could be."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.together import Together

pytestmark = pytest.mark.pure

# Headbands 1, 2, 3; visors 11, 12; manual 21.
TAKES = {1: [1, 2, 3], 2: [11, 12], 3: [21]}


def test_where_nothing_is_named_everything_goes_together() -> None:
    rule = Together(TAKES, {})
    assert rule.apart([1, 2, 11, 12, 21]) == []
    assert rule.completes({1, 2, 3, 11, 12, 21})
    assert rule.fitting(2, {1}) == [11, 12]


def test_a_named_revision_goes_only_with_those_beside_it() -> None:
    """Visor 12 only with headband 2 or 3; visor 11 and every headband are free."""
    rule = Together(TAKES, {12: {2, 3}})
    assert rule.apart([1, 11]) == rule.apart([2, 12]) == rule.apart([3, 12]) == []
    assert rule.apart([1, 12]) == [(1, 12)]
    assert rule.apart([2, 11]) == []  # named on one side only
    assert rule.apart([12, 21]) == []  # of a line that is not named
    assert rule.fitting(1, {12}) == [2, 3]
    assert rule.fitting(2, {1}) == [11]
    assert rule.fitting(2, {2, 3}) == [11, 12]


def test_what_would_leave_nothing_of_another_line_is_not_taken() -> None:
    """Each visor has a headband of its own: two headbands in a box fit no visor."""
    rule = Together({1: [1, 2], 2: [11, 12]}, {11: {1}, 12: {2}})
    assert rule.apart([1, 2]) == []
    assert not rule.completes({1, 2})
    assert rule.fitting(1, {1}) == [1]
    assert rule.fitting(2, {1}) == [11]


REVISIONS = st.lists(st.integers(1, 9), unique=True, min_size=1, max_size=9)


@st.composite
def recipes(draw: st.DrawFn) -> Together:
    takes: dict[int, list[int]] = {}
    for revision in draw(REVISIONS):
        takes.setdefault(draw(st.integers(1, 4)), []).append(revision)
    known = st.sampled_from(sorted(one for every in takes.values() for one in every))
    only: dict[int, set[int]] = {}
    lines = {one: line for line, every in takes.items() for one in every}
    for one, other in draw(st.lists(st.tuples(known, known), max_size=6)):
        if lines[one] != lines[other]:
            only.setdefault(one, set()).add(other)
    return Together(takes, only)


def may(rule: Together, one: int, other: int) -> bool:
    """Said over again, without the lookups of the rule."""
    for first, second in ((one, other), (other, one)):
        line = next(every for every in rule.takes.values() if second in every)
        named = rule.only.get(first, set()) & set(line)
        if named and second not in named:
            return False
    return True


@given(recipes(), st.data())
def test_a_box_can_be_filled_where_some_whole_box_holds_what_is_in_it(
    rule: Together, data: st.DataObject
) -> None:
    every = [one for taken in rule.takes.values() for one in taken]
    inside = data.draw(st.sets(st.sampled_from(every), max_size=4))
    whole = any(
        all(
            may(rule, a, b) for a in {*inside, *more} for b in {*inside, *more} if a < b
        )
        for more in product(
            *(
                [one for one in taken if one in inside] or taken
                for taken in rule.takes.values()
            )
        )
    )
    assert rule.completes(inside) == whole
    for line, taken in rule.takes.items():
        fits = rule.fitting(line, inside)
        assert fits == [one for one in taken if rule.completes({*inside, one})]
        assert not whole or fits  # there is always something to take instead
