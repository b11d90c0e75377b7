"""Scarce boxes shared: published examples, every division there is, and what must hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from fractions import Fraction
from inspect import signature
from itertools import permutations, product
from math import inf
from random import Random

import pytest

from dispatch.domain import allotment
from dispatch.domain.allotment import Shares, share, water_level

# Max-min fair shares: S. Keshav, An Engineering Approach to Computer Networking, 1997,
# pages 215 to 217, as lecture notes give them: demands, weights, capacity, shares.
PUBLISHED = [
    (["2", "2.6", "4", "5"], ["1", "1", "1", "1"], 10, ["2", "2.6", "2.7", "2.7"]),
    (["4", "2", "10", "4"], ["2.5", "4", "0.5", "1"], 16, ["4", "2", "6", "4"]),
]


@pytest.mark.parametrize(("asked", "weights", "there", "shares"), PUBLISHED)
def test_the_published_shares(
    asked: list[str], weights: list[str], there: int, shares: list[str]
) -> None:
    tenths = [int(Fraction(each) * 10) for each in asked]
    weight = [Fraction(each) for each in weights]
    level = water_level(
        [(0, most, w) for most, w in zip(tenths, weight, strict=True)], there * 10
    )
    found = [
        min(Fraction(most), level * w) for most, w in zip(tenths, weight, strict=True)
    ]
    assert found == [Fraction(each) * 10 for each in shares]
    # The same as sets in boxes of one.
    of_one = share(
        {str(nth): most for nth, most in enumerate(tenths)},
        {1: there * 10},
        weight={str(nth): w for nth, w in enumerate(weight)},
    )
    assert [of_one.sets(str(nth)) for nth in range(len(asked))] == found
    assert [of_one.reason[str(nth)].share for nth in range(len(asked))] == found


# -- By hand -----------------------------------------------------------------------------


def test_what_was_received_counts_and_nobody_is_given_more_than_asked() -> None:
    """Of 10 boxes of 6: Mill asked one; Hill had 24, so Dale has 24 before Hill's next."""
    found = share({"Mill": 6, "Hill": 60, "Dale": 60}, {6: 10}, received={"Hill": 24})
    assert found.counts == {"Mill": {6: 1}, "Hill": {6: 2}, "Dale": {6: 7}}
    assert found.reason["Mill"].code == "served"
    assert found.reason["Hill"].code == found.reason["Dale"].code == "share"
    # 60 - 6 = 54 sets, and 24 had before: 39 each.
    assert (found.reason["Hill"].level, found.reason["Hill"].share) == (39, 15)
    had_more = share({"Hill": 60, "Dale": 60}, {6: 2}, received={"Hill": 24})
    assert had_more.counts == {"Hill": {}, "Dale": {6: 2}}
    assert had_more.reason["Hill"].code == "received"


def test_a_weight_is_so_many_sets_for_one() -> None:
    found = share({"Ward": 90, "Home": 90}, {1: 90}, weight={"Ward": 2})
    assert (found.sets("Ward"), found.sets("Home")) == (60, 30)


def test_an_earlier_tier_is_served_before_a_later_one_gets_anything() -> None:
    asked = {"Mill": 12, "Hill": 12, "Dale": 12}
    found = share(asked, {6: 3}, tier={"Mill": 2, "Hill": 1, "Dale": 3})
    assert found.counts == {"Hill": {6: 2}, "Mill": {6: 1}, "Dale": {}}
    assert [found.reason[who].code for who in ("Hill", "Mill", "Dale")] == [
        *("served", "share", "tier"),
    ]


def test_floors_come_first_in_their_tier() -> None:
    asked = {"Mill": 60, "Hill": 60}
    found = share(asked, {6: 5}, received={"Mill": 90}, floor={"Mill": 12})
    assert found.counts == {"Mill": {6: 2}, "Hill": {6: 3}}
    later = share(asked, {6: 5}, tier={"Mill": 2}, floor={"Mill": 12})
    assert later.counts == {"Mill": {}, "Hill": {6: 5}}


