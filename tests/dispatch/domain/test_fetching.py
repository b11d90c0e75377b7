"""Which boxes go: what expires first, then fewest lots that are new there, then oldest.

First expired first out: WHO good distribution practices, Annex 5 (glossary).
"""

from __future__ import annotations

from datetime import date
from itertools import permutations

import pytest

from dispatch.domain.fetching import Candidate, choose, deal

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
