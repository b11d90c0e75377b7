"""A file of lots and bags as it comes out of a spreadsheet.

The first line that is not blank names the columns, in English, German or French
(``intakeheads``), in any order and case:

======================  ========================================================
lot                     number of the lot; blank: one is assigned to this row
part, revision          needed
method                  how the lot was made, where that is known
made on                 needed; see ``cells.day``
source, source number   where it came from, and its number there
use by                  blank where the lot does not expire
bags, pieces per bag    so many bags with so many pieces each; or:
counts                  pieces of each bag: 100+100+40, or 100 100 40
counted by              hand, machine, weight or stack; blank where nobody said
container, place        kind of container, and where the bags stand
made from               lots with amounts: PETG-17:300; PETG-18:20
amount                  instead of an amount in "made from", for one lot
waste                   how much of that was cut off: 20, or PETG-17:20; PETG-18:5
close                   yes: no more bags will be added to this lot
sure                    why what can hardly be right is so
======================  ========================================================

Several rows may add bags to one lot; they must then say the same about the lot.
It is the first sheet of a workbook (XLSX), or text whose separators are semicolons, tabs
or commas: UTF-8, UTF-16 with a byte order mark, or Windows-1252. Rows may be shorter than the heading (spreadsheets leave blank cells at
the end away); a longer row is a problem.

Nothing here stops at the first fault, and nothing here raises for what is in a file.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, TypeVar

from kitting.domain import cells, workbook
from kitting.domain.delimited import Problem, decoded, heading, records, separator_of
from kitting.domain.errors import CodeError
from kitting.domain.intakeheads import HEADINGS, NEEDED, is_known, known
from kitting.domain.numbers import workshop_lot_number
from kitting.domain.shown import shown

T = TypeVar("T")

MAX_ROWS: Final = 50_000
MAX_BAGS: Final = 100_000
"""Bags in one file."""

_BAGS: Final = ("bags", "pieces per bag")
_OF_A_LOT: Final = (
    "part",
    "revision",
    "method",
    "made on",
    "source",
    "source number",
    "use by",
    "made from",
    "waste",
)
_PASSED_OVER: Final = "?"


@dataclass(frozen=True, slots=True)
class MadeFrom:
    """A lot that went into another."""

    lot: str
    amount: int
    """In the unit of the lot that was used."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row, as far as it could be read."""

    line: int
    lot: str
    """Number of the lot in capitals; empty where one is to be assigned."""
    part: str
    revision: str
    method: str
    made_on: dt.date
    source: str
    source_number: str
    use_by: dt.date | None
    counts: tuple[int, ...]
    """Pieces, grams or millimetres in each bag, at least one bag."""
    container: str
    place: str
    made_from: tuple[MadeFrom, ...]
    close: bool
    sure: str = ""
    counted_by: str = ""
    """As it stands in the file; checked with what else is named there."""
    waste: tuple[MadeFrom, ...] = ()
    """How much of what it was made from was cut off, lot by lot."""
    bad: frozenset[str] = field(default=frozenset(), compare=False)
    """Columns that are at fault, or are not there; their values here mean nothing."""


@dataclass(slots=True)
class Table:
    """What was read from a file."""

    rows: list[Row] = field(default_factory=list)
    """Rows without a fault, in the order of the file."""
    every: list[Row] = field(default_factory=list)
    """Those with faults besides, so that all else of them is checked at once."""
    repeats: list[Problem] = field(default_factory=list)
    """Rows that repeat another one exactly, which may be right."""
    words: dict[str, str] = field(default_factory=dict)
    """By heading the file's own word for it, where that is another one."""
    problems: list[Problem] = field(default_factory=list)
    """Every fault, in the order of lines. With any, nothing should be written."""
    texts: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    """Line and tidied texts by heading of every row, faulty ones included, so that
    names can be looked up in all of them."""


def read(data: bytes | str, *, date_order: cells.DateOrder | None = None) -> Table:
    """Read a file of lots and bags.

    Args:
        data: The file's content; a text is taken as it is.
        date_order: Which comes first in 01/03/2026; None refuses unclear ones.

    Returns:
        Its rows and all of its problems.
    """
    table = Table()
    try:
        lines = _records(data, table.problems)
        line, raw = next(lines, (1, []))
        if not raw and not table.problems:
            table.problems.append(Problem(1, "", "", "file_empty"))
        columns = _columns(line, raw, table) if raw else []
        reading = _Reading(columns, date_order, table)
        for line, raw in lines if columns else ():
            if len(table.texts) == MAX_ROWS:
                limit = {"limit": MAX_ROWS}
                table.problems.append(Problem(line, "", "", "too_many_rows", limit))
                break
            reading.add(line, raw)
    except CodeError as error:
        line = int(str(error.params.get("line", 1)))
        table.problems.append(Problem(line, "", "", error.code))
    table.problems.sort(key=lambda problem: problem.line)
    return table


