"""Rows of a lots file, good and bad."""

from __future__ import annotations

import datetime as dt

import pytest

from kitting.domain.intakefile import MAX_BAGS, MadeFrom, Row, by_lot, read
from kitting.domain.sheets import MAX_ROWS
from tests.kitting.domain.lots_files import GOOD, HEAD, faults, one_row, rows_of


def test_every_column_is_read_in_any_order_and_case():
    text = (
        "CLOSE;Part;Lot;revision;Method;Made on;Source;Source number;Use by;Bags;"
        "Pieces per bag;Counts;Container;Place;Made from;Amount\n"
        "yes;VISOR;v-3/a;R2;M 4;01.03.2026;Bench 4;2026/117;01.03.2028;3;50;;pack;"
        "Shelf 2;pet-17:300; PETG-18\n"
    )
    # The semicolon in "made from" is the separator: spreadsheets quote such a cell.
    quoted = text.replace("pet-17:300; PETG-18", '"pet-17:300; PETG-18:20"')
    assert rows_of(quoted) == [
        Row(
            line=2,
            lot="V-3/A",
            part="VISOR",
            revision="R2",
            method="M 4",
            made_on=dt.date(2026, 3, 1),
            source="Bench 4",
            source_number="2026/117",
            use_by=dt.date(2028, 3, 1),
            counts=(50, 50, 50),
            container="pack",
            place="Shelf 2",
            made_from=(MadeFrom("PET-17", 300), MadeFrom("PETG-18", 20)),
            close=True,
        )
    ]


def test_what_a_row_leaves_blank_is_empty():
    row = rows_of("part,revision,made_on,counts\nHEADBAND,R3,2026-03-01,40\n")[0]
    assert (row.lot, row.method, row.use_by, row.made_from, row.close) == (
        "",
        "",
        None,
        (),
        False,
    )


def test_a_named_order_settles_dates_with_slashes():
    text = f"{HEAD}\nHB-7,HEADBAND,R3,01/03/2026,5\n"
    assert read(text, date_order="dmy").rows[0].made_on == dt.date(2026, 3, 1)
    assert read(text, date_order="mdy").rows[0].made_on == dt.date(2026, 1, 3)
    late = read(text.replace("01/03", "01/25"), date_order="dmy")
    assert faults(late) == [(2, "made on", "01/25/2026", "date_not_real")]


def test_use_by_is_not_before_made_on():
    assert faults(one_row(use_by="2026-02-28")) == [
        (2, "use by", "2026-02-28", "use_by_before_made_on")
    ]
    assert one_row(use_by="2026-03-01").rows[0].use_by == dt.date(2026, 3, 1)


@pytest.mark.parametrize(
    ("named", "found"),
    [
        ({"counts": ""}, [("", "quantity_missing")]),
        ({"counts": "", "bags": "", "pieces_per_bag": ""}, [("", "quantity_missing")]),
        ({"bags": "1", "pieces_per_bag": "100"}, [("counts", "quantity_twice")]),
        (
            {"counts": "", "bags": "3", "pieces_per_bag": ""},
            [("pieces per bag", "value_missing")],
        ),
        (
            {"counts": "", "bags": "", "pieces_per_bag": "5"},
            [("bags", "value_missing")],
        ),
        (
            {"counts": "", "bags": str(MAX_BAGS + 1), "pieces_per_bag": "5"},
            [("bags", "too_many_bags")],
        ),
    ],
)
def test_a_row_says_its_quantity_once(named, found):
    table = one_row(**named)
    assert [(one.column, one.code) for one in table.problems] == found
    assert table.rows == []


def test_a_file_of_too_many_bags_is_told_so_once():
    many = f"lot,part,revision,made on,bags,pieces per bag\n{'X,P,R,2026-03-01,60000,1' + chr(10)}"
    table = read(many + "X,P,R,2026-03-01,60000,1\n" * 2)
    assert faults(table) == [(3, "", "", "too_many_bags")]


def test_a_file_of_too_many_rows_is_told_so_once():
    table = read(f"{HEAD}\n" + f"{GOOD}\n" * (MAX_ROWS + 2))
    assert (MAX_ROWS + 2, "", "", "too_many_rows") in faults(table)
    assert len(table.texts) == MAX_ROWS


@pytest.mark.parametrize(
    ("named", "origins"),
    [
        ({"made_from": "PETG-17:300; petg-18 : 20"}, {"PETG-17": 300, "PETG-18": 20}),
        ({"made_from": "PETG-17:1 250;"}, {"PETG-17": 1250}),
        ({"made_from": "PETG-17", "amount": "300,0"}, {"PETG-17": 300}),
    ],
)
def test_what_a_lot_was_made_from_is_read(named, origins):
    table = one_row(**named)
    assert {one.lot: one.amount for one in table.rows[0].made_from} == origins


def test_waste_of_several_lots_is_read_for_each():
    table = one_row(made_from="A:10; B:20", waste="b:5; A:9")
    assert table.problems == []
    assert {one.lot: one.amount for one in table.rows[0].waste} == {"A": 9, "B": 5}


