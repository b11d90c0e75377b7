"""Which boxes go: what expires first, then fewest lots that are new there, then oldest.

First expired first out: WHO good distribution practices, Annex 5 (glossary).
"""

from __future__ import annotations

from datetime import date
from itertools import permutations

import pytest

from dispatch.domain.fetching import Candidate, choose, deal, no_more_than

SOON, LATE = date(2027, 1, 1), date(2028, 1, 1)


def box(
    number: int, *lots: int, use_by: date | None = None, sets: int = 6
) -> Candidate:
    return Candidate(number, sets, use_by, frozenset(lots), number)


CASES = [
    # What expires first, whatever else.
    ([box(1, 7), box(2, 8, use_by=LATE), box(3, 9, use_by=SOON)], [7], [3, 2, 1]),
    # Lots that are there already, then the oldest.
    ([box(1, 8), box(2, 7), box(3, 9), box(4, 7)], [7], [2, 4, 1, 3]),
    # A lot that came with the box before is not new any more.
    ([box(1, 8, 9), box(2, 7), box(3, 9, 7)], [8, 9], [1, 2, 3]),
    ([box(1, 5, 6), box(2, 4), box(3, 5, 6)], [], [2, 1, 3]),
]


@pytest.mark.parametrize(("boxes", "had", "order"), CASES)
def test_the_order_by_hand(
    boxes: list[Candidate], had: list[int], order: list[int]
) -> None:
    for turned in permutations(boxes):
        found = choose({6: len(boxes)}, turned, had)
        assert [each.box for each in found] == order


def test_each_size_has_its_number_and_no_box_goes_twice() -> None:
    boxes = [*(box(n, n) for n in range(3)), *(box(n, n, sets=24) for n in (7, 8))]
    found = choose({6: 2, 24: 3, 60: 1}, boxes, [])
    assert [each.box for each in found] == [7, 8, 0, 1]
    assert choose({}, boxes, []) == choose({6: 1}, [], []) == []


def test_each_in_turn_is_dealt_what_comes_nearest_of_what_is_left() -> None:
    found = deal([6, 0, 24, 30, 1], {24: 2, 6: 2})
    assert [mix and mix.counts for mix in found] == [
        *({6: 1}, None, {24: 1}),
        *({24: 1, 6: 1}, None),
    ]


# -- What is promised --------------------------------------------------------------------


def test_what_is_promised_comes_first_and_others_promises_are_left() -> None:
    ready = {24: 2, 6: 3}
    # The second has the box of 24 that it was promised, though the first needs it more.
    first, second = deal([24, 24], ready, [{}, {24: 1}], {24: 1})
    assert first is not None
    assert second is not None
    assert (first.counts, second.counts) == ({6: 3}, {24: 1})
    assert (first.short, second.short) == (6, 0)
    # All that is ready is promised to others.
    assert deal([24], ready, [{}], {24: 2, 6: 3}) == [None]
    # More is promised than is ready: who comes first has it.
    one, other = deal([12, 12], {6: 3}, [{6: 2}, {6: 2}])
    assert one is not None
    assert other is not None
    assert (one.counts, other.counts, other.short) == ({6: 2}, {6: 1}, 6)
    # What is promised and not there is not brought in other sizes.
    assert deal([24], {6: 4}, [{24: 1}]) == [None]


def test_a_promise_is_cut_down_to_what_is_lacking() -> None:
    assert no_more_than(24, {6: 4}) == {6: 4}
    assert no_more_than(19, {6: 4}) == {6: 4}
    assert no_more_than(18, {6: 4}) == {6: 3}
    assert no_more_than(30, {24: 1, 6: 4}) == {24: 1, 6: 1}
    assert no_more_than(0, {6: 4}) == {}
    assert no_more_than(5, {}) == {}
    assert no_more_than(-6, {6: 1}) == {}
