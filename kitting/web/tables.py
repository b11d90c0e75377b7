"""Tables as files: CSV that is streamed, XLSX that is written row by row.

Both hold what the page shows, with the same headings, which stay English. Text in a
CSV that a spreadsheet would run as a formula is marked as text with an apostrophe; in
an XLSX text is stored as text, numbers of lots and boxes included.
"""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from operator import attrgetter
from typing import IO, Generic, TypeVar

import xlsxwriter
from django.db.models import QuerySet
from django.http import FileResponse, HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone

Row = TypeVar("Row")
Value = str | int | date | None

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""Starts of a text that spreadsheets run; full-width forms are run in some locales."""

BYTE_ORDER_MARK = "\ufeff"
"""Tells a spreadsheet that the file is UTF-8."""

ROWS_AT_A_TIME = 500


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column: its heading and how to get its value from a row."""

    heading: str
    value: str | Callable[[Row], Value]
    """Where it stands in a row, such as "place.code", or what makes it of one."""

    @property
    def read(self) -> Callable[[Row], Value]:
        """What gets the value from a row."""
        return attrgetter(self.value) if isinstance(self.value, str) else self.value


class _Echo:
    """A file that gives back what is written to it, for the csv writer."""

    def write(self, text: str) -> str:
        return text


def safe(value: Value, zone: tzinfo | None = None) -> str | int:
    """Write a value for a CSV; text that would run as a formula gets an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return timezone.localtime(value, zone).strftime("%Y-%m-%d %H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_STARTS) else value
    return int(value)


def csv_lines(
    columns: Sequence[Column[Row]], rows: Iterable[Row], zone: tzinfo | None = None
) -> Iterator[str]:
    """Give the lines of a CSV as in RFC 4180, in pieces of many rows."""
    writer = csv.writer(_Echo())
    readers = [column.read for column in columns]
    lines = [BYTE_ORDER_MARK, writer.writerow([c.heading for c in columns])]
    for row in rows:
        lines.append(writer.writerow([safe(read(row), zone) for read in readers]))
        if len(lines) >= ROWS_AT_A_TIME:
            yield "".join(lines)
            lines = []
    yield "".join(lines)


def csv_response(
    name: str, columns: Sequence[Column[Row]], rows: Iterable[Row]
) -> StreamingHttpResponse:
    """Answer with the rows as a CSV file that is sent while it is read."""
    zone = timezone.get_current_timezone()  # it is no longer in force by then
    response = StreamingHttpResponse(
        csv_lines(columns, rows, zone), content_type="text/csv; charset=utf-8"
    )
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return response


def write_xlsx(
    to: IO[bytes], columns: Sequence[Column[Row]], rows: Iterable[Row]
) -> None:
    """Write the rows as one sheet; text is text, whole numbers and days are such."""
    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_numbers": False,
        "strings_to_urls": False,
        "default_date_format": "yyyy-mm-dd",
    }
    with xlsxwriter.Workbook(to, options) as book:
        readers = [column.read for column in columns]
        moments = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet = book.add_worksheet()
        sheet.freeze_panes(1, 0)
        for at, column in enumerate(columns):
            sheet.set_column(at, at, max(12, len(column.heading) + 2))
            sheet.write_string(0, at, column.heading)
        for line, row in enumerate(rows, start=1):
            for at, read in enumerate(readers):
                value = read(row)
                if isinstance(value, str):
                    sheet.write_string(line, at, value)
                elif isinstance(value, datetime):
                    local = timezone.localtime(value).replace(tzinfo=None)
                    sheet.write_datetime(line, at, local, moments)
                elif isinstance(value, date):
                    sheet.write_datetime(line, at, value)
                elif value is not None:
                    sheet.write_number(line, at, value)


def xlsx_response(
    name: str, columns: Sequence[Column[Row]], rows: Iterable[Row]
) -> FileResponse:
    """Answer with the rows as an XLSX file, made on disk and removed when sent."""
    file = tempfile.TemporaryFile()  # noqa: SIM115 -- the response closes it
    write_xlsx(file, columns, rows)
    file.seek(0)
    return FileResponse(
        file,
        as_attachment=True,
        filename=f"{name}.xlsx",
        content_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    )


def file_response(
    request: HttpRequest, name: str, columns: Sequence[Column[Row]], rows: Iterable[Row]
) -> HttpResponseBase | None:
    """Answer ``?as=csv`` and ``?as=xlsx``; None for anything else: show the page."""
    answer = {"csv": csv_response, "xlsx": xlsx_response}.get(request.GET.get("as", ""))
    if answer is None:
        return None
    if isinstance(rows, QuerySet):
        rows = rows.iterator(chunk_size=ROWS_AT_A_TIME)
    return answer(name, columns, rows)
