"""Proposals of bags against brute force and an integer programme (HiGHS)."""

from __future__ import annotations

import datetime as dt
import itertools
from collections import defaultdict

import highspy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitting.domain.errors import Refused
from kitting.domain.picking import Candidate, propose

DAY = dt.date(2026, 3, 1)


def bag(number, lot, pieces, *, use_by=None, made=0, arrived=0) -> Candidate:
    """Make a candidate; ``use_by`` and ``made`` are days from a fixed one."""
    return Candidate(
        bag=number,
        lot=lot,
        pieces=pieces,
        use_by=None if use_by is None else DAY + dt.timedelta(use_by),
        made_on=DAY + dt.timedelta(made),
        arrived=arrived,
    )


def test_one_lot_that_is_enough_beats_two_that_expire_first():
    plan = propose(
        30, [bag(1, "A", 20, use_by=1), bag(2, "B", 20, use_by=2), bag(3, "C", 30)]
    )
    assert plan.takes == ((3, 30),)
    assert plan.lots == ("C",)
    assert plan.short == 0


def test_of_lots_that_are_each_enough_the_first_to_expire_is_taken():
    plan = propose(
        10, [bag(1, "A", 50), bag(2, "B", 10, use_by=9), bag(3, "C", 10, use_by=8)]
    )
    assert plan.takes == ((3, 10),)


def test_a_lot_that_does_not_expire_is_taken_last():
    plan = propose(10, [bag(1, "A", 10, made=-99), bag(2, "B", 10, use_by=3000)])
    assert plan.takes == ((2, 10),)


def test_without_a_use_by_date_the_oldest_is_taken():
    plan = propose(10, [bag(1, "A", 10, made=2), bag(2, "B", 10, made=1)])
    assert plan.takes == ((2, 10),)


def test_of_lots_made_on_one_day_the_first_to_arrive_is_taken():
    plan = propose(10, [bag(1, "A", 10, arrived=7), bag(2, "B", 10, arrived=6)])
    assert plan.takes == ((2, 10),)


def test_within_a_lot_the_first_bags_are_emptied_first():
    plan = propose(
        25,
        [
            bag(10, "A", 10, arrived=2),
            bag(9, "A", 10, arrived=2),
            bag(8, "A", 10, arrived=1),
        ],
    )
    assert plan.takes == ((8, 10), (9, 10), (10, 5))


def test_a_small_first_lot_is_passed_over_when_it_would_need_a_third():
    # 5 + 30 is too little for 40, so two lots must be 20 + 30.
    plan = propose(
        40,
        [
            bag(1, "A", 5, use_by=1),
            bag(2, "B", 20, use_by=2),
            bag(3, "C", 30, use_by=3),
        ],
    )
    assert plan.lots == ("B", "C")
    assert plan.takes == ((2, 20), (3, 20))


def test_too_little_stock_gives_all_of_it_and_says_what_is_short():
    plan = propose(100, [bag(1, "A", 20), bag(2, "B", 30), bag(3, "C", 0)])
    assert sorted(plan.takes) == [(1, 20), (2, 30)]
    assert plan.short == 50


@pytest.mark.parametrize("candidates", [[], [bag(1, "A", 5)]])
def test_no_need_takes_nothing(candidates):
    plan = propose(0, candidates)
    assert (plan.takes, plan.lots, plan.short) == ((), (), 0)


@pytest.mark.parametrize(
    ("need", "candidates", "code"),
    [
        (-1, [], "pieces_negative"),
        (1, [bag(1, "A", 5), bag(1, "B", 5)], "bag_twice"),
    ],
)
def test_a_proposal_refuses_what_cannot_be(need, candidates, code):
    with pytest.raises(Refused) as error:
        propose(need, candidates)
    assert error.value.code == code


@st.composite
def stocks(draw) -> list[Candidate]:
    """Draw up to 9 bags of up to 6 lots; a lot has one expiry and one made-on date."""
    lots = draw(st.integers(1, 6))
    dates = [
        (draw(st.sampled_from([None, 1, 2, 3])), draw(st.integers(0, 2)))
        for _ in range(lots)
    ]
    made: list[Candidate] = []
    for number in range(draw(st.integers(0, 9))):
        lot = draw(st.integers(0, lots - 1))
        use_by, day = dates[lot]
        made.append(
            bag(
                number,
                f"L{lot}",
                draw(st.integers(0, 12)),
                use_by=use_by,
                made=day,
                arrived=draw(st.integers(0, 4)),
            )
        )
    return made


def rank(candidate: Candidate):
    return (
        candidate.use_by or dt.date(9999, 12, 31),
        candidate.made_on,
        candidate.arrived,
        candidate.lot,
    )


def best_lots_by_brute_force(need: int, candidates: list[Candidate]) -> list[str]:
    """Try every set of lots: enough, then fewest, then first in order of rank."""
    held: dict[str, int] = defaultdict(int)
    ranks = {}
    for candidate in candidates:
        if candidate.pieces:
            held[candidate.lot] += candidate.pieces
            known = ranks.get(candidate.lot, rank(candidate))
            ranks[candidate.lot] = min(known, rank(candidate))
    enough = [
        (size, sorted(ranks[lot] for lot in chosen))
        for size in range(len(held) + 1)
        for chosen in itertools.combinations(held, size)
        if sum(held[lot] for lot in chosen) >= need
    ]
    return [lot for *_, lot in min(enough)[1]]


@settings(max_examples=300)
@given(candidates=stocks(), share=st.integers(0, 100), seed=st.randoms())
def test_a_proposal_is_the_best_of_all_there_are(candidates, share, seed):
    total = sum(candidate.pieces for candidate in candidates)
    need = total * share // 100
    plan = propose(need, candidates)
    assert list(plan.lots) == best_lots_by_brute_force(need, candidates)
    pieces = {candidate.bag: candidate.pieces for candidate in candidates}
    assert all(0 < taken <= pieces[number] for number, taken in plan.takes)
    assert len({number for number, _ in plan.takes}) == len(plan.takes)
    assert sum(taken for _, taken in plan.takes) == need
    assert plan.short == 0
    # Each bag is emptied before the next one is begun, in order of lot and rank.
    assert all(taken == pieces[number] for number, taken in plan.takes[:-1])
    order = {lot: index for index, lot in enumerate(plan.lots)}
    by_number = {candidate.bag: candidate for candidate in candidates}
    taken_from = [by_number[number] for number, _ in plan.takes]
    keys = [(order[one.lot], rank(one), one.bag) for one in taken_from]
    assert keys == sorted(keys)
    assert {one.lot for one in taken_from} == set(plan.lots)
    shuffled = candidates[:]
    seed.shuffle(shuffled)
    assert propose(need, shuffled) == plan


@settings(max_examples=60, deadline=None)
@given(
    held=st.lists(st.integers(1, 500), min_size=1, max_size=40),
    share=st.integers(1, 100),
)
def test_no_integer_programme_does_with_fewer_lots(held, share):
    need = -(-sum(held) * share // 100)
    solver = highspy.Highs()
    solver.silent()
    used = [solver.addBinary() for _ in held]
    solver.addConstr(
        sum(one * pieces for one, pieces in zip(used, held, strict=True)) >= need
    )
    solver.minimize(sum(used))
    fewest = round(solver.getInfo().objective_function_value)
    plan = propose(need, [bag(n, f"L{n}", pieces) for n, pieces in enumerate(held)])
    assert len(plan.lots) == fewest
