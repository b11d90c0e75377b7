"""The cells of a workbook's first sheet (XLSX), as the texts that stand in them.

Only values are read: of a formula the value that was last stored, and nothing is run or
fetched. What is unpacked is bounded while it is unpacked, whatever the file says of its
sizes, and a document type, by which XML names entities, is refused.

References:
    ECMA-376 part 1, 18.3 (sheets), 18.4 (shared strings), 18.8.30 (formats of numbers),
    18.17.4 (dates as numbers).
"""

from __future__ import annotations

import io
import itertools
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Final
from xml.parsers import expat

from kitting.domain.delimited import Problem
from kitting.domain.errors import CodeError

STARTS: Final = b"PK\x03\x04"
"""How a packed file begins."""
MOST_UNPACKED: Final = 64 * 1024 * 1024
"""Bytes of one part of the workbook; ten thousand rows take about ten megabytes."""
MOST_ELEMENTS: Final = 2_500_000
"""Elements of one part; fifty thousand rows have about two million."""
MOST_CELLS: Final = 1_000
"""Cells of a row; what stands further right counts as one more."""

_PIECE: Final = 1 << 16
_PACKINGS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAYS: Final = frozenset(
    {*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)}
)
"""Numbers of the formats for days and times that every workbook has."""
_LITERAL: Final = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]|_.')
_BEGAN = datetime(1899, 12, 30, tzinfo=UTC)
_BEGAN_1904 = datetime(1904, 1, 1, tzinfo=UTC)

Attributes = dict[str, str]


def records(data: bytes, problems: list[Problem]) -> Iterator[tuple[int, list[str]]]:
    """Give the rows that are not blank.

    Args:
        data: The file.
        problems: Where a cell is noted whose value cannot be read.

    Yields:
        The row's number on the sheet, and its cells.

    Raises:
        CodeError: ``workbook_broken``, ``workbook_locked``, ``workbook_none``,
            ``workbook_too_large``.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            yield from _Book(archive).rows(problems)
    except (
        *(zipfile.BadZipFile, zlib.error, expat.ExpatError, NotImplementedError),
        *(EOFError, LookupError, OverflowError, UnicodeError, ValueError),
    ) as error:
        raise CodeError("workbook_broken") from error


class _Book:
    """A workbook: which part is its first sheet, its texts, which formats are days."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        if "xl/workbook.xml" not in archive.namelist():
            raise CodeError("workbook_none")
        head = _Head()
        self._read("xl/workbook.xml", head.start)
        self.began = _BEGAN_1904 if head.from_1904 else _BEGAN
        links = _Links()
        self._read("xl/_rels/workbook.xml.rels", links.start)
        self.sheet = links.part(head.sheet)
        self.texts = _Texts()
        if "xl/sharedStrings.xml" in archive.namelist():
            self._read("xl/sharedStrings.xml", *self.texts.handlers)
        self.formats = _Formats()
        if "xl/styles.xml" in archive.namelist():
            self._read("xl/styles.xml", self.formats.start)

    def rows(self, problems: list[Problem]) -> Iterator[tuple[int, list[str]]]:
        sheet = _Sheet(self, problems)
        for _piece in self._pieces(self.sheet, *sheet.handlers):
            yield from sheet.done
            sheet.done.clear()

    def _read(self, name: str, *handlers: Callable[..., None]) -> None:
        for _piece in self._pieces(name, *handlers):
            pass

    def _pieces(
        self,
        name: str,
        start: Callable[[str, Attributes], None],
        end: Callable[[str], None] | None = None,
        text: Callable[[str], None] | None = None,
    ) -> Iterator[None]:
        """Unpack and read one part, piece by piece."""
        info = self.archive.getinfo(name)
        if info.flag_bits & 1:
            raise CodeError("workbook_locked")
        if info.compress_type not in _PACKINGS:
            raise CodeError("workbook_broken")
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = _refuse_entities
        elements = itertools.count(1)

        def started(tag: str, given: Attributes) -> None:
            if next(elements) > MOST_ELEMENTS:
                raise CodeError("workbook_too_large")
            start(_bare(tag), given)

        parser.StartElementHandler = started
        if end is not None:
            parser.EndElementHandler = lambda tag: end(_bare(tag))
        if text is not None:
            parser.CharacterDataHandler = text
        unpacked = 0
        with self.archive.open(info) as part:
            while piece := part.read(_PIECE):
                unpacked += len(piece)
                if unpacked > MOST_UNPACKED:
                    raise CodeError("workbook_too_large")
                parser.Parse(piece, False)  # noqa: FBT003 -- takes no names
                yield
        parser.Parse(b"", True)  # noqa: FBT003
        yield


def _refuse_entities(*_said: object) -> None:
    raise CodeError("workbook_broken")


def _bare(name: str) -> str:
    """A name without its namespace."""
    return name.rpartition(" ")[2]


def _named(given: Attributes, name: str) -> str:
    return next((value for key, value in given.items() if _bare(key) == name), "")


@dataclass
class _Head:
    """What the workbook says of itself: its first sheet, and where days begin."""

    sheet: str = ""
    from_1904: bool = False

    def start(self, tag: str, given: Attributes) -> None:
        if tag == "workbookPr":
            self.from_1904 = given.get("date1904") in ("1", "true")
        elif tag == "sheet" and not self.sheet:
            links = [value for key, value in given.items() if key.endswith(" id")]
            self.sheet = links[0] if links else ""


