"""Lots files as spreadsheets write them, good and bad.

The forms come from common practice: what spreadsheet programs save as CSV or as
"Unicode text" under European and American settings.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitting.domain import delimited
from kitting.domain.intakefile import (
    HEADINGS,
    MAX_BAGS,
    MAX_ROWS,
    MadeFrom,
    Row,
    Table,
    by_lot,
    read,
)

HEAD = "lot,part,revision,made on,counts"
GOOD = "HB-7,HEADBAND,R3,2026-03-01,100+100+40"


def faults(table: Table) -> list[tuple[int, str, str, str]]:
    return [(one.line, one.column, one.value, one.code) for one in table.problems]


def rows_of(data: bytes | str) -> list[Row]:
    table = read(data)
    assert faults(table) == []
    return table.rows


def one_row(**named: str) -> Table:
    """Read a file of one row; an underscore in a name stands for the blank."""
    row = {"lot": "HB-7", "part": "HEADBAND", "revision": "R3"}
    row |= {"made on": "2026-03-01", "counts": "100"}
    row |= {name.replace("_", " "): value for name, value in named.items()}
    out = io.StringIO()
    csv.writer(out).writerows([row.keys(), row.values()])
    return read(out.getvalue())


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


ENCODINGS = [
    ("utf-8", b""),
    ("utf-8", b"\xef\xbb\xbf"),
    ("utf-16-le", b"\xff\xfe"),
    ("utf-16-be", b"\xfe\xff"),
    ("cp1252", b""),
]


@pytest.mark.parametrize(("encoding", "mark"), ENCODINGS)
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_a_file_reads_alike_however_it_was_saved(encoding, mark, separator, line_end):
    lines = [HEAD + ",source", "", GOOD + ",Bücher “Süd”", GOOD + ",Bücher “Süd”", ""]
    text = line_end.join(lines).replace(",", separator)
    rows = rows_of(mark + text.encode(encoding))
    assert [row.line for row in rows] == [3, 4]
    assert {row.source for row in rows} == {"Bücher “Süd”"}
    assert {row.counts for row in rows} == {(100, 100, 40)}


CELL = st.text(
    st.characters(exclude_categories=["C", "Z"], exclude_characters="\r\n"),
    min_size=1,
    max_size=8,
)


@given(
    sources=st.lists(st.lists(CELL, min_size=1, max_size=3), max_size=5),
    separator=st.sampled_from(",;\t"),
    blank_lines=st.integers(0, 3),
)
def test_what_a_csv_writer_wrote_is_read_back(sources, separator, blank_lines):
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator)
    writer.writerow(["source", "part", "revision", "made on", "counts"])
    out.write("\r\n" * blank_lines)
    for source in sources:
        # Line ends within the quoted cell: each is one physical line more.
        writer.writerow(["\n".join(source), "VISOR", "R1", "2026-03-01", "5"])
    rows = rows_of(out.getvalue().encode())
    assert [row.source for row in rows] == [" ".join(source) for source in sources]
    lines = [2 + blank_lines]
    for source in sources:
        lines.append(lines[-1] + len(source))
    assert [row.line for row in rows] == lines[:-1]


def test_blanks_of_all_kinds_around_a_cell_do_not_matter():
    table = one_row(
        part="\u00a0HEADBAND \u202f", source=" Bench\u00a0\u00a04\t", lot="\ufeffhb-7 "
    )
    assert faults(table) == []
    assert (table.rows[0].part, table.rows[0].source) == ("HEADBAND", "Bench 4")
    assert table.rows[0].lot == "HB-7"


def test_rows_may_leave_blank_cells_at_the_end_away():
    row = rows_of(f"{HEAD},place,close\n{GOOD}\n")[0]
    assert (row.place, row.close) == ("", False)


def test_blank_columns_at_the_end_do_not_matter():
    assert len(rows_of(f"{HEAD},,\n{GOOD},,\n{GOOD},,,,\n")) == 2


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", [(1, "", "", "file_empty")]),
        ("\n \n\n", [(1, "", "", "file_empty")]),
        (
            f"{HEAD},colour,Lot\n{GOOD},red,X\n",
            [
                (1, "colour", "colour", "heading_unknown"),
                (1, "lot", "lot", "heading_twice"),
            ],
        ),
        (
            "\nlot,part,bags\nHB-7,HEADBAND,3\n",
            [
                (2, "revision", "", "heading_missing"),
                (2, "made on", "", "heading_missing"),
                (2, "pieces per bag", "", "heading_missing"),
                (3, "pieces per bag", "", "value_missing"),
            ],
        ),
        (
            "what\nis this\n",
            [
                (1, "what", "what", "heading_unknown"),
                *(
                    (1, name, "", "heading_missing")
                    for name in ("part", "revision", "made on", "bags")
                ),
                (1, "pieces per bag", "", "heading_missing"),
            ],
        ),
        (f"{HEAD}\n{GOOD},,7,8\n", [(2, "", "7", "cells_too_many")]),
        (f"{HEAD},\n{GOOD},7\n", [(2, "", "7", "heading_blank")]),
        (
            f'{HEAD}\n{GOOD}\n"HB"-7,HEADBAND\n{GOOD}\n',
            [(3, "", "", "quotes_broken")],
        ),
        (f'{HEAD}\n{GOOD}\n"HB-7,HEADBAND\n{GOOD}\n', [(3, "", "", "quotes_broken")]),
        ('"lot,part\n', [(1, "", "", "quotes_broken")]),
        (
            f"{HEAD}\n{GOOD}\x00\n",
            [(2, "counts", "100+100+40\ufffd", "character_unprintable")],
        ),
        (
            f"lot,part,revision,made on,counts,\x01\n{GOOD},\n",
            [(1, "\ufffd", "\ufffd", "heading_unknown")],
        ),
    ],
)
def test_a_file_of_the_wrong_shape_is_told_what_is_wrong(text, found):
    assert faults(read(text)) == found


@pytest.mark.parametrize(
    ("data", "line", "code"),
    [
        (b"PK\x03\x04rest of a workbook", 1, "file_not_text"),
        ("lot;part".encode("utf-16-le"), 1, "file_not_text"),
        (b"\xff\xfea", 1, "file_encoding_broken"),
        (b"\xef\xbb\xbflot\n\xff", 2, "file_encoding_broken"),
        # Windows-1252 has no character 81.
        (b"lot\n\n\x81", 3, "file_encoding_broken"),
    ],
)
def test_bytes_that_are_no_text_are_told_so(data, line, code):
    table = read(data)
    assert faults(table) == [(line, "", "", code)]
    assert table.rows == []


def test_a_named_order_settles_dates_with_strokes():
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


FRAGMENTS = st.sampled_from(
    [
        *HEADINGS,
        *";,\t\n\r\"\x00:+ '",
        "\r\n",
        "\u00a0",
        "\ufeff",
        "\ud800",
        "2026-03-01",
        "01/03/2026",
        "31.02.2026",
        "100+40",
        "1 250",
        "1,250",
        "9" * 30,
        "PETG-17:300",
        "HB-7",
        "yes",
        "ß²٣",
    ]
)


@settings(max_examples=400)
@given(parts=st.lists(FRAGMENTS | st.text(max_size=3), max_size=60))
def test_no_text_breaks_the_reader(parts):
    text = ",".join(HEADINGS) + "\n" + "".join(parts)
    table = read(text, date_order="dmy")
    assert all(row.counts and row.part for row in table.rows)
    assert [one.line for one in table.problems] == sorted(
        one.line for one in table.problems
    )
    faulty = {one.line for one in table.problems}
    assert all(row.line not in faulty for row in table.rows)
    assert all(one.value.isprintable() for one in table.problems)
    # Each row is either a good one or has a fault of its own.
    good = {row.line for row in table.rows}
    assert {line for line, _ in table.texts} <= good | faulty


@settings(max_examples=400)
@given(
    data=st.binary(max_size=300)
    | st.builds(
        lambda mark, rest: mark + rest,
        st.sampled_from([b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"part;", b'"']),
        st.binary(max_size=80),
    )
)
def test_no_bytes_break_the_reader(data):
    table = read(data)
    assert table.problems
    assert table.rows == []


def test_a_cell_longer_than_the_csv_module_takes_is_a_problem():
    table = read(f'{HEAD}\n"{"x" * 200_000}",P,R,2026-03-01,5\n{GOOD}\n')
    assert (2, "", "", "quotes_broken") in faults(table)
    assert table.rows[-1].lot == "HB-7"


def test_ten_thousand_rows_are_read_in_under_two_seconds():
    row = (
        "L-{},HEADBAND,R3,M2,2026-03-01,B,S,2028-03-01,,,100+100+40,tote,A,P-1:3,,no\n"
    )
    text = ",".join(HEADINGS) + "\n"
    data = (text + "".join(row.format(n) for n in range(10_000))).encode()
    begun = time.process_time()
    table = read(data)
    assert time.process_time() - begun < 2
    assert (len(table.rows), table.problems) == (10_000, [])


def test_the_heading_decides_the_separator_not_the_rows():
    # More commas than semicolons below, and commas inside the heading's own quotes.
    text = 'part;revision;made on;counts;"source"\nV;R;2026-03-01;5;"a,b,c,d,e,f,g"\n'
    assert delimited.separator_of(text, HEADINGS) == ";"
    assert rows_of(text)[0].source == "a,b,c,d,e,f,g"
    # Five commas in an unknown heading make more cells, but none that is known.
    assert delimited.separator_of("part;bags;a,b,c,d,e,f\n", HEADINGS) == ";"
