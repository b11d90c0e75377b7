"""What a fault of each lot would touch, against a walk from every box back to its lots."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from dispatch.domain.reach import Packed, Reach, reach_of

LOTS = range(8)
boxes = st.lists(
    st.builds(
        Packed,
        sets=st.sampled_from((6, 24, 60)),
        lots=st.frozensets(st.sampled_from(LOTS), min_size=1, max_size=4),
        consignee=st.sampled_from(("", "A", "B", "C")),
    ),
    max_size=20,
)
# A lot is made from older ones; the drawing may still go round in a circle.
origins = st.dictionaries(
    st.sampled_from(LOTS), st.lists(st.sampled_from(LOTS), max_size=3), max_size=6
)


def holds(box: Packed, lot: int, made_from: dict[int, list[int]]) -> bool:
    """Whether a lot is in a box, or something in it was made from the lot."""
    seen: set[int] = set()

    def back(one: int) -> bool:
        if one == lot:
            return True
        if one in seen:
            return False
        seen.add(one)
        return any(back(origin) for origin in made_from.get(one, ()))

    return any(back(one) for one in box.lots)


@given(boxes=boxes, made_from=origins)
def test_every_lot_is_told_as_a_walk_over_all_boxes_tells_it(
    boxes: list[Packed], made_from: dict[int, list[int]]
) -> None:
    found = {each.lot: each for each in reach_of(boxes, made_from)}
    for lot in LOTS:
        has = [box for box in boxes if holds(box, lot, made_from)]
        if not has:
            assert lot not in found
            continue
        its = found[lot]
        assert its.here == sum(not box.consignee for box in has)
        assert its.boxes == sum(bool(box.consignee) for box in has)
        assert dict(its.shares) == {
            whom: Fraction(
                sum(box.sets for box in has if box.consignee == whom),
                sum(box.sets for box in boxes if box.consignee == whom),
            )
            for whom in {box.consignee for box in has} - {""}
        }


@given(boxes=boxes, made_from=origins)
def test_the_order_is_worst_first_and_the_same_however_boxes_come(
    boxes: list[Packed], made_from: dict[int, list[int]]
) -> None:
    found = reach_of(boxes, made_from)
    keys = [(-one.consignees, -one.boxes, -one.here, one.lot) for one in found]
    assert keys == sorted(keys)
    assert reach_of(boxes[::-1], made_from) == found


def test_a_spool_reaches_what_was_made_from_what_was_made_from_it() -> None:
    spool, sheet, visor, other = range(4)
    found = reach_of(
        [
            Packed(6, frozenset({visor}), "Ward"),
            Packed(18, frozenset({other}), "Ward"),
            Packed(6, frozenset({visor})),
        ],
        {visor: [sheet], sheet: [spool]},
    )
    third = (("Ward", Fraction(1, 4)),)
    assert found[0] == Reach(spool, 1, 1, third)
    assert [each.lot for each in found] == [spool, sheet, visor, other]
