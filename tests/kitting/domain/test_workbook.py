"""The first sheet of a workbook, read for its values, however hostile the file is.

Workbooks are written by XlsxWriter, which is none of ours; what it does not write is put
together after ECMA-376 part 1.
"""

from __future__ import annotations

import io
import tracemalloc
import zipfile
from collections.abc import Callable
from datetime import date, datetime

import pytest
import xlsxwriter

from kitting.domain import intakefile, workbook
from kitting.domain.delimited import Problem
from kitting.domain.errors import CodeError

pytestmark = pytest.mark.pure

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
BOOK = f"""<workbook xmlns="{MAIN}" xmlns:r="{LINKS}"><sheets>
<sheet name="Lots" sheetId="1" r:id="rId7"/></sheets></workbook>"""
RELS = (
    '<Relationships><Relationship Id="rId7" Target="worksheets/s.xml"/></Relationships>'
)


def packed(way: int = zipfile.ZIP_DEFLATED, **parts: str | bytes) -> bytes:
    """A workbook of these parts; ``sheet`` is what is inside its sheet."""
    names = {
        "book": ("xl/workbook.xml", BOOK),
        "rels": ("xl/_rels/workbook.xml.rels", RELS),
        "sheet": ("xl/worksheets/s.xml", f'<worksheet xmlns="{MAIN}"/>'),
        "texts": ("xl/sharedStrings.xml", f'<sst xmlns="{MAIN}"/>'),
    }
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", way) as archive:
        for key, (name, plain) in names.items():
            archive.writestr(name, parts.get(key, plain))
    return file.getvalue()


def sheet(rows: str) -> str:
    return f'<worksheet xmlns="{MAIN}"><sheetData>{rows}</sheetData></worksheet>'


def read(data: bytes) -> tuple[list[tuple[int, list[str]]], list[Problem]]:
    problems: list[Problem] = []
    return list(workbook.records(data, problems)), problems


def written(fill: Callable[..., None], **options: object) -> bytes:
    file = io.BytesIO()
    with xlsxwriter.Workbook(file, options) as book:
        fill(book, book.add_worksheet("Lots"))
    return file.getvalue()


# -- What stands in cells -----------------------------------------------------------


def test_values_of_every_kind_are_read_as_they_are_shown() -> None:
    def fill(book: xlsxwriter.Workbook, lots: object) -> None:
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        red = book.add_format({"num_format": '[Red]0 "days"'})
        lots.write_row(0, 0, ["HB-1", "Größe", 250, 0.1 + 0.2, True])  # type: ignore[attr-defined]
        lots.write_datetime(2, 1, date(2026, 3, 1), day)  # type: ignore[attr-defined]
        lots.write_datetime(2, 2, datetime(2026, 3, 1, 6, 30), day)  # type: ignore[attr-defined] # noqa: DTZ001
        lots.write_number(2, 3, 46_082, red)  # type: ignore[attr-defined]
        book.add_worksheet("Notes").write(0, 0, "not read")

    rows, problems = read(written(fill))
    assert rows == [
        (1, ["HB-1", "Größe", "250", "0.3", "yes"]),
        (3, ["", "2026-03-01", "2026-03-01 06:30", "46082"]),
    ]
    assert problems == []


def test_days_may_be_counted_from_1904() -> None:
    def fill(book: xlsxwriter.Workbook, lots: object) -> None:
        day = book.add_format({"num_format": 14})
        lots.write_datetime(0, 0, date(2026, 3, 1), day)  # type: ignore[attr-defined]

    assert read(written(fill, date_1904=True))[0] == [(1, ["2026-03-01"])]


def test_of_a_formula_the_stored_value_counts_and_nothing_is_run() -> None:
    rows = (
        '<row r="4"><c r="A4"><f>1+1</f><v>2</v></c><c r="B4"><f>NOW()</f></c>'
        '<c r="C4" t="e"><v>#REF!</v></c><c r="D4" t="str"><f>X()</f><v>yes</v></c></row>'
    )
    found, problems = read(packed(sheet=sheet(rows)))
    assert found == [(4, ["2", "", "", "yes"])]
    told = [(p.line, p.column, p.value, p.code) for p in problems]
    assert told == [
        (4, "B4", "", "cell_not_worked_out"),
        (4, "C4", "#REF!", "cell_error"),
    ]


