"""Sampling plans against a transcription of MIL-STD-105E, cell by cell.

Where the tables come from stands in tests/data/sampling/SOURCE.txt.
"""

from __future__ import annotations

import csv
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import sampling
from kitting.domain.errors import CodeError, Refused
from kitting.domain.sampling import plan_for, tables
from kitting.domain.sampling.tables import LETTERS, REDUCED_SIZES, SAMPLE_SIZES

DATA = Path(__file__).parents[2] / "data" / "sampling"
LAST_LOT = 10_000_000
"""The last range has no end; its far end is tried here."""


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


TABLE_1 = rows("table-1-code-letters")
RANGES = [
    (int(row["lot_min"]), int(row["lot_max"] or LAST_LOT), row) for row in TABLE_1
]
CELLS = {
    severity: {(row["code_letter"], row["aql_percent"]): row for row in rows(name)}
    for severity, name in (
        ("normal", "table-2a-single-normal-long"),
        ("tightened", "table-2b-single-tightened-long"),
        ("reduced", "table-2c-single-reduced-long"),
    )
}
LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
LOTS = st.integers(1, 3_000_000)
AQLS = st.sampled_from(sampling.AQLS)
LEVEL = st.sampled_from(LEVELS)
SEVERITY = st.sampled_from(["normal", "tightened", "reduced"])


def test_the_transcription_is_whole():
    assert len(TABLE_1) == 15
    assert [len(cells) for cells in CELLS.values()] == [192, 192, 192]
    assert tuple(TABLE_1[0])[2:] == sampling.LEVELS == LEVELS


@pytest.mark.parametrize(
    ("name", "sizes"),
    [
        ("code-letter-sample-size", SAMPLE_SIZES),
        ("code-letter-sample-size-reduced", REDUCED_SIZES),
    ],
)
def test_letters_have_the_printed_sample_sizes(name, sizes):
    printed = rows(name)
    assert [row["code_letter"] for row in printed] == list(LETTERS)
    assert tuple(int(row["sample_size"]) for row in printed) == sizes


# Table I, both ends of each range, each level: 210 letters.
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize(("first", "last", "row"), RANGES, ids=lambda v: str(v)[:9])
def test_both_ends_of_each_lot_range_have_the_printed_letter(first, last, row, level):
    for lot_pieces in (first, last):
        assert plan_for(lot_pieces, level, 1.0).first_letter == row[level]


# Tables II-A, II-B and II-C, as printed, arrows and both numbers included.
@pytest.mark.parametrize("severity", CELLS)
def test_each_cell_is_as_printed(severity):
    for (letter, aql), row in CELLS[severity].items():
        found = tables.cell(
            severity,
            LETTERS.index(letter),
            sampling.AQLS.index(Decimal(aql)),
        )
        if isinstance(found, str):
            printed = found.upper()
        else:
            printed = f"{found.accept}/{found.reject}"
        assert printed == row["printed_cell"], (letter, aql)


# Each of 15 ranges x 2 ends x 7 levels x 12 AQLs x 3 severities: 7,560 plans.
@pytest.mark.parametrize("severity", CELLS)
@pytest.mark.parametrize("level", LEVELS)
def test_a_plan_is_the_printed_one_after_following_arrows(level, severity):
    tried = 0
    for first, last, row in RANGES:
        for (letter, aql), printed in CELLS[severity].items():
            if letter != row[level]:
                continue
            for lot_pieces in (first, last):
                plan = plan_for(lot_pieces, level, float(aql), severity=severity)
                size = int(printed["sample_size"])
                assert plan.letter == printed["plan_letter"]
                assert plan.table_size == size
                assert plan.sample_size == min(size, lot_pieces)
                assert plan.whole_lot is (size >= lot_pieces)
                assert plan.accept == int(printed["ac"])
                assert plan.reject == int(printed["re"])
                assert plan.severity == severity
                tried += 1
    assert tried == 15 * 12 * 2


