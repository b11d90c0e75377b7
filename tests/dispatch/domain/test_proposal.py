"""Proposals to requests: who shares as one, what is split, moved, and never gained."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from random import Random

import pytest

from dispatch.domain.allotment import share
from dispatch.domain.proposal import (
    Chosen,
    Move,
    Proposal,
    Term,
    Wish,
    moved,
    propose,
    sets_of,
)
from kitting.domain.errors import Refused

SIZES = (60, 24, 6)


def wishes_of(luck: Random, many: int) -> list[Wish]:
    return [
        Wish(
            f"Q{nth}",
            f"W{luck.randrange(many)}",
            luck.randint(1, 3),
            luck.randint(1, 90),
        )
        for nth in range(many)
    ]


def stock_of(luck: Random) -> dict[int, int]:
    return {size: luck.randrange(4) for size in SIZES}


def by_who(found: Proposal, wishes: Sequence[Wish]) -> Counter[tuple[str, int]]:
    sets: Counter[tuple[str, int]] = Counter()
    for wish in wishes:
        sets[wish.who, wish.tier] += found.sets(wish.request)
    return sets


@pytest.mark.parametrize("seed", range(60))
def test_no_box_is_made_and_none_is_of_no_use(seed: int) -> None:
    luck = Random(seed)
    wishes, stock = wishes_of(luck, 8), stock_of(luck)
    had = {f"W{nth}": luck.randrange(60) for nth in range(8)}
    found = propose(wishes, stock, had)
    gone = sum((Counter(each) for each in found.counts.values()), Counter())
    assert {size: gone[size] + found.left[size] for size in SIZES} == stock
    for wish in wishes:
        boxes = found.counts[wish.request]
        assert not boxes or sets_of(boxes) - min(boxes) < wish.lacks
    assert moved(found, wishes, ()) == found.counts


@pytest.mark.parametrize("seed", range(60))
def test_the_order_of_entry_moves_no_sets_from_one_to_another(seed: int) -> None:
    luck = Random(seed)
    wishes, stock = wishes_of(luck, 8), stock_of(luck)
    other = luck.sample(wishes, len(wishes))
    first, second = propose(wishes, stock, {}), propose(other, stock, {})
    assert by_who(first, wishes) == by_who(second, other)


@pytest.mark.parametrize("seed", range(60))
def test_who_writes_two_requests_gets_what_one_would_get(seed: int) -> None:
    luck = Random(seed)
    wishes, stock = wishes_of(luck, 6), stock_of(luck)
    one = wishes[0]
    rest = [wish for wish in wishes[1:] if (wish.who, wish.tier) != (one.who, one.tier)]
    part = luck.randint(0, one.lacks)
    two = [
        Wish(f"{one.request}{nth}", one.who, one.tier, lacks)
        for nth, lacks in enumerate((part, one.lacks - part))
        if lacks
    ]
    alone = by_who(propose([one, *rest], stock, {}), [one, *rest])
    split = by_who(propose([*two, *rest], stock, {}), [*two, *rest])
    assert alone == split


@pytest.mark.parametrize("seed", range(60))
def test_one_tier_of_single_requests_is_shared_as_the_arithmetic_says(
    seed: int,
) -> None:
    luck = Random(seed)
    asked = {f"W{nth}": luck.randint(1, 90) for nth in range(6)}
    had = {who: luck.randrange(60) for who in asked}
    stock = stock_of(luck)
    wishes = [Wish(who, who, 2, sets) for who, sets in asked.items()]
    terms = (Term("W1", 25, 0, "so"), Term("W2", 10, 30, "so"))
    found = propose(wishes, stock, had, terms)
    right = share(asked, stock, received=had, weight={"W1": 2.5}, floor={"W2": 30})  # type: ignore[dict-item]
    assert found.counts == right.counts


def test_what_an_earlier_tier_gave_counts_in_a_later_one_and_takes_off_a_floor() -> (
    None
):
    wishes = [
        Wish("A", "Hill", 1, 12),
        Wish("B", "Hill", 2, 60),
        Wish("C", "Dale", 2, 60),
    ]
    found = propose(wishes, {6: 4}, {})
    assert found.counts == {"A": {6: 2}, "B": {}, "C": {6: 2}}
    assert found.reason["B"].received == 12
    first = (Term("Hill", 10, 18, "One home"),)
    found = propose(wishes, {6: 4}, {}, first)
    assert found.counts == {"A": {6: 2}, "B": {6: 1}, "C": {6: 1}}


def test_the_large_box_goes_to_the_request_that_has_room_for_it() -> None:
    wishes = [Wish("A", "Hill", 1, 6), Wish("B", "Hill", 1, 54)]
    assert propose(wishes, {60: 1}, {}).counts == {"A": {}, "B": {60: 1}}
    found = propose(wishes, {24: 2, 6: 2}, {})
    assert found.counts == {"A": {6: 1}, "B": {24: 2, 6: 1}}


def test_boxes_are_moved_between_requests_and_what_stays() -> None:
    wishes = [Wish("A", "Hill", 1, 12), Wish("B", "Dale", 1, 12)]
    found = propose(wishes, {6: 3}, {})
    assert found.counts == {"A": {6: 1}, "B": {6: 2}}
    to_a = Move(1, 6, "B", "A")
    assert moved(found, wishes, [to_a]) == {"A": {6: 2}, "B": {6: 1}}
    stays = Move(2, 6, "B", "")
    again = Move(1, 6, "", "A")
    assert moved(found, wishes, [stays, again]) == {"A": {6: 2}, "B": {}}
    assert found.counts == {"A": {6: 1}, "B": {6: 2}}
    for move, code in (
        (Move(3, 6, "B", ""), "move_too_many"),
        (Move(1, 24, "B", ""), "move_too_many"),
        (Move(0, 6, "B", ""), "move_too_many"),
        (Move(1, 6, "B", "X"), "move_unknown"),
        (Move(1, 6, "X", ""), "move_unknown"),
        (Move(2, 6, "B", "A"), "move_beyond_asked"),
    ):
        with pytest.raises(Refused) as caught:
            moved(found, wishes, [move])
        assert caught.value.code == code


def test_what_is_chosen_has_no_more_unless_it_is_said() -> None:
    assert (Chosen(7, {}).terms, Chosen(7, {}).moves) == ((), ())
    assert [Term("A", tenths, 0, "").times for tenths in (10, 25)] == ["1", "2.5"]