def test_texts_with_pieces_and_how_they_are_said() -> None:
    texts = (
        f'<sst xmlns="{MAIN}"><si><t>東京</t><rPh><t>トウキョウ</t></rPh></si>'
        "<si><r><t>HB</t></r><r><t>-1</t></r></si></sst>"
    )
    rows = (
        '<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c>'
        '<c t="inlineStr"><is><t>東京</t><rPh><t>トウキョウ</t></rPh></is></c>'
        '<c t="inlineStr"><is><r><t>a</t></r><r><t>b</t></r></is></c></row>'
    )
    found, _ = read(packed(sheet=sheet(rows), texts=texts))
    assert found == [(1, ["東京", "HB-1", "東京", "ab"])]


def test_a_workbook_is_read_like_the_same_table_as_text() -> None:
    head = [
        "Charge",
        "Teil",
        "Revision",
        "hergestellt am",
        "Herkunft",
        "Zaehlungen",
        "Begründung",
    ]
    head[5] = "Zählungen"
    row = ["HB-1", "HB", "C", "2026-03-01", "Druckraum", "100+50", ""]

    def fill(_book: object, lots: object) -> None:
        lots.write_row(0, 0, head)  # type: ignore[attr-defined]
        lots.write_row(1, 0, row)  # type: ignore[attr-defined]

    as_text = intakefile.read(";".join(head) + "\n" + ";".join(row))
    as_book = intakefile.read(written(fill))
    assert as_book.rows == as_text.rows
    assert as_book.rows[0].counts == (100, 50)
    assert as_book.problems == as_text.problems == []
    assert as_book.words["made on"] == "hergestellt am"


# -- Files that mean harm -----------------------------------------------------------

LAUGHS = (
    f'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "{"&a;" * 99}">]>'
    f'<worksheet xmlns="{MAIN}"><sheetData><row><c><v>&b;</v></c></row></sheetData>'
    "</worksheet>"
)
FETCHES = (
    '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    f'<worksheet xmlns="{MAIN}"><sheetData><row><c t="str"><v>&a;</v></c></row>'
    "</sheetData></worksheet>"
)


def locked() -> bytes:
    """The sheet's own entry says that it is locked by a password."""
    data = bytearray(packed())
    at = data.rindex(b"xl/worksheets/s.xml") - 46  # the central directory's entry
    data[at + 8] |= 1
    return bytes(data)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (packed(sheet=LAUGHS), "workbook_broken"),
        (packed(sheet=FETCHES), "workbook_broken"),
        (packed(sheet=sheet("<row><c></row>")), "workbook_broken"),
        (packed(sheet=sheet('<row r="x"/>')), "workbook_broken"),
        (packed(sheet=sheet("<row><c><v>1e999</v></c></row>")), "workbook_broken"),
        (packed(sheet=sheet("<row><c><v>nan</v></c></row>")), "workbook_broken"),
        (packed(sheet=sheet('<row><c t="s"><v>9</v></c></row>')), "workbook_broken"),
        (packed(rels="<Relationships/>"), "workbook_broken"),
        (packed()[:-30], "workbook_broken"),
        (packed()[:200] + b"\0" * 90 + packed()[290:], "workbook_broken"),
        (packed(zipfile.ZIP_BZIP2), "workbook_broken"),
        (locked(), "workbook_locked"),
        (packed(sheet=sheet(" " * workbook.MOST_UNPACKED)), "workbook_too_large"),
    ],
)
def test_a_hostile_workbook_is_refused(data: bytes, code: str) -> None:
    with pytest.raises(CodeError) as caught:
        read(data)
    assert caught.value.code == code
    assert [p.code for p in intakefile.read(data).problems] == [code]


def test_a_sheet_of_too_many_elements_is_left_off(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(workbook, "MOST_ELEMENTS", 9)
    most = "<row/>" * 7  # within the sheet and its data
    assert read(packed(sheet=sheet(most))) == ([], [])
    with pytest.raises(CodeError, match="workbook_too_large"):
        read(packed(sheet=sheet(most + "<row/>")))


def test_another_packed_file_is_no_workbook() -> None:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("content.xml", "<x/>")
    with pytest.raises(CodeError, match="workbook_none"):
        read(file.getvalue())


def test_a_bomb_is_left_off_before_it_fills_the_memory() -> None:
    data = packed(texts=b"<sst>" + b"<t>" + b"x" * (200 * 1024 * 1024))
    assert len(data) < 300_000
    tracemalloc.start()
    try:
        with pytest.raises(CodeError, match="workbook_too_large"):
            read(data)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 1.2 * workbook.MOST_UNPACKED


def test_a_cell_far_to_the_right_makes_no_long_row() -> None:
    rows = '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    ((line, cells),) = read(packed(sheet=sheet(rows)))[0]
    assert (line, len(cells)) == (1_048_576, workbook.MOST_CELLS + 1)
