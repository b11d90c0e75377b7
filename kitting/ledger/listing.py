"""A catalogue as a file has it, of what is on record: the way back of ``shelf``."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any, Final, TypeAlias

from django.db import models

from kitting.ledger.sections import SECTIONS
from kitting.ledger.shelf import columns

Row: TypeAlias = dict[str, Any]
Lister: TypeAlias = Callable[[], Any]
LISTERS: Final[dict[str, Lister]] = {}
"""What writes each section: its rows, or the one row that it is."""


def register(**listers: Lister) -> None:
    """Add what writes the sections of a room; once, when it is loaded."""
    LISTERS.update(listers)


def as_row(row: models.Model, **more: Any) -> Row:
    """Write a row as a catalogue has it; figures that it has anyway are left out.

    Args:
        row: The row.
        **more: What else is said of it, such as codes of others; None is left out.

    Returns:
        Its columns, and the rest.
    """
    said = {}
    for column in columns(type(row)):
        value = getattr(row, column.name)
        usual = column.get_default() if column.has_default() else None
        left_out = value == usual or (value == "" and not column.has_default())
        if column.choices or not left_out:
            said[column.name] = _written(column, value)
    return said | {name: value for name, value in more.items() if value is not None}


def _written(column: Any, value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(column, models.TextField):
        lines = value.splitlines()
        return lines if len(lines) > 1 else "".join(lines)
    return value


def as_rows(rows: Iterable[models.Model]) -> list[Row]:
    """Write rows that name no others; see ``as_row``.

    Args:
        rows: The rows.

    Returns:
        Each of them, in order.
    """
    return [as_row(row) for row in rows]


def written_catalogue() -> dict[str, Any]:
    """Write everything that a catalogue can hold; needs a snapshot.

    Returns:
        The sections in the order in which they are read, empty ones left out.
    """
    found = {name: LISTERS[name]() for name in SECTIONS}
    return {name: rows for name, rows in found.items() if rows}
