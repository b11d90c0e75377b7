"""How many boxes can be packed: cases worked by hand, and every box tried out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from itertools import combinations_with_replacement, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.cover import Cover, Need, cover
from kitting.domain.together import Together

pytestmark = pytest.mark.pure

# Headbands 1 and 2, visors 11 and 12, manual 21, carton 31.
BAND, VISOR, MANUAL, CARTON = 1, 2, 3, 4


def all_go(one: int, other: int) -> bool:
    return True


def test_a_box_of_six_by_hand() -> None:
    """Of headbands 50 / 6 = 8, of visors 44 / 12 = 3, of manuals 9 / 1 = 9."""
    needs = [Need(BAND, 6, [1, 2]), Need(VISOR, 12, [11]), Need(MANUAL, 1, [21])]
    stock = {1: 30, 2: 20, 11: 44, 21: 9}
    assert cover(needs, stock, all_go) == Cover(3, VISOR)


def test_the_carton_may_run_out_first() -> None:
    needs = [Need(BAND, 6, [1]), Need(CARTON, 1, [31])]
    assert cover(needs, {1: 600, 31: 2}, all_go) == Cover(2, CARTON)


def test_what_reaches_for_the_fewest_runs_out_first_also_where_both_give_as_many() -> (
    None
):
    needs = [Need(BAND, 6, [1]), Need(VISOR, 6, [11])]
    assert cover(needs, {1: 17, 11: 13}, all_go) == Cover(2, VISOR)
    assert cover(needs, {1: 13, 11: 13}, all_go) == Cover(2, BAND)


def test_of_what_there_is_nothing_no_box_is_packed() -> None:
    needs = [Need(BAND, 6, [1]), Need(VISOR, 6, [11])]
    assert cover(needs, {1: 600}, all_go) == Cover(0, VISOR)
    assert cover(needs, {}, all_go) == Cover(0, BAND)
    assert cover([], {1: 600}, all_go) == Cover(0, None)


def test_what_goes_apart_is_not_summed() -> None:
    """Visor 12 goes only with headband 2. The sums would give four boxes of six.

    Headbands 12 and 12, visors 6 and 18: with headband 1 one box, with headband 2 two.
    """
    rule = Together({BAND: [1, 2], VISOR: [11, 12]}, {12: [2], 1: [11]})
    needs = [Need(BAND, 6, [1, 2]), Need(VISOR, 6, [11, 12])]
    stock = {1: 12, 2: 12, 11: 6, 12: 18}
    assert cover(needs, stock, all_go).boxes == 4
    assert cover(needs, stock, rule.goes).boxes == 3


def test_two_kinds_of_boxes_do_not_both_take_the_same_pieces() -> None:
    """Headband 1 only with visor 11, headband 2 only with visor 12; six manuals."""
    rule = Together({BAND: [1, 2], VISOR: [11, 12], MANUAL: [21]}, {1: [11], 2: [12]})
    needs = [Need(BAND, 1, [1, 2]), Need(VISOR, 1, [11, 12]), Need(MANUAL, 1, [21])]
    stock = {1: 4, 2: 5, 11: 9, 12: 3, 21: 6}
    assert cover(needs, stock, rule.goes).boxes == 6
    assert cover(needs, {**stock, 21: 60}, rule.goes).boxes == 7


def one_by_one(needs: Sequence[Need], stock: Mapping[int, int], rule: Together) -> int:
    """The most boxes, by packing one after the other in every way there is."""
    known = sorted(stock)
    ways = []
    for filled in product(
        *(combinations_with_replacement(need.takes, need.pieces) for need in needs)
    ):
        inside = [one for line in filled for one in line]
        if not rule.apart(set(inside)):
            ways.append(tuple(inside.count(one) for one in known))

    @cache
    def most(left: tuple[int, ...]) -> int:
        found = [0]
        for way in set(ways):
            after = tuple(have - out for have, out in zip(left, way, strict=True))
            if min(after) >= 0:
                found.append(1 + most(after))
        return max(found)

    return most(tuple(stock[one] for one in known))


PIECES = st.integers(0, 5)


@given(
    bands=st.integers(1, 2),
    visors=st.integers(1, 2),
    have=st.fixed_dictionaries(dict.fromkeys((1, 2, 11, 12, 21), PIECES)),
    only=st.dictionaries(
        st.sampled_from([1, 2, 11, 12]),
        st.sets(st.sampled_from([1, 2, 11, 12]), min_size=1, max_size=2),
        max_size=3,
    ),
)
def test_as_many_as_by_packing_in_every_way(
    bands: int, visors: int, have: dict[int, int], only: dict[int, set[int]]
) -> None:
    takes = {BAND: [1, 2], VISOR: [11, 12], MANUAL: [21]}
    lines = {one: line for line, every in takes.items() for one in every}
    apart = {
        one: {each for each in others if lines[each] != lines[one]}
        for one, others in only.items()
    }
    rule = Together(takes, apart)
    many = {BAND: bands, VISOR: visors, MANUAL: 1}
    needs = [Need(line, many[line], takes[line]) for line in takes]
    assert cover(needs, have, rule.goes).boxes == one_by_one(needs, have, rule)


def test_many_kinds_take_no_time_and_invent_nothing() -> None:
    """Five headbands, each with a visor of its own: five kinds, thousands of pieces."""
    bands, visors = range(1, 6), range(11, 16)
    rule = Together(
        {BAND: [*bands], VISOR: [*visors], MANUAL: [21]},
        {band: [band + 10] for band in bands},
    )
    needs = [Need(BAND, 7, bands), Need(VISOR, 5, visors), Need(MANUAL, 3, [21])]
    stock = dict.fromkeys((*bands, *visors), 5003) | {21: 9000}
    assert cover(needs, stock, rule.goes).boxes == 3000
    # 5003 / 7 = 714 boxes of each kind.
    assert cover(needs, {**stock, 21: 90_000}, rule.goes).boxes == 5 * 714
