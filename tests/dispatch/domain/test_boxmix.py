"""Which boxes serve a request, against published cases, all mixes there are, a solver."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from inspect import signature
from itertools import product
from math import inf
from random import Random

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from dispatch.domain import boxmix
from dispatch.domain.boxmix import Mix, best_mix, nearest

# Making change with the fewest coins. The first case: D. Kozen and S. Zaks, Optimal bounds
# for the change-making problem, 1994, and many a textbook; the next two from memory: coins
# of the United States with and without one of 21.
FEWEST = [
    ((1, 3, 4), 6, {3: 2}),
    ((1, 5, 10, 21, 25), 63, {21: 3}),
    ((1, 5, 10, 25), 63, {25: 2, 10: 1, 1: 3}),
]

# Totals that boxes of 6, 9 and 20 never come to: the "McNugget numbers" (sequence A065003
# of the On-Line Encyclopedia of Integer Sequences, from memory); with one of 4 as well.
OUT_OF_REACH = {
    (6, 9, 20): [
        *(1, 2, 3, 4, 5, 7, 8, 10, 11, 13, 14, 16, 17, 19, 22, 23, 25, 28, 31, 34),
        *(37, 43),
    ],
    (4, 6, 9, 20): [1, 2, 3, 5, 7, 11],
}


@pytest.mark.parametrize(("sizes", "sets", "counts"), FEWEST)
def test_the_fewest_boxes_are_not_those_that_begin_with_the_largest(
    sizes: tuple[int, ...], sets: int, counts: dict[int, int]
) -> None:
    mix = best_mix(sets, sizes)
    assert mix == Mix(counts, sets, 0, sum(counts.values()), 0)


@pytest.mark.parametrize("sizes", OUT_OF_REACH)
def test_totals_out_of_reach_have_a_surplus(sizes: tuple[int, ...]) -> None:
    missed = [sets for sets in range(1, 200) if best_mix(sets, sizes).surplus]  # type: ignore[union-attr]
    assert missed == OUT_OF_REACH[sizes]


@pytest.mark.parametrize(("a", "b"), [(4, 9), (7, 11), (24, 25), (6, 35)])
def test_two_sizes_miss_as_many_totals_as_sylvester_counted(a: int, b: int) -> None:
    # J. J. Sylvester, 1882: (a - 1)(b - 1) / 2 of them, a b - a - b the largest.
    missed = [n for n in range(1, a * b) if best_mix(n, (a, b)).surplus]  # type: ignore[union-attr]
    assert (len(missed), missed[-1]) == ((a - 1) * (b - 1) // 2, a * b - a - b)


# -- All mixes there are ---------------------------------------------------------------


def every_mix(
    sets: int, sizes: Sequence[int], stock: Mapping[int, int] | None
) -> Iterator[dict[int, int]]:
    most = [sets // size + 1 if stock is None else stock.get(size, 0) for size in sizes]
    for counts in product(*(range(count + 1) for count in most)):
        yield {size: count for size, count in zip(sizes, counts, strict=True) if count}


def rank(sets: int, counts: dict[int, int], packed: Mapping[int, int]) -> list[int]:
    """How far from what is asked, how many boxes, how many of them to be packed yet."""
    boxes = sum(counts.values())
    ready = sum(min(count, packed.get(size, 0)) for size, count in counts.items())
    return [abs(sum(s * n for s, n in counts.items()) - sets), boxes, boxes - ready]


def case(draw: Random) -> tuple[int, list[int], dict[int, int] | None, dict[int, int]]:
    sizes = draw.sample(range(1, 13), draw.randint(1, 4))
    named = [size for size in sizes if draw.random() < 0.9]
    stock = {size: draw.randint(0, 6) for size in named}
    packed = {size: draw.randint(0, 4) for size in sizes if draw.random() < 0.7}
    return draw.randint(1, 40), sizes, stock if draw.random() < 0.7 else None, packed


def test_no_mix_is_better_from_either_side() -> None:
    draw = Random(5)
    served = 0
    for _ in range(400):
        sets, sizes, stock, packed = case(draw)
        found = nearest(sets, sizes, stock, packed)
        assert found.above == best_mix(sets, sizes, stock, packed)
        served += found.above is not None
        ranks: dict[bool, list[list[int]]] = {True: [], False: []}
        for counts in filter(None, every_mix(sets, sizes, stock)):
            total = sum(size * count for size, count in counts.items())
            for above in {total >= sets, total > sets}:
                ranks[above].append(rank(sets, counts, packed))
        for above, mix in ((True, found.above), (False, found.below)):
            best = min(ranks[above], default=None)
            assert (mix and rank(sets, mix.counts, packed)) == best, (
                sets,
                sizes,
                stock,
            )
            if mix:
                total = sum(size * count for size, count in mix.counts.items())
                boxes, ready = sum(mix.counts.values()), mix.boxes - best[2]  # type: ignore[index]
                assert mix == Mix(mix.counts, total, total - sets, boxes, ready)
    assert 100 < served < 400


# -- A solver of integer programmes ----------------------------------------------------


def solved(sets: int, sizes: Sequence[int], most: Sequence[float]) -> tuple[int, int]:
    """Surplus and boxes by HiGHS, one after the other."""
    options = {"mip_rel_gap": 0.0}
    total = np.array(sizes, dtype=float)
    bounds = Bounds(0, np.array(most))
    whole = np.ones(len(sizes))

    def least(cost: object, low: float, high: float) -> int:
        at = LinearConstraint(total, low, high)
        found = milp(
            cost, integrality=whole, bounds=bounds, constraints=at, options=options
        )
        assert found.success, found.message
        return round(found.fun)

    held = least(total, sets, inf)
    return held - sets, least(whole, held, held)


@pytest.mark.parametrize("cases", [60, pytest.param(500, marks=pytest.mark.long)])
def test_a_solver_finds_nothing_better(cases: int) -> None:
    draw = Random(cases)
    for _ in range(cases):
        sizes = draw.sample(range(2, 120), draw.randint(1, 5))
        stock = {size: draw.randint(0, 60) for size in sizes}
        there = sum(size * count for size, count in stock.items())
        sets = draw.randint(1, 3_000)
        free = draw.random() < 0.4
        mix = best_mix(sets, sizes, None if free else stock)
        if not free and there < sets:
            assert mix is None
            continue
        assert mix is not None
        most = [inf if free else stock[size] for size in sizes]
        assert (mix.surplus, mix.boxes) == solved(sets, sizes, most), (sets, stock)


# -- What cannot be --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sets", "sizes", "stock"),
    [
        *((0, [6], None), (-6, [6], None), (6, [], None), (6, [0, 6], None)),
        *((6, [-6], None), (100_001, [6], None), (6, [100_001], None)),
        (6, [6], {6: -1}),
    ],
)
def test_numbers_out_of_range_are_refused(
    sets: int, sizes: list[int], stock: dict[int, int] | None
) -> None:
    with pytest.raises(ValueError, match="are"):
        best_mix(sets, sizes, stock)


def test_the_largest_request_in_sets_of_one_is_answered() -> None:
    mix = best_mix(100_000, [1, 7, 100_000], {1: 100_000, 7: 9})
    assert mix == Mix({7: 9, 1: 99_937}, 100_000, 0, 99_946, 0)


def test_names_that_other_programs_rely_on() -> None:
    assert [*signature(boxmix.best_mix).parameters] == [
        *("sets", "sizes", "stock", "packed"),
    ]
    assert {"counts", "sets", "surplus", "boxes"} <= {each.name for each in fields(Mix)}
