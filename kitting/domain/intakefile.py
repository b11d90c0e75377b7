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

Several rows may add bags to one lot; they must then say the same about the lot. What kind
of file it is, and how its cells are found, is in ``sheets``.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from kitting.domain import cells
from kitting.domain.delimited import Problem
from kitting.domain.intakeheads import HEADINGS, LOTS, NEEDED
from kitting.domain.numbers import workshop_lot_number
from kitting.domain.sheets import RowReader, Sheet

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
    sheet, table = Sheet(), Table()
    table.problems, table.words = sheet.problems, sheet.words
    reading = _Reading(date_order, table)
    for row in sheet.rows(data, LOTS, _lacking):
        reading.add(row)
    table.problems.sort(key=lambda problem: problem.line)
    return table


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


def _lacking(columns: list[str]) -> list[str]:
    if "counts" in columns:
        return []
    return [name for name in _BAGS if name not in columns]


_NO_COUNTS: tuple[int, ...] = ()
_NO_LOTS: tuple[MadeFrom, ...] = ()


class _Reading:
    # The rows so far: what later ones must agree with, and how many bags there are.

    def __init__(self, date_order: cells.DateOrder | None, table: Table) -> None:
        self.date_order = date_order
        self.table = table
        self.first: dict[str, RowReader] = {}
        self.bags = 0
        self.seen: dict[tuple[str, ...], int] = {}

    def add(self, row: RowReader) -> None:
        self.table.texts.append((row.line, row.texts))
        read_row = self._row(row)
        self._compare(row)
        self._count(row, read_row)
        lacking = {name for name in HEADINGS if name not in row.texts}
        read_row = replace(read_row, bad=frozenset(row.bad | lacking))
        self.table.every.append(read_row)
        if read_row.counts and not row.bad and not lacking & set(NEEDED):
            self.table.rows.append(read_row)
            self._look_back(row)

    def _look_back(self, row: RowReader) -> None:
        said = {**row.texts, "sure": ""}
        first = self.seen.setdefault(tuple(said.values()), row.line)
        if first != row.line and not row.texts.get("sure"):
            code, figures = "row_repeated", {"first_line": first}
            self.table.repeats.append(Problem(row.line, "", "", code, figures))

    # Reads every cell, also after a fault; the row is taken in only if there is none.
    def _row(self, row: RowReader) -> Row:
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

    def _compare(self, row: RowReader) -> None:
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

    def _count(self, row: RowReader, made: Row) -> None:
        if self.bags <= MAX_BAGS:
            self.bags += len(made.counts)
            if self.bags > MAX_BAGS:
                row.fault("", "", "too_many_bags", {"limit": MAX_BAGS})


def _counts(row: RowReader) -> tuple[int, ...]:
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
def _has_quantity(row: RowReader) -> bool:
    return "counts" in row.texts or all(column in row.texts for column in _BAGS)


def _made_from(row: RowReader, lot: str) -> tuple[MadeFrom, ...]:
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


def _waste(row: RowReader, used: tuple[MadeFrom, ...]) -> tuple[MadeFrom, ...]:
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