def _records(
    data: bytes | str, problems: list[Problem]
) -> Iterator[tuple[int, list[str]]]:
    if isinstance(data, bytes) and data.startswith(workbook.STARTS):
        return workbook.records(data, problems)
    text = decoded(data) if isinstance(data, bytes) else data
    return records(text, separator_of(text, is_known), problems)


def by_lot(rows: Iterable[Row]) -> list[tuple[Row, ...]]:
    """Put the rows of one lot together.

    Args:
        rows: Rows in the order of the file.

    Returns:
        The rows of each lot, lots in the order in which they first appear; a row
        without a number is a lot of its own. A lot is to be closed if any of its rows
        says so.
    """
    groups: dict[str | int, list[Row]] = defaultdict(list)
    for row in rows:
        groups[row.lot or row.line].append(row)
    return [tuple(group) for group in groups.values()]


# Gives no columns when not one heading is known: what follows is no table of lots, and
# a fault for each of its cells would help nobody.
def _columns(line: int, raw: list[str], table: Table) -> list[str]:
    columns: list[str] = []
    for word in map(heading, raw):
        name = known(word)
        if name in HEADINGS and name in columns:
            table.problems.append(Problem(line, word, word, "heading_twice"))
            columns.append(_PASSED_OVER)
        elif name in HEADINGS or not name:
            columns.append(name)
            if name != word:
                table.words[name] = word
        else:
            text = shown(word)
            table.problems.append(Problem(line, text, text, "heading_unknown"))
            columns.append(_PASSED_OVER)
    missing = [name for name in NEEDED if name not in columns]
    if "counts" not in columns:
        missing += [name for name in _BAGS if name not in columns]
    table.problems.extend(
        Problem(line, name, "", "heading_missing") for name in missing
    )
    return columns if set(columns) & set(HEADINGS) else []


_NO_COUNTS: tuple[int, ...] = ()
_NO_LOTS: tuple[MadeFrom, ...] = ()


class _RowReader:
    # The cells of one row, what was read from them, and what is wrong with them.

    def __init__(self, line: int, raw: dict[str, str], problems: list[Problem]) -> None:
        self.line = line
        self.problems = problems
        self.texts: dict[str, str] = {}
        self.values: dict[str, object] = {}
        self.bad: set[str] = set()
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
        self.bad.add(column)
        problem = Problem(self.line, column, shown(value), code, params or {})
        self.problems.append(problem)

    def has(self, column: str) -> bool:
        return bool(self.texts.get(column)) or column in self.bad

    def take(self, column: str, reader: Callable[[str], T], empty: T) -> T:
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
        elif column in NEEDED:
            self.fault(column, "", "value_missing")
            return empty
        self.values[column] = value
        return value

    def text(self, column: str) -> str:
        return self.take(column, cells.plain_text, "")


class _Reading:
    # The rows so far: what later ones must agree with, and how many bags there are.

    def __init__(
        self, columns: list[str], date_order: cells.DateOrder | None, table: Table
    ) -> None:
        self.columns = columns
        self.date_order = date_order
        self.table = table
        self.first: dict[str, _RowReader] = {}
        self.bags = 0
        self.seen: dict[tuple[str, ...], int] = {}

    def add(self, line: int, raw: list[str]) -> None:
        width = len(self.columns)
        padded = raw + [""] * (width - len(raw))
        named = dict(zip(self.columns, padded, strict=False))
        row = _RowReader(
            line,
            {column: named[column] for column in self.columns if column in HEADINGS},
            self.table.problems,
        )
        for column, cell in zip(self.columns, padded, strict=False):
            if not column and cell.strip():
                row.fault("", cell, "heading_blank")
        extra = next((cell for cell in raw[width:] if cell.strip()), "")
        if extra:
            row.fault("", extra, "cells_too_many", {"columns": width})
        self.table.texts.append((line, row.texts))
        read_row = self._row(row)
        self._compare(row)
        self._count(row, read_row)
        lacking = {name for name in HEADINGS if name not in row.texts}
        read_row = replace(read_row, bad=frozenset(row.bad | lacking))
        self.table.every.append(read_row)
        if read_row.counts and not row.bad and not lacking & set(NEEDED):
            self.table.rows.append(read_row)
            self._look_back(row)

    def _look_back(self, row: _RowReader) -> None:
        said = {**row.texts, "sure": ""}
        first = self.seen.setdefault(tuple(said.values()), row.line)
        if first != row.line and not row.texts.get("sure"):
            code, figures = "row_repeated", {"first_line": first}
            self.table.repeats.append(Problem(row.line, "", "", code, figures))

    # Reads every cell, also after a fault; the row is taken in only if there is none.
    def _row(self, row: _RowReader) -> Row:
        lot = row.take("lot", workshop_lot_number, "")
        made_on = row.take("made on", self._day, None)
        use_by = row.take("use by", self._day, None)
        if use_by is not None and made_on is not None and use_by < made_on:
            row.fault("use by", row.texts["use by"], "use_by_before_made_on")
        made_from = _made_from(row, lot)
        return Row(
            line=row.line,
            lot=lot,
            part=row.text("part"),
            revision=row.text("revision"),
            method=row.text("method"),
            made_on=made_on or dt.date.min,
            source=row.text("source"),
            source_number=row.text("source number"),
            use_by=use_by,
            counts=_counts(row),
            container=row.text("container"),
            counted_by=row.text("counted by"),
            place=row.text("place"),
            made_from=made_from,
            waste=_waste(row, made_from),
            close=row.take("close", cells.yes_or_no, empty=False),
            sure=row.text("sure"),
        )

    def _day(self, text: str) -> dt.date | None:
        return cells.day(text, self.date_order)

    def _compare(self, row: _RowReader) -> None:
        lot = row.values.get("lot")
        if not isinstance(lot, str) or not lot:
            return
        first = self.first.setdefault(lot, row)
        for column in _OF_A_LOT:
            known = first.values.get(column, row.values.get(column))
            if column in row.values and row.values[column] != known:
                row.fault(
                    column,
                    row.texts[column],
                    "lot_rows_differ",
                    {"first_line": first.line, "first_value": first.texts[column]},
                )

    def _count(self, row: _RowReader, made: Row) -> None:
        if self.bags <= MAX_BAGS:
            self.bags += len(made.counts)
            if self.bags > MAX_BAGS:
                row.fault("", "", "too_many_bags", {"limit": MAX_BAGS})