def test_a_large_box_goes_to_who_has_room_for_it() -> None:
    """Mill asked 6 and Hill 60: the box of 60 is not Mill's because its name is later."""
    found = share({"Hill": 60, "Dale": 6}, {60: 1, 6: 1})
    assert found.counts == {"Hill": {60: 1}, "Dale": {6: 1}}
    # Ten sets each, of a box of 12 and one of 6 there are 18: both are dealt.
    assert share({"Hill": 10, "Dale": 10}, {12: 1, 6: 1}).left == {}


def test_who_comes_to_all_of_it_by_whole_boxes_is_told_apart() -> None:
    """Of three that are alike two have all that they lack: by boxes, not by shares."""
    found = share({"Mill": 24, "Hill": 24, "Dale": 24}, {24: 2})
    codes = [found.reason[who].code for who in ("Dale", "Hill", "Mill")]
    assert codes == ["whole", "whole", "boxes"]
    assert {found.reason[who].share for who in ("Dale", "Hill", "Mill")} == {16}
    assert share({"Hill": 24}, {24: 2}).reason["Hill"].code == "served"


def test_nothing_to_share_and_nobody_to_share_with() -> None:
    assert share({}, {6: 2}) == Shares({}, {}, {6: 2})
    nothing = share({"Hill": 6, "Dale": 0}, {6: 0})
    assert nothing.counts == {"Hill": {}, "Dale": {}}
    assert nothing.reason["Hill"].code == "nothing"
    assert nothing.reason["Dale"].code == "served"


@pytest.mark.parametrize(
    ("asked", "stock", "more"),
    [
        ({"Hill": -1}, {6: 1}, {}),
        ({"Hill": 10**8}, {6: 1}, {}),
        ({"Hill": 6}, {0: 1}, {}),
        ({"Hill": 6}, {6: -1}, {}),
        ({"Hill": 6}, {6: 10**8}, {}),
        ({"Hill": 6}, {6: 1}, {"weight": {"Hill": 0}}),
        ({"Hill": 6}, {6: 1}, {"received": {"Hill": -6}}),
        ({"Hill": 6}, {6: 1}, {"floor": {"Hill": -6}}),
    ],
)
def test_numbers_out_of_range_are_refused(
    asked: dict[str, int], stock: dict[int, int], more: dict[str, dict[str, int]]
) -> None:
    with pytest.raises(ValueError, match=r"0|range"):
        share(asked, stock, **more)  # type: ignore[arg-type]


# -- What must hold of any ---------------------------------------------------------------

Case = tuple[dict[str, int], dict[int, int], dict[str, dict[str, int]]]


def case(draw: Random, *, sizes: int = 3) -> Case:
    names = "ABCDEF"[: draw.randint(2, 6)]
    asked = {who: draw.randint(0, 150) for who in names}
    stock = {
        size: draw.randint(0, 6)
        for size in draw.sample([6, 12, 24, 48, 60], draw.randint(1, sizes))
    }
    more = {
        "tier": {who: draw.choice([1, 1, 2]) for who in names},
        "weight": {who: draw.choice([1, 1, 2, 3]) for who in names},
        "received": {who: draw.choice([0, 0, draw.randint(0, 60)]) for who in names},
        "floor": {who: draw.choice([0, 0, 0, 12]) for who in names},
    }
    return asked, stock, more


def cases(many: int = 500, **options: int) -> Iterator[Case]:
    draw = Random(9)
    return (case(draw, **options) for _ in range(many))


def test_no_box_is_lost_or_made_and_nobody_gets_more_than_it_asked() -> None:
    scarce = 0
    for asked, stock, more in cases():
        found = share(asked, stock, **more)  # type: ignore[arg-type]
        dealt = dict(found.left)
        for who, counts in found.counts.items():
            for size, boxes in counts.items():
                dealt[size] = dealt.get(size, 0) + boxes
            if counts:
                assert found.sets(who) - min(counts) < asked[who], (asked, stock, more)
            assert found.reason[who].given == found.sets(who)
        assert dealt == {size: boxes for size, boxes in stock.items() if boxes}
        if any(found.sets(who) < asked[who] for who in asked):
            scarce += 1
            assert not found.left, (asked, stock, more)
    assert scarce > 100


