"""From the bytes of a file to the cells of its rows, with physical line numbers."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from kitting.domain import cells
from kitting.domain.errors import CodeError


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of a file."""

    line: int
    """Physical line of the file, from 1, in which the row begins."""
    column: str
    """The column's heading; empty where the fault is the row's or the file's."""
    value: str
    """What was read, cut and made printable."""
    code: str
    params: Mapping[str, object] = field(default_factory=dict)

    def as_error(self) -> CodeError:
        """Give the fault as an error, for its sentence.

        Returns:
            An error whose values include line, column and value.
        """
        where = {"line": self.line, "column": self.column, "value": self.value}
        return CodeError(self.code, **{**self.params, **where})


def decoded(data: bytes) -> str:
    """Turn the bytes of a table into text.

    Args:
        data: UTF-8 with or without a byte order mark, UTF-16 with one, or
            Windows-1252.

    Returns:
        The text, without the mark.

    Raises:
        CodeError: ``file_not_text`` for a workbook, or UTF-16 without a mark;
            ``file_encoding_broken``, with its ``line``, for bytes that no encoding has.
    """
    encodings = ["utf-8", "cp1252"]
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    elif data.startswith(b"\xef\xbb\xbf"):
        encodings = ["utf-8-sig"]
    elif data.startswith(b"PK\x03\x04") or data.count(b"\0") * 4 > len(data):
        # Packed, but no workbook of ours; or every other byte NUL: UTF-16 without mark.
        raise CodeError("file_not_text")
    line = 1
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError as error:
            line = error.object.count(b"\n", 0, error.start) + 1
    raise CodeError("file_encoding_broken", line=line)


def separator_of(text: str, is_known: Callable[[str], bool]) -> str:
    """Find what separates the cells: what makes most of the heading known.

    Args:
        text: The whole table.
        is_known: Tells of a heading as :func:`heading` gives it whether it is one.

    Returns:
        Semicolon, tab or comma.
    """
    best = (-1, -1, "")
    for separator in (";", "\t", ","):
        head = next(records(text, separator, []), (0, []))[1]
        count = sum(is_known(heading(raw)) for raw in head)
        best = max(best, (count, len(head), separator))
    return best[2]


def heading(raw: str) -> str:
    """Give a heading in the form in which it is compared.

    Args:
        raw: A cell of the first row.

    Returns:
        Lower case, with single blanks instead of any blanks, hyphens or underscores.
    """
    try:
        return cells.tidy(raw.replace("_", " ").replace("-", " ")).casefold()
    except CodeError:
        return raw


def records(
    text: str, separator: str, problems: list[Problem]
) -> Iterator[tuple[int, list[str]]]:
    """Give the rows that are not blank.

    Args:
        text: The whole table; quoted cells may hold line ends.
        separator: One character.
        problems: Where a row is noted whose quotation marks do not pair.

    Yields:
        Physical line in which the row begins, and its cells.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            raw = next(reader, None)
        except csv.Error:
            problems.append(Problem(line, "", "", "quotes_broken"))
            continue
        if raw is None:
            return
        if any(map(str.strip, raw)):
            yield line, raw