def _counts(row: _RowReader) -> tuple[int, ...]:
    bags, pieces = (row.take(column, cells.whole, 0) for column in _BAGS)
    listed = row.take("counts", cells.counts, _NO_COUNTS)
    given = [column for column in _BAGS if row.has(column)]
    if row.has("counts"):
        if given:
            row.fault("counts", row.texts["counts"], "quantity_twice")
        return listed
    if not given and _has_quantity(row):
        row.fault("", "", "quantity_missing")
    elif len(given) == 1:
        missing = _BAGS[1 - _BAGS.index(given[0])]
        row.fault(missing, "", "value_missing")
    if bags > MAX_BAGS:
        row.fault("bags", row.texts["bags"], "too_many_bags", {"limit": MAX_BAGS})
        return ()
    return (pieces,) * bags if pieces else ()


# A column that the heading lacks was reported once, there.
def _has_quantity(row: _RowReader) -> bool:
    return "counts" in row.texts or all(column in row.texts for column in _BAGS)


def _made_from(row: _RowReader, lot: str) -> tuple[MadeFrom, ...]:
    found = row.take("made from", _lots_with_amounts, _NO_LOTS)
    amount = row.take("amount", cells.whole, 0)
    if row.has("amount"):
        if not row.has("made from"):
            row.fault("made from", "", "made_from_missing")
        elif len(found) == 1 and found[0].amount == 0:
            found = (MadeFrom(found[0].lot, amount),)
        elif found:
            row.fault("amount", row.texts["amount"], "amount_twice")
    names = [origin.lot for origin in found]
    for origin in found:
        if not origin.amount and not row.has("amount"):
            row.fault("made from", origin.lot, "amount_missing")
    if lot and lot in names:
        row.fault("made from", lot, "made_from_itself")
    if len(set(names)) < len(names):
        row.fault("made from", row.texts["made from"], "made_from_twice")
    # What lots are compared by, without regard to order and to where the amount stood.
    row.values.pop("made from", None)
    if not row.bad & {"made from", "amount"}:
        row.values["made from"] = frozenset(found)
    return found


def _waste(row: _RowReader, used: tuple[MadeFrom, ...]) -> tuple[MadeFrom, ...]:
    def read(text: str) -> tuple[MadeFrom, ...]:
        if len(used) == 1 and ":" not in text:
            return (MadeFrom(used[0].lot, cells.whole(text)),)
        return _lots_with_amounts(text)

    found = row.take("waste", read, _NO_LOTS)
    amounts = {origin.lot: origin.amount for origin in used}
    for origin in found:
        most = amounts.get(origin.lot, 0)
        if not 0 < origin.amount < most and not row.bad & {"made from", "amount"}:
            row.fault(
                "waste",
                origin.lot,
                "waste_is_all",
                {"read": origin.amount, "most": most},
            )
    if len({origin.lot for origin in found}) < len(found):
        row.fault("waste", row.texts["waste"], "made_from_twice")
    return found


# An amount that the cell does not give is 0 until the column "amount" has been seen.
def _lots_with_amounts(text: str) -> tuple[MadeFrom, ...]:
    found: list[MadeFrom] = []
    for part in text.split(";"):
        if part.strip():
            name, colon, amount = part.partition(":")
            number = workshop_lot_number(name)
            found.append(MadeFrom(number, cells.whole(amount.strip()) if colon else 0))
    return tuple(found)