# Worked out by hand from the printed tables; the first row is a published example.
@pytest.mark.parametrize(
    ("lot", "level", "aql", "first", "letter", "size", "accept"),
    [
        (3_201, "II", 1.5, "L", "L", 200, 7),
        (10_000, "II", 1.5, "L", "L", 200, 7),
        (500, "II", 1.0, "H", "H", 50, 1),
        (501, "II", 1.0, "J", "J", 80, 2),
        (1_201, "II", 1.0, "K", "K", 125, 3),
        (100, "II", 1.0, "F", "E", 13, 0),
        (200, "II", 1.0, "G", "H", 50, 1),
        (60, "II", 2.5, "E", "F", 20, 1),
        (200_000, "II", 2.5, "P", "N", 500, 21),
        (5, "II", 0.65, "A", "F", 5, 0),
        (5, "II", 10, "A", "C", 5, 1),
        (1_000, "S-2", 4.0, "C", "B", 3, 0),
        (1_200, "S-4", 1.0, "F", "E", 13, 0),
        (1_201, "S-4", 1.0, "G", "H", 50, 1),
    ],
)
def test_worked_plans(lot, level, aql, first, letter, size, accept):
    plan = plan_for(lot, level, aql)
    assert (plan.first_letter, plan.letter) == (first, letter)
    assert (plan.sample_size, plan.accept, plan.reject) == (size, accept, accept + 1)
    assert plan.lot_pieces == lot
    assert plan.aql_percent == Decimal(str(aql))
    assert plan.level == level


def test_a_plan_names_the_arrows_that_led_to_it():
    assert plan_for(500, "II", 1.0).arrows == ()
    assert plan_for(100, "II", 1.0).arrows == ("up",)
    assert plan_for(5, "II", 10).arrows == ("down", "down")
    assert plan_for(5, "II", 0.65).arrows == ("down",) * 5
    assert plan_for(200_000, "II", 4.0).arrows == ("up",) * 2


# Worked out by hand from the printed table; the first is the example of a published
# lesson (letter J, AQL 1.5).
@pytest.mark.parametrize(
    ("lot", "level", "aql", "letter", "size", "accept", "reject"),
    [
        (1_000, "II", 1.5, "J", 32, 1, 4),
        (1_000, "II", 1.0, "J", 32, 1, 3),
        (1_000, "II", 2.5, "J", 32, 2, 5),
        (500, "II", 1.0, "H", 20, 0, 2),
        (100, "II", 1.0, "E", 5, 0, 1),  # an arrow up from F
        (200, "II", 1.0, "H", 20, 0, 2),  # an arrow down from G
        (2_000, "II", 4.0, "K", 50, 5, 8),
        (200_000, "II", 2.5, "N", 200, 10, 13),  # an arrow up from P
        (5, "II", 10, "C", 2, 0, 2),  # two arrows down from A
        (2, "II", 10, "C", 2, 0, 2),
    ],
)
def test_worked_plans_of_reduced_inspection(
    lot, level, aql, letter, size, accept, reject
):
    plan = plan_for(lot, level, aql, severity="reduced")
    assert (plan.letter, plan.sample_size) == (letter, size)
    assert (plan.accept, plan.reject) == (accept, reject)
    assert list(plan.between) == list(range(accept + 1, reject))
    assert len(plan_for(lot, level, aql).between) == 0


# Of the same row and column; where arrows lead elsewhere the plans are of two rows.
def test_reduced_inspection_asks_for_two_fifths_of_the_sample_and_accepts_more():
    for row, letter in enumerate(LETTERS):
        for column, aql in enumerate(sampling.AQLS):
            normal = tables.cell("normal", row, column)
            reduced = tables.cell("reduced", row, column)
            if isinstance(normal, str) or isinstance(reduced, str):
                continue
            assert reduced.accept <= normal.accept, (letter, aql)
            assert reduced.accept < reduced.reject
    ratios = [
        reduced / normal
        for reduced, normal in zip(REDUCED_SIZES[3:], SAMPLE_SIZES[3:], strict=True)
    ]
    assert all(0.37 < ratio < 0.41 for ratio in ratios)


@pytest.mark.parametrize("severity", CELLS)
@pytest.mark.parametrize("aql", sampling.AQLS)
def test_a_lot_of_one_piece_is_accepted_only_without_a_bad_one(aql, severity):
    plan = plan_for(1, "II", aql, severity=severity)
    assert (plan.sample_size, plan.accept, plan.reject) == (1, 0, 1)
    assert plan.whole_lot