def test_no_tier_starves_an_earlier_one() -> None:
    for asked, stock, more in cases():
        found = share(asked, stock, **more)  # type: ignore[arg-type]
        tiers = more["tier"]
        for who in asked:
            if found.sets(who) < asked[who]:
                later = [other for other in asked if tiers[other] > tiers[who]]
                assert not any(found.counts[other] for other in later)


def test_the_order_of_entry_does_not_matter() -> None:
    for asked, stock, more in cases(60):
        found = share(asked, stock, **more)  # type: ignore[arg-type]
        for order in [*permutations(asked)][:: max(1, len(asked) * 20)]:
            turned = {who: asked[who] for who in order}
            sizes = dict(reversed(stock.items()))
            assert share(turned, sizes, **more) == found  # type: ignore[arg-type]


def test_no_box_would_help_who_has_less_without_passing_its_owner() -> None:
    compared = 0
    for asked, stock, more in cases():
        more.pop("floor")
        found = share(asked, stock, **more)  # type: ignore[arg-type]
        reason = found.reason
        for by, to in permutations(asked, 2):
            mine, its = reason[by], reason[to]
            if mine.tier != its.tier or its.given >= its.share:
                continue
            for size in found.counts[by]:
                compared += 1
                falls = min(size, max(0, mine.share - mine.given + size))
                helps = min(size, its.share - its.given)
                passes = _level(its, size) > _level(mine, -size)
                assert passes or falls > helps, (asked, stock, more, by, to, size)
    assert compared > 500


def _level(reason: allotment.Reason, change: int) -> Fraction:
    return (reason.received + reason.given + change) / reason.weight


def test_asking_for_more_than_ones_share_gains_nothing() -> None:
    draw, tried = Random(10), 0
    for asked, stock, more in cases():
        more.pop("floor")
        found = share(asked, stock, **more)  # type: ignore[arg-type]
        for who in asked:
            if found.reason[who].share < asked[who]:
                tried += 1
                greedy = {**asked, who: asked[who] + draw.randint(1, 300)}
                got = share(greedy, stock, **more).sets(who)  # type: ignore[arg-type]
                needed = min(got, asked[who])
                assert needed <= max(found.sets(who), 0), (asked, stock, more, who)
    assert tried > 300


def test_with_one_size_another_box_takes_from_nobody() -> None:
    for asked, stock, more in cases(400, sizes=1):
        ((size, boxes),) = stock.items()
        found = share(asked, stock, **more)  # type: ignore[arg-type]
        again = share(asked, {size: boxes + 1}, **more)  # type: ignore[arg-type]
        assert all(again.sets(who) >= found.sets(who) for who in asked)


# -- Every division there is -------------------------------------------------------------


def divisions(
    asked: Mapping[str, int], size: int, boxes: int
) -> Iterator[dict[str, int]]:
    most = [-(-sets // size) for sets in asked.values()]
    for counts in product(*(range(each + 1) for each in most)):
        if sum(counts) == min(boxes, sum(most)):
            yield dict(zip(asked, counts, strict=True))


def test_of_one_size_no_division_leaves_those_with_least_better() -> None:
    draw = Random(11)
    for _ in range(120):
        names = "ABCD"[: draw.randint(2, 4)]
        size, boxes = draw.choice([1, 6]), draw.randint(0, 8)
        asked = {who: draw.randint(0, 4) * size for who in names}
        had = {who: draw.randint(0, 3) * size for who in names}

        def least(counts: Mapping[str, int], had: dict[str, int] = had) -> float:
            """What those have who have least and still want more."""
            of_wanting = [
                had[who] + boxes * size  # noqa: B023
                for who, boxes in counts.items()
                if boxes * size < asked[who]  # noqa: B023
            ]
            return min(of_wanting, default=inf)

        found = share(asked, {size: boxes}, received=had)
        counts = {who: found.counts[who].get(size, 0) for who in asked}
        best = max(map(least, divisions(asked, size, boxes)))
        assert least(counts) == best, (asked, had, size, boxes)


# -- As it is called ---------------------------------------------------------------------


def test_names_that_other_programs_rely_on() -> None:
    assert [*signature(share).parameters] == [
        *("asked", "stock", "tier", "weight", "floor", "received"),
    ]
    assert {"counts", "reason"} <= {each.name for each in fields(Shares)}
