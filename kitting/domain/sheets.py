"""The rows of a table out of a spreadsheet, whatever it is about: headings and cells.

The first line that is not blank names the columns, in English, German or French, in any
order and case. It is the first sheet of a workbook (XLSX), or text whose separators are
semicolons, tabs or commas: UTF-8, UTF-16 with a byte order mark, or Windows-1252. Rows
may be shorter than the heading (spreadsheets leave blank cells at the end away); a longer
row is a problem.

Nothing here stops at the first fault, and nothing here raises for what is in a file.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, TypeVar

from kitting.domain import cells, workbook
from kitting.domain.delimited import Problem, decoded, heading, records, separator_of
from kitting.domain.errors import CodeError
from kitting.domain.shown import shown

T = TypeVar("T")

MAX_ROWS: Final = 50_000
_PASSED_OVER: Final = "?"


def _bare(text: str) -> str:
    """A text without accents, which not every keyboard has."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(each for each in apart if not unicodedata.combining(each))


class Headings:
    """The columns that a kind of file has.

    Args:
        translated: By language their words, in one order; "en" is how we name them.
        needed: Those that every file has, and every row a value in.
        told: Those that our own files have as well, and that are passed over.
    """

    def __init__(
        self,
        translated: Mapping[str, tuple[str, ...]],
        needed: tuple[str, ...],
        told: tuple[str, ...] = (),
    ) -> None:
        self.translated, self.needed, self.told = translated, needed, told
        self.names = translated["en"]
        self._known = {
            _bare(heading(word)): name
            for words in translated.values()
            for name, word in zip(self.names, words, strict=True)
        }

    def known(self, word: str) -> str:
        """Give the heading that a word means, or the word itself where it means none.

        Args:
            word: A heading as ``delimited.heading`` gives it.
        """
        return self._known.get(_bare(word), word)

    def is_known(self, word: str) -> bool:
        """Tell whether a word is a heading."""
        return self.known(word) in self.names


class RowReader:
    """The cells of one row, what was read from them, and what is wrong with them."""

    def __init__(
        self,
        line: int,
        raw: Mapping[str, str],
        needed: tuple[str, ...],
        problems: list[Problem],
    ) -> None:
        self.line = line
        self.needed = needed
        self.problems = problems
        self.texts: dict[str, str] = {}
        """Tidied cells by heading."""
        self.values: dict[str, object] = {}
        self.bad: set[str] = set()
        """Columns that are at fault."""
        for column, cell in raw.items():
            self.texts[column] = ""
            try:
                self.texts[column] = cells.tidy(cell)
            except CodeError as error:
                self.fault(column, cell, error.code, error.params)

    def fault(
        self,
        column: str,
        value: str,
        code: str,
        params: Mapping[str, object] | None = None,
    ) -> None:
        """Note what is wrong with a cell, or with the row where no column is named."""
        self.bad.add(column)
        problem = Problem(self.line, column, shown(value), code, params or {})
        self.problems.append(problem)

    def has(self, column: str) -> bool:
        """Whether something stands in a cell, good or not."""
        return bool(self.texts.get(column)) or column in self.bad

    def take(self, column: str, reader: Callable[[str], T], empty: T) -> T:
        """Read a cell.

        Args:
            column: Its heading.
            reader: Reads its text, or raises CodeError.
            empty: What it is where nothing, or nothing good, stands there.

        Returns:
            Its value.
        """
        if column in self.bad or column not in self.texts:
            return empty
        text = self.texts[column]
        value = empty
        if text:
            try:
                value = reader(text)
            except CodeError as error:
                self.fault(column, text, error.code, error.params)
                return empty
        elif column in self.needed:
            self.fault(column, "", "value_missing")
            return empty
        self.values[column] = value
        return value

    def text(self, column: str) -> str:
        """Read a text of at most 200 characters."""
        return self.take(column, cells.plain_text, "")


@dataclass(slots=True)
class Sheet:
    """What is said of a file as a whole while its rows are read."""

    problems: list[Problem] = field(default_factory=list)
    """Every fault. With any, nothing should be written."""
    words: dict[str, str] = field(default_factory=dict)
    """By heading the file's own word for it, where that is another one."""

    def rows(
        self,
        data: bytes | str,
        headings: Headings,
        lacking: Callable[[list[str]], list[str]] = lambda _columns: [],
    ) -> Iterator[RowReader]:
        """Read the rows one by one.

        Args:
            data: The file's content; a text is taken as it is.
            headings: The columns that it may have.
            lacking: Which columns the file lacks besides those needed, of those it has.

        Yields:
            Each row, faulty ones included.
        """
        try:
            lines = self._records(data, headings)
            line, raw = next(lines, (1, []))
            if not raw and not self.problems:
                self.problems.append(Problem(1, "", "", "file_empty"))
            columns = self._columns(line, raw, headings, lacking) if raw else []
            for nth, (line, raw) in enumerate(lines if columns else ()):
                if nth == MAX_ROWS:
                    limit = {"limit": MAX_ROWS}
                    self.problems.append(Problem(line, "", "", "too_many_rows", limit))
                    break
                yield self._row(line, raw, columns, headings)
        except CodeError as error:
            line = int(str(error.params.get("line", 1)))
            self.problems.append(Problem(line, "", "", error.code))

    def _records(
        self, data: bytes | str, headings: Headings
    ) -> Iterator[tuple[int, list[str]]]:
        if isinstance(data, bytes) and data.startswith(workbook.STARTS):
            return workbook.records(data, self.problems)
        text = decoded(data) if isinstance(data, bytes) else data
        return records(text, separator_of(text, headings.is_known), self.problems)

    # Gives no columns when not one heading is known: what follows is no such table, and
    # a fault for each of its cells would help nobody.
    def _columns(
        self,
        line: int,
        raw: list[str],
        headings: Headings,
        lacking: Callable[[list[str]], list[str]],
    ) -> list[str]:
        columns: list[str] = []
        for word in map(heading, raw):
            name = headings.known(word)
            if name in headings.names and name in columns:
                self.problems.append(Problem(line, word, word, "heading_twice"))
                columns.append(_PASSED_OVER)
            elif name in headings.names or not name:
                columns.append(name)
                if name != word:
                    self.words[name] = word
            else:
                text = shown(word)
                if name not in headings.told:
                    self.problems.append(Problem(line, text, text, "heading_unknown"))
                columns.append(_PASSED_OVER)
        missing = [name for name in headings.needed if name not in columns]
        self.problems.extend(
            Problem(line, name, "", "heading_missing")
            for name in [*missing, *lacking(columns)]
        )
        return columns if set(columns) & set(headings.names) else []

    def _row(
        self, line: int, raw: list[str], columns: list[str], headings: Headings
    ) -> RowReader:
        width = len(columns)
        padded = raw + [""] * (width - len(raw))
        named = dict(zip(columns, padded, strict=False))
        given = {name: named[name] for name in columns if name in headings.names}
        row = RowReader(line, given, headings.needed, self.problems)
        for column, cell in zip(columns, padded, strict=False):
            if not column and cell.strip():
                row.fault("", cell, "heading_blank")
        extra = next((cell for cell in raw[width:] if cell.strip()), "")
        if extra:
            row.fault("", extra, "cells_too_many", {"columns": width})
        return row