@pytest.mark.parametrize("aql", [1, 1.0, Decimal("1.00"), Fraction(1)])
def test_an_aql_may_be_any_kind_of_figure(aql):
    assert plan_for(501, "II", aql) == plan_for(501, "II", 1.0)


@pytest.mark.parametrize(
    ("lot", "level", "aql", "severity", "code"),
    [
        (0, "II", 1.0, "normal", "pieces_not_positive"),
        (-5, "II", 1.0, "normal", "pieces_not_positive"),
        (50, "ii", 1.0, "normal", "level_unknown"),
        (50, "", 1.0, "normal", "level_unknown"),
        (50, "II", 1.1, "normal", "aql_unknown"),
        (50, "II", 0, "normal", "aql_unknown"),
        (50, "II", 0.0651, "normal", "aql_unknown"),
        (50, "II", 15, "normal", "aql_unknown"),
        (50, "II", 1.0, "severe", "severity_unknown"),
    ],
)
def test_what_the_tables_do_not_have_is_refused(lot, level, aql, severity, code):
    with pytest.raises(Refused) as error:
        plan_for(lot, level, aql, severity=severity)
    assert error.value.code == code


@pytest.mark.parametrize("aql", [float("nan"), float("inf"), Decimal("NaN"), "1/0"])
def test_an_aql_that_is_no_figure_is_refused(aql):
    with pytest.raises(CodeError) as error:
        plan_for(50, "II", aql)
    assert error.value.code == "figure_unreadable"


@given(LOTS, LEVEL, AQLS, SEVERITY)
def test_a_sample_is_never_larger_than_its_lot(lot, level, aql, severity):
    plan = plan_for(lot, level, aql, severity=severity)
    assert 1 <= plan.sample_size <= lot
    assert 0 <= plan.accept < plan.reject <= plan.sample_size
    assert severity == "reduced" or plan.reject == plan.accept + 1
    assert plan.whole_lot is (plan.sample_size == lot)


@given(LOTS, LEVEL, AQLS, SEVERITY)
def test_arrows_end_and_never_turn_round(lot, level, aql, severity):
    plan = plan_for(lot, level, aql, severity=severity)
    assert len(set(plan.arrows)) <= 1
    step = LETTERS.index(plan.letter) - LETTERS.index(plan.first_letter)
    assert abs(step) == len(plan.arrows)
    assert plan.arrows == (("down",) if step > 0 else ("up",)) * abs(step)


# A diagonal of Table II keeps its two numbers: the structure of the table.
@given(st.integers(0, 14), st.integers(1, 11), SEVERITY)
def test_one_letter_down_is_one_aql_to_the_left(row, column, severity):
    here = tables.cell(severity, row, column)
    if (row, column) == (0, 11):  # The one cell that is off its diagonal.
        assert here == "down"
    else:
        assert here == tables.cell(severity, row + 1, column - 1)


@given(LOTS, LEVEL, AQLS)
def test_tightened_inspection_never_accepts_more(lot, level, aql):
    normal = sampling.plan_for(lot, level, aql)
    tightened = sampling.plan_for(lot, level, aql, severity="tightened")
    for bad_percent in (1, 5, 20):
        share = Fraction(bad_percent, 100)
        assert sampling.acceptance(tightened, share) <= sampling.acceptance(
            normal, share
        )


def test_all_pieces_by_rule_is_a_plan_without_letter_and_aql():
    plan = sampling.all_pieces(480)
    assert (plan.sample_size, plan.accept, plan.reject) == (480, 0, 1)
    assert plan.whole_lot
    assert plan.letter == plan.level == ""
    assert plan.aql_percent is None
    with pytest.raises(Refused) as error:
        sampling.all_pieces(0)
    assert error.value.code == "pieces_not_positive"


# The same table stands in the data twice, wide as printed and long as resolved.
def test_the_wide_transcription_agrees_with_the_long_one():
    for row in rows("table-2a-single-normal"):
        for (letter, aql), cell in CELLS["normal"].items():
            if letter == row["code_letter"]:
                assert row[aql] == cell["printed_cell"], (letter, aql)