@dataclass
class _Links:
    """Which part of the file a link of the workbook means."""

    parts: dict[str, str] = field(default_factory=dict)

    def start(self, tag: str, given: Attributes) -> None:
        if tag == "Relationship":
            self.parts[_named(given, "Id")] = _named(given, "Target")

    def part(self, link: str) -> str:
        to = self.parts[link]
        return to.lstrip("/") if to.startswith("/") else f"xl/{to}"


class _Texts:
    """Texts that cells share, without what only tells how to say them."""

    def __init__(self) -> None:
        self.found: list[str] = []
        self.handlers = (self.start, self.end, self.text)
        self._parts: list[str] = []
        self._in_text = self._spoken = False

    def start(self, tag: str, _given: Attributes) -> None:
        if tag == "si":
            self._parts = []
        self._spoken = self._spoken or tag == "rPh"
        self._in_text = tag == "t" and not self._spoken

    def end(self, tag: str) -> None:
        self._in_text = False
        if tag == "rPh":
            self._spoken = False
        elif tag == "si":
            self.found.append("".join(self._parts))

    def text(self, text: str) -> None:
        if self._in_text:
            self._parts.append(text)


class _Formats:
    """Which styles of cells show a number as a day."""

    def __init__(self) -> None:
        self.days: list[bool] = []
        self._own: dict[str, bool] = {}
        self._in_styles = False

    def start(self, tag: str, given: Attributes) -> None:
        if tag == "numFmt":
            code = _LITERAL.sub("", given.get("formatCode", "")).casefold()
            self._own[given.get("numFmtId", "")] = bool(re.search("[dmyhs]", code))
        elif tag in ("cellXfs", "cellStyleXfs"):
            self._in_styles = tag == "cellXfs"
        elif tag == "xf" and self._in_styles:
            number = given.get("numFmtId", "0")
            self.days.append(self._own.get(number, int(number) in _DAYS))

    def is_day(self, style: str) -> bool:
        at = int(style or 0)
        return at < len(self.days) and self.days[at]


class _Sheet:
    """The rows of a sheet while it is read."""

    def __init__(self, book: _Book, problems: list[Problem]) -> None:
        self.book = book
        self.problems = problems
        self.done: list[tuple[int, list[str]]] = []
        self.handlers = (self.start, self.end, self.text)
        self._line = 0
        self._cells: list[str] = []
        self._at = -1
        self._given: Attributes = {}
        self._value: list[str] | None = None
        self._parts: list[str] = []
        self._formula = self._spoken = False

    def start(self, tag: str, given: Attributes) -> None:
        if tag == "row":
            self._line = int(given.get("r", self._line + 1))
            self._cells, self._at = [], -1
        elif tag == "c":
            self._given, self._value, self._formula = given, None, False
            self._at = min(_column(given.get("r", ""), self._at + 1), MOST_CELLS)
        elif tag == "f":
            self._formula = True
        elif tag == "rPh":
            self._spoken = True
        self._parts = []
        if tag == "v" or (tag == "t" and not self._spoken):
            self._value = self._value or []
            self._parts = self._value

    def text(self, text: str) -> None:
        self._parts.append(text)

    def end(self, tag: str) -> None:
        self._parts = []
        if tag == "rPh":
            self._spoken = False
        elif tag == "c":
            self._put(self._read())
        elif tag == "row" and any(cell.strip() for cell in self._cells):
            self.done.append((self._line, self._cells))

    def _put(self, text: str) -> None:
        if text:
            self._cells += [""] * (self._at + 1 - len(self._cells))
            self._cells[self._at] = text

    def _read(self) -> str:
        kind, text = self._given.get("t", "n"), "".join(self._value or [])
        if kind == "e" or (self._formula and self._value is None):
            code = "cell_error" if kind == "e" else "cell_not_worked_out"
            at = self._given.get("r", "")
            self.problems.append(Problem(self._line, at, text[:60], code))
            return ""
        if kind == "s":
            return self.book.texts.found[int(text)] if text else ""
        if kind == "b":
            return "yes" if text == "1" else "no"
        if kind != "n" or not text:
            return text
        if self.book.formats.is_day(self._given.get("s", "")):
            return _day(self.book.began, float(text))
        return _plain(float(text))


def _column(at: str, following: int) -> int:
    """Which column a cell is in, from 0, by the letters of its address."""
    letters = at.rstrip("0123456789").upper()
    if not letters:
        return following
    column = 0
    for letter in letters[:4]:
        column = column * 26 + ord(letter) - ord("A") + 1
    return max(column - 1, 0)


def _day(began: datetime, days: float) -> str:
    """Write a day that is kept as a number; the time with it, if there is one."""
    moment = began + timedelta(seconds=round(days * 86_400))
    return f"{moment:%Y-%m-%d}" if days == int(days) else f"{moment:%Y-%m-%d %H:%M}"


def _plain(number: float) -> str:
    """Write a number as spreadsheets show it: fifteen digits, no power of ten."""
    rounded = float(f"{number:.15g}")
    if rounded == int(rounded):
        return str(int(rounded))
    return f"{rounded:.15f}".rstrip("0")