@pytest.mark.parametrize(
    ("named", "found"),
    [
        ({"made_from": "PETG-17"}, [("made from", "amount_missing")]),
        ({"made_from": "A:1; B"}, [("made from", "amount_missing")]),
        ({"made_from": "A:1", "amount": "2"}, [("amount", "amount_twice")]),
        ({"made_from": "A; B", "amount": "2"}, [("amount", "amount_twice")]),
        ({"amount": "2"}, [("made from", "made_from_missing")]),
        ({"made_from": "A", "amount": "x"}, [("amount", "number_unreadable")]),
        ({"made_from": "A:x"}, [("made from", "number_unreadable")]),
        ({"made_from": "A:1; A:2"}, [("made from", "made_from_twice")]),
        ({"made_from": "A:9", "waste": "A:1; A:2"}, [("waste", "made_from_twice")]),
        ({"made_from": "hb-7:1"}, [("made from", "made_from_itself")]),
        ({"made_from": "PETG_17:1"}, [("made from", "lot_number_malformed")]),
        (
            {"made_from": "PETG_17", "amount": "5"},
            [("made from", "lot_number_malformed")],
        ),
    ],
)
def test_what_a_lot_was_made_from_needs_a_lot_and_one_amount(named, found):
    table = one_row(**named)
    assert [(one.column, one.code) for one in table.problems] == found
    assert table.rows == []


@pytest.mark.parametrize(
    ("cell", "close"),
    [("yes", True), ("X", True), ("1", True), ("", False), ("No", False)],
)
def test_close_is_yes_or_no(cell, close):
    assert one_row(close=cell).rows[0].close is close


@pytest.mark.parametrize(
    ("named", "found"),
    [
        ({"close": "later"}, (2, "close", "later", "yes_no_unclear")),
        ({"lot": "HB 7"}, (2, "lot", "HB 7", "lot_number_malformed")),
        ({"part": ""}, (2, "part", "", "value_missing")),
        (
            {"source": "a\u202eb"},
            (2, "source", "a\ufffdb", "character_unprintable"),
        ),
        ({"source": "s" * 201}, (2, "source", "s" * 60 + "…", "cell_too_long")),
    ],
)
def test_a_bad_cell_is_named_with_what_it_holds(named, found):
    assert faults(one_row(**named)) == [found]


def test_every_bad_cell_of_every_row_is_reported():
    text = (
        "lot;part;revision;made on;use by;bags;pieces per bag;close\n"
        "HB_7;;R3;01/03/2026;31.02.2027;x;1,250;perhaps\n"
        "\n"
        "HB-8;HEADBAND;R3;2026-03-01;;2;50;\n"
        ";HEADBAND;;2026-03-01;;;;\n"
    )
    table = read(text)
    assert faults(table) == [
        (2, "lot", "HB_7", "lot_number_malformed"),
        (2, "made on", "01/03/2026", "date_order_unclear"),
        (2, "use by", "31.02.2027", "date_not_real"),
        (2, "part", "", "value_missing"),
        (2, "bags", "x", "number_unreadable"),
        (2, "pieces per bag", "1,250", "number_ambiguous"),
        (2, "close", "perhaps", "yes_no_unclear"),
        (5, "revision", "", "value_missing"),
        (5, "", "", "quantity_missing"),
    ]
    assert [row.lot for row in table.rows] == ["HB-8"]
    # Names of faulty rows can still be looked up.
    assert [(line, texts["part"]) for line, texts in table.texts] == [
        (2, ""),
        (4, "HEADBAND"),
        (5, "HEADBAND"),
    ]


def test_a_problem_carries_what_its_sentence_needs():
    error = one_row(lot="HB 7").problems[0].as_error()
    assert error.code == "lot_number_malformed"
    assert error.params == {"line": 2, "column": "lot", "value": "HB 7", "text": "HB 7"}


def test_rows_of_one_lot_come_together_and_may_differ_about_bags_only():
    text = (
        "lot,part,revision,made on,counts,place,made from,amount,close\n"
        "hb-7,HEADBAND,R3,2026-03-01,100,A,P-1:5; P-2:6,,\n"
        ",VISOR,R1,2026-03-01,10,A,,,\n"
        "HB-7,HEADBAND,R3,01.03.2026,40,B,P-2:6;P-1:5,,yes\n"
        ",VISOR,R1,2026-03-01,10,A,P-1,5,\n"
        "HB-8,HEADBAND,R3,2026-03-01,100,A,P-1,5,\n"
        "HB-8,HEADBAND,R3,2026-03-01,100,A,P-1:5,,\n"
    )
    groups = by_lot(rows_of(text))
    assert [[row.line for row in group] for group in groups] == [
        [2, 4],
        [3],
        [5],
        [6, 7],
    ]


def test_rows_of_one_lot_that_differ_are_refused_with_every_difference():
    text = (
        "lot,part,revision,method,made on,source,source number,use by,made from,counts\n"
        "X-1,P,R,M,2026-03-01,S,1,2027-03-01,A:1,5\n"
        "X-1,Q,S,N,2026-03-02,T,2,,A:2,5\n"
        "X-2,P,R,M,,S,1,2027-03-01,A:1,5\n"
        "X-2,P,S,M,2026-03-02,S,1,2027-03-01,A:1,5\n"
    )
    table = read(text)
    second = [one for one in table.problems if one.line == 3]
    assert {one.code for one in second} == {"lot_rows_differ"}
    assert [one.column for one in second] == [
        "part",
        "revision",
        "method",
        "made on",
        "source",
        "source number",
        "use by",
        "made from",
    ]
    assert second[0].params == {"first_line": 2, "first_value": "P"}
    assert second[0].value == "Q"
    # A cell that could not be read is compared with nothing; the others still are.
    assert [(one.line, one.column, one.code) for one in table.problems[8:]] == [
        (4, "made on", "value_missing"),
        (5, "revision", "lot_rows_differ"),
    ]
    assert [row.line for row in table.rows] == [2]
