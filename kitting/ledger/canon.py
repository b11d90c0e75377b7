"""The columns of a row as plain values that never depend on the database.

Links and seals hash this form; a value of another kind would break every one of them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

from django.db import models

CLOSE = 4
"""Ids are close together if at least one in so many is wanted."""


@cache
def columns(model: type[models.Model]) -> tuple[str, ...]:
    """The columns of a table in the order of the canonical form.

    Args:
        model: The table.

    Returns:
        Attribute names, in the order of the alphabet.
    """
    return tuple(sorted(field.attname for field in model._meta.concrete_fields))


def canonical(row: models.Model) -> list[list[Any]]:
    """The columns of a row as plain values that never depend on the database.

    Args:
        row: Any saved row, as it was made or as it was read back.

    Returns:
        Pairs of column name and value; see ``canonical_values``.
    """
    # A value as it will be read back: a count may have come in as text, a flag as 1.
    readers = _readers(type(row))
    values = [to_python(getattr(row, name)) for name, to_python in readers]
    return canonical_values(columns(type(row)), values)


@cache
def _readers(
    model: type[models.Model],
) -> tuple[tuple[str, Callable[[Any], Any]], ...]:
    fields = {field.attname: field for field in model._meta.concrete_fields}
    return tuple((name, fields[name].to_python) for name in columns(model))


def canonical_values(names: Iterable[str], values: Iterable[Any]) -> list[list[Any]]:
    """Bring the columns of a row into the form that links hash.

    An empty column is left out, so that a guarded table may gain a nullable column
    and every link made before still holds.

    Args:
        names: Column names in the order of ``columns``.
        values: Their values, as the database gives them.

    Returns:
        Pairs of column name and plain value, empty columns left out.
    """
    return [
        [name, _plain(value)]
        for name, value in zip(names, values, strict=True)
        if value is not None
    ]


def _plain(value: Any) -> Any:
    if type(value) is int:  # most of them, and of thirty thousand rows at once
        return value
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes | memoryview | bytearray):
        return bytes(value).hex()
    if isinstance(value, str):
        return str(value)
    return value


def among(column: str, ids: Collection[int]) -> models.Q:
    """Rows of these ids; a few others too, where that is quicker to ask.

    What was made together has ids close together.

    Args:
        column: The column that has them.
        ids: The ids, at least one.

    Returns:
        A condition; whoever reads the rows leaves the others out.
    """
    low, high = min(ids), max(ids)
    if high - low <= CLOSE * len(ids):
        return models.Q(**{f"{column}__gte": low, f"{column}__lte": high})
    return models.Q(**{f"{column}__in": ids})
