"""Whole lots files as spreadsheets save them, and files that are none.

The forms come from common practice: what spreadsheet programs save as CSV or as
"Unicode text" under European and American settings; the csv module writes for us.
"""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitting.domain import delimited
from kitting.domain.intakefile import HEADINGS, read
from tests.kitting.domain.lots_files import GOOD, HEAD, faults, one_row, rows_of

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
        (b"PK\x03\x04rest of a workbook", 1, "workbook_broken"),
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


def test_ten_thousand_rows_are_read_whole():
    row = (
        "L-{},HEADBAND,R3,M2,2026-03-01,B,S,2028-03-01,,,100+100+40,hand,tote,A,"
        "P-1:3,,,no,\n"
    )
    text = ",".join(HEADINGS) + "\n"
    data = (text + "".join(row.format(n) for n in range(10_000))).encode()
    table = read(data)
    assert (len(table.rows), table.problems) == (10_000, [])


def test_the_heading_decides_the_separator_not_the_rows():
    # More commas than semicolons below, and commas inside the heading's own quotes.
    text = 'part;revision;made on;counts;"source"\nV;R;2026-03-01;5;"a,b,c,d,e,f,g"\n'
    assert delimited.separator_of(text, HEADINGS.__contains__) == ";"
    assert rows_of(text)[0].source == "a,b,c,d,e,f,g"
    # Five commas in an unknown heading make more cells, but none that is known.
    assert (
        delimited.separator_of("part;bags;a,b,c,d,e,f\n", HEADINGS.__contains__) == ";"
    )
