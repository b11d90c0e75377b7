"""Tables as files: the CSV read by Python's own reader, the XLSX by its own XML.

Starts of a text that a spreadsheet runs: the OWASP page on CSV injection names =, +,
-, @, tab, carriage return, line feed and their full-width forms. CSV: RFC 4180.
"""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import UTC, date, datetime
from xml.etree import ElementTree

import pytest
from django.test import RequestFactory

from kitting.web.tables import (
    Column,
    csv_lines,
    csv_response,
    file_response,
    safe,
    write_xlsx,
)

COLUMNS = [
    Column("lot", lambda row: row[0]),
    Column("pieces", lambda row: row[1]),
    Column("made on", lambda row: row[2]),
]
ROWS = [
    ("=1+1", -5, date(2026, 1, 14)),
    ("00123", 7, None),
    ('A "b", c', 0, datetime(2026, 1, 14, 9, 30, tzinfo=UTC)),
]
SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


@pytest.mark.parametrize(
    "start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"]
)
def test_a_text_that_would_run_is_marked_as_text(start: str) -> None:
    assert safe(f"{start}cmd") == f"'{start}cmd"


def test_a_negative_number_stays_a_number() -> None:
    assert safe(-5) == -5


def test_the_csv_is_read_back_as_it_was_shown() -> None:
    text = "".join(csv_lines(COLUMNS, ROWS))
    assert text.startswith("\ufeff")
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
    assert rows == [
        ["lot", "pieces", "made on"],
        ["'=1+1", "-5", "2026-01-14"],
        ["00123", "7", ""],
        ['A "b", c', "0", "2026-01-14 09:30"],
    ]


def test_a_long_csv_comes_in_pieces() -> None:
    pieces = list(csv_lines(COLUMNS, [("A", 1, None)] * 1200))
    assert len(pieces) == 3
    assert "".join(pieces).count("\r\n") == 1201


def test_the_csv_is_named_and_typed() -> None:
    response = csv_response("lots", COLUMNS, ROWS)
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert response["Content-Disposition"] == 'attachment; filename="lots.csv"'


def test_the_xlsx_keeps_text_as_text_and_numbers_as_numbers() -> None:
    content = io.BytesIO()
    write_xlsx(content, COLUMNS, ROWS)
    with zipfile.ZipFile(content) as book:
        sheet = ElementTree.fromstring(book.read("xl/worksheets/sheet1.xml"))  # noqa: S314 -- ours
    cells = {cell.get("r"): cell for cell in sheet.iter(f"{SHEET}c")}
    assert not list(sheet.iter(f"{SHEET}f"))  # no cell holds a formula
    assert cells["A2"].get("t") == cells["A3"].get("t") == "inlineStr"
    assert "".join(cells["A2"].itertext()) == "=1+1"
    assert "".join(cells["A3"].itertext()) == "00123"
    assert cells["B2"].get("t") is None
    assert cells["B2"].findtext(f"{SHEET}v") == "-5"
    # 2026-01-14 is day 46036 from 1899-12-30, the spreadsheets' day 0.
    assert cells["C2"].findtext(f"{SHEET}v") == "46036"
    assert "C3" not in cells
    assert float(cells["C4"].findtext(f"{SHEET}v") or 0) == pytest.approx(
        46036 + 9.5 / 24
    )


def test_another_word_asks_for_the_page() -> None:
    asked = {kind: RequestFactory().get("/", {"as": kind}) for kind in ("pdf", "csv")}
    assert file_response(asked["pdf"], "lots", COLUMNS, ROWS) is None
    assert file_response(asked["csv"], "lots", COLUMNS, ROWS) is not None
    assert file_response(RequestFactory().get("/"), "lots", COLUMNS, ROWS) is None


def test_a_column_may_name_where_its_value_stands() -> None:
    rows = [date(2026, 3, 1)]
    columns = [Column("year", "year"), Column("type", "__class__.__name__")]
    lines = "".join(csv_lines(columns, rows)).splitlines()
    assert lines[1:] == ["2026,date"]
