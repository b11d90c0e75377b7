"""Where a sample is taken from, and the verdict on what it shows."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import sampling
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.sampling import DefectClass, Severity, draw, judge, plans_for

BAGS = st.lists(st.integers(0, 500), min_size=1, max_size=30)


def numbered(pieces: list[int]) -> list[tuple[int, int]]:
    return list(enumerate(pieces))


# Worked by hand. The apportionment of 10 over 6, 6 and 2 is the known case of the
# Alabama paradox (4, 4, 2), which largest remainder shows (from memory).
@pytest.mark.parametrize(
    ("size", "pieces", "taken"),
    [
        (10, [40, 40, 20], {0: 4, 1: 4, 2: 2}),
        (10, [6, 6, 2], {0: 4, 1: 4, 2: 2}),
        (0, [40, 40], {}),
        (0, [], {}),
        (80, [40, 40], {0: 40, 1: 40}),
        (13, [100, 0, 100], {0: 6, 2: 7}),
        # A small bag gives one although its share is a tenth of a piece.
        (10, [990, 10], {0: 9, 1: 1}),
        # Lifting ten small bags to one leaves two pieces for the last two; the share of
        # the eleventh falls from 1.09 to 0.2, so it is lifted as well.
        (12, [1] * 10 + [10, 90], dict.fromkeys(range(12), 1)),
        # Fewer pieces than bags: spread over the row, not from the first bags.
        (2, [50] * 10, {2: 1, 7: 1}),
        (1, [50] * 9, {4: 1}),
        (5, [50] * 10, {1: 1, 3: 1, 5: 1, 7: 1, 9: 1}),
    ],
)
def test_worked_drawings(size, pieces, taken):
    assert draw(size, numbered(pieces)) == taken


@given(BAGS, st.data())
def test_a_drawing_is_exact_and_takes_no_more_than_a_bag_has(pieces, data):
    size = data.draw(st.integers(0, sum(pieces)))
    taken = draw(size, numbered(pieces))
    assert sum(taken.values()) == size
    assert all(1 <= many <= pieces[bag] for bag, many in taken.items())
    assert list(taken) == sorted(taken)


@given(BAGS, st.data())
def test_every_bag_gives_one_where_the_sample_has_one_for_each(pieces, data):
    filled = sum(1 for many in pieces if many)
    size = data.draw(st.integers(filled, sum(pieces)))
    assert len(draw(size, numbered(pieces))) == filled


@given(BAGS, st.data())
def test_a_fuller_bag_never_gives_less(pieces, data):
    size = data.draw(st.integers(0, sum(pieces)))
    taken = draw(size, numbered(pieces))
    for one, other in itertools.combinations(range(len(pieces)), 2):
        gap = taken.get(one, 0) - taken.get(other, 0)
        if pieces[one] == pieces[other]:
            assert abs(gap) <= 1
        else:
            assert gap * (pieces[one] - pieces[other]) >= 0


# The quota rule of largest remainder: each gives its exact share, rounded up or down.
@given(st.lists(st.integers(50, 500), min_size=1, max_size=9), st.data())
def test_each_bag_gives_its_share_rounded_up_or_down(pieces, data):
    total = sum(pieces)
    size = data.draw(st.integers(total // 4, total))
    for bag, many in draw(size, numbered(pieces)).items():
        assert abs(many * total - size * pieces[bag]) < total


@pytest.mark.parametrize(
    ("size", "bags", "code"),
    [
        (3, [("a", 2)], "sample_more_than_lot"),
        (1, [], "sample_more_than_lot"),
        (-1, [("a", 2)], "pieces_negative"),
        (1, [("a", 2), ("b", -1)], "pieces_negative"),
        (1, [("a", 2), ("a", 2)], "bag_twice"),
    ],
)
def test_a_drawing_that_cannot_be_is_refused(size, bags, code):
    with pytest.raises(LotwardError) as error:
        draw(size, bags)
    assert error.value.code == code


def test_critical_defects_are_looked_for_in_all_pieces():
    plans = plans_for(1_000, "II", {"minor": 4.0, "major": 1.0})
    assert list(plans) == ["critical", "major", "minor"]
    assert plans["critical"] == sampling.all_pieces(1_000)
    # Table II-A, letter J: 80 pieces, 2/3 at 1.0 and 7/8 at 4.0.
    assert (plans["major"].sample_size, plans["major"].accept) == (80, 2)
    assert (plans["minor"].sample_size, plans["minor"].accept) == (80, 7)


def test_classes_may_have_samples_of_different_size():
    plans = plans_for(100, "II", {"major": 1.0, "minor": 2.5})
    # Letter F: at 1.0 an arrow up to E, at 2.5 its own plan.
    assert [plans[each].sample_size for each in ("major", "minor")] == [13, 20]


def test_each_class_is_switched_on_its_own():
    severities: dict[DefectClass, Severity] = {"major": "tightened"}
    plans = plans_for(1_000, "II", {"major": 1.0, "minor": 4.0}, severities=severities)
    assert plans["major"] == sampling.plan_for(1_000, "II", 1.0, severity="tightened")
    assert plans["minor"] == sampling.plan_for(1_000, "II", 4.0)


# At and just above each acceptance number (letter J: 2/3 at 1.0, 7/8 at 4.0).
@pytest.mark.parametrize(
    ("critical", "major", "minor", "accepted"),
    [
        (0, 0, 0, True),
        (0, 2, 7, True),
        (0, 3, 0, False),
        (0, 0, 8, False),
        (1, 0, 0, False),
    ],
)
def test_a_lot_is_accepted_if_every_class_is(critical, major, minor, accepted):
    plans = plans_for(1_000, "II", {"major": 1.0, "minor": 4.0})
    found: dict[DefectClass, int] = {
        "minor": minor,
        "critical": critical,
        "major": major,
    }
    verdict = judge(plans, found)
    assert verdict.accepted is accepted
    assert [each.defect_class for each in verdict.classes] == list(sampling.CLASSES)
    for each in verdict.classes:
        assert each.found == found[each.defect_class]
        assert each.accepted is (each.found < each.plan.reject)


# 105E, 4.10.1.4. Letter J, reduced: 32 pieces, 1/3 at 1.0 and 3/6 at 4.0.
@pytest.mark.parametrize(
    ("major", "minor", "accepted", "between"),
    [
        (1, 3, True, []),
        (2, 3, True, ["major"]),
        (2, 5, True, ["major", "minor"]),
        (3, 0, False, []),
        (0, 6, False, []),
        (2, 6, False, ["major"]),
    ],
)
def test_on_reduced_inspection_some_counts_accept_and_bring_normal_back(
    major, minor, accepted, between
):
    severities: dict[DefectClass, Severity] = {"major": "reduced", "minor": "reduced"}
    plans = plans_for(1_000, "II", {"major": 1.0, "minor": 4.0}, severities=severities)
    verdict = judge(plans, {"critical": 0, "major": major, "minor": minor})
    assert verdict.accepted is accepted
    assert [each.defect_class for each in verdict.classes if each.between] == between


@pytest.mark.parametrize(
    ("found", "code"),
    [
        ({"critical": 0}, "class_not_counted"),
        ({"critical": 0, "major": 0, "minor": 0}, "class_without_plan"),
        ({"critical": 0, "major": 0, "grave": 0}, "class_unknown"),
        ({"critical": 0, "major": -1}, "found_out_of_range"),
        ({"critical": 0, "major": 81}, "found_out_of_range"),
        ({"critical": 1_001, "major": 0}, "found_out_of_range"),
    ],
)
def test_figures_that_do_not_belong_to_the_plan_are_refused(found, code):
    plans = plans_for(1_000, "II", {"major": 1.0})
    with pytest.raises(Refused) as error:
        judge(plans, found)
    assert error.value.code == code


def test_a_lot_without_a_plan_is_not_judged():
    with pytest.raises(Refused) as error:
        judge({}, {})
    assert error.value.code == "plan_missing"


@pytest.mark.parametrize(
    ("aqls", "code"),
    [({"critical": 0.1}, "critical_has_no_aql"), ({"grave": 1.0}, "class_unknown")],
)
def test_classes_that_have_no_aql_are_refused(aqls, code):
    with pytest.raises(Refused) as error:
        plans_for(1_000, "II", aqls)
    assert error.value.code == code


@given(st.integers(1, 5_000), st.integers(0, 5_000))
def test_one_critical_piece_rejects_any_lot(lot, found):
    verdict = judge(plans_for(lot, "II", {}), {"critical": min(found, lot)})
    assert verdict.accepted is (found == 0)
