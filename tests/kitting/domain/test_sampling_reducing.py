"""What must be met before reduced inspection: MIL-STD-105E, 4.7.3, worked by hand.

Table VIII (limit numbers) is not among it: no copy could be checked, and ANSI/ASQ Z1.4,
8.5, lets it be dropped. In its place stands the workshop's own rule, no worse than the
AQL.
"""

from __future__ import annotations

from functools import reduce

import pytest

from kitting.domain.errors import CodeError, Refused
from kitting.domain.sampling import (
    START,
    Event,
    Sampled,
    Standing,
    State,
    after,
    need_reducible,
    standing_of,
)


def switch(history: list[Event]) -> State:
    return reduce(after, history, START)


def lots(*found: int, size: int = 80, fail: int | None = None) -> list[Sampled]:
    """Samples of 80; the lot numbered ``fail`` from 0 was rejected by another class."""
    return [Sampled(n, size, at != fail) for at, n in enumerate(found)]


def shown(samples: list[Sampled], aql: float = 1.0) -> Standing:
    return standing_of(switch(["accepted"] * len(samples)), samples, aql)


# AQL 1.0 of 10 x 80 pieces is 8; of 10 x 13 pieces 1.3, so 1.
@pytest.mark.parametrize(
    ("samples", "aql", "counted", "found", "pieces", "most", "met"),
    [
        (lots(), 1.0, 0, 0, 0, 0, False),
        (lots(*[0] * 9), 1.0, 9, 0, 720, 7, False),
        (lots(*[0] * 10), 1.0, 10, 0, 800, 8, True),
        (lots(*[1] * 8, 0, 0), 1.0, 10, 8, 800, 8, True),
        (lots(*[1] * 9, 0), 1.0, 10, 9, 800, 8, False),
        # Only the last ten count: what was two lots earlier is forgotten.
        (lots(2, 2, *[0] * 10), 1.0, 12, 0, 800, 8, True),
        (lots(*[0] * 9, 1, size=13), 1.0, 10, 1, 130, 1, True),
        (lots(*[0] * 9, 2, size=13), 1.0, 10, 2, 130, 1, False),
        (lots(*[0] * 10, size=13), 0.65, 10, 0, 130, 0, True),
        (lots(*[0] * 9, 1, size=13), 0.65, 10, 1, 130, 0, False),
        # A lot that another class rejected was not accepted: counting begins after it.
        (lots(*[0] * 12, fail=0), 1.0, 11, 0, 800, 8, True),
        (lots(*[0] * 12, fail=2), 1.0, 9, 0, 720, 7, False),
        (lots(*[0] * 12, fail=11), 1.0, 0, 0, 0, 0, False),
    ],
)
def test_worked_standings(samples, aql, counted, found, pieces, most, met):
    standing = shown(samples, aql)
    assert (standing.lots, standing.needed) == (counted, 10)
    assert (standing.found, standing.looked_at, standing.most) == (found, pieces, most)
    assert standing.met is met


def test_lots_before_normal_inspection_came_back_do_not_count():
    history = ["rejected"] * 2 + ["accepted"] * 5 + ["accepted"] * 3
    standing = standing_of(switch(history), lots(*[0] * 10), 1.0)
    assert (standing.on_normal, standing.lots) == (True, 3)


@pytest.mark.parametrize(
    "history",
    [
        ["rejected"] * 2 + ["accepted"] * 4,
        ["rejected"] * 7,
        ["accepted"] * 10 + ["reduced"] + ["accepted"] * 12,
    ],
)
def test_only_from_normal_inspection(history):
    standing = standing_of(switch(history), lots(*[0] * 30), 1.0)
    assert (standing.on_normal, standing.lots, standing.met) == (False, 0, False)
    with pytest.raises(Refused) as error:
        need_reducible(standing, steady=True)
    assert error.value.code == "reduced_from_normal_only"


def test_each_condition_is_asked_for_and_named():
    with pytest.raises(Refused) as error:
        need_reducible(shown(lots(*[0] * 9)), steady=True)
    assert error.value.code == "reduced_needs_lots"
    assert error.value.params == {"lots": 9, "needed": 10}
    with pytest.raises(Refused) as error:
        need_reducible(shown(lots(*[1] * 10)), steady=True)
    assert error.value.code == "reduced_too_many_bad"
    assert error.value.params == {"found": 10, "pieces": 800, "most": 8}
    good = shown(lots(*[0] * 10))
    with pytest.raises(Refused) as error:
        need_reducible(good, steady=False)
    assert error.value.code == "production_not_steady"
    need_reducible(good, steady=True)


def test_an_aql_that_is_no_figure_is_refused():
    with pytest.raises(CodeError):
        standing_of(START, [], float("nan"))
