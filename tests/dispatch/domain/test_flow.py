"""Pictures of flows: nothing overlaps, and every ribbon is as thick as its share."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dispatch.domain.flow import Bar, Flow, Ribbon, lay_out

GAP, LEAST = 20.0, 4.0

tables = st.integers(1, 6).flatmap(
    lambda wide: st.lists(
        st.lists(st.integers(0, 5000), min_size=wide, max_size=wide),
        min_size=1,
        max_size=6,
    ).filter(lambda rows: any(map(any, rows)))
)
"""What flows from each thing on the left to each on the right."""


def drawn(table: list[list[int]]) -> tuple[dict[str, Bar], list[Ribbon], float]:
    left = [f"from {nth}" for nth in range(len(table))]
    right = [f"to {nth}" for nth in range(len(table[0]))]
    flows = [
        Flow(source, target, many)
        for source, row in zip(left, table, strict=True)
        for target, many in zip(right, row, strict=True)
        if many
    ]
    high = (GAP + LEAST) * max(len(left), len(right)) + 100
    bars, ribbons = lay_out([left, right], flows, high=high, gap=GAP, least=LEAST)
    assert {ribbon.flow for ribbon in ribbons} == set(flows)
    return bars, ribbons, high


@given(table=tables)
def test_bars_stay_apart_and_inside(table: list[list[int]]) -> None:
    bars, _ribbons, high = drawn(table)
    for layer in (0, 1):
        column = sorted(
            (bar for bar in bars.values() if bar.layer == layer),
            key=lambda bar: bar.top,
        )
        assert column[0].top >= -1e-6
        assert column[-1].top + column[-1].high <= high + 1e-6
        for above, below in pairwise(column):
            assert below.top - above.top - above.high == pytest.approx(GAP)


@given(table=tables)
def test_ribbons_fill_the_bars_they_leave_and_enter(table: list[list[int]]) -> None:
    bars, ribbons, _high = drawn(table)
    for key, bar in bars.items():
        ends = sorted(
            end
            for ribbon in ribbons
            for of, end in (
                (ribbon.flow.source, ribbon.leaves),
                (ribbon.flow.target, ribbon.enters),
            )
            if of == key
        )
        if not ends:
            assert bar.high == LEAST
            continue
        assert ends[0][0] == pytest.approx(bar.top)
        for (top, tall), (below, _tall) in pairwise(ends):
            assert top + tall == pytest.approx(below)
        assert sum(ends[-1]) == pytest.approx(bar.top + bar.high)


@given(table=tables)
def test_one_scale_holds_for_all(table: list[list[int]]) -> None:
    """Beyond the least height, heights are to each other as the pieces are."""
    bars, ribbons, _high = drawn(table)
    through: dict[str, int] = {}
    for ribbon in ribbons:
        for key in (ribbon.flow.source, ribbon.flow.target):
            through[key] = through.get(key, 0) + ribbon.flow.pieces
    scales = [(bars[key].high - LEAST) / many for key, many in through.items()]
    assert scales == pytest.approx([scales[0]] * len(scales))
    assert scales[0] > 0


@given(table=tables)
def test_ribbons_of_one_thing_do_not_cross(table: list[list[int]]) -> None:
    bars, ribbons, _high = drawn(table)
    for one in ribbons:
        for other in ribbons:
            if one.flow.source == other.flow.source:
                assert (one.leaves < other.leaves) == (
                    bars[one.flow.target].top < bars[other.flow.target].top
                )
            if one.flow.target == other.flow.target:
                assert (one.enters < other.enters) == (
                    bars[one.flow.source].top < bars[other.flow.source].top
                )
