"""The columns of a row as plain values that never depend on the database.

Links and seals hash this form; a value of another kind would break every one of them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from functools import cache
from operator import is_, itemgetter
from typing import Any, Final, TypeAlias

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
    return canonical_values(columns(type(row)), _values(row))


def written(row: models.Model) -> str:
    """A row as ``json.dumps(canonical(row))`` writes it.

    Args:
        row: As for ``canonical``.

    Returns:
        Its text.
    """
    return _writer_of(type(row))(_values(row))


@cache
def _writer_of(model: type[models.Model]) -> Write:
    return writer(columns(model))


def _values(row: models.Model) -> Sequence[Any]:
    # A value as it will be read back: a count may have come in as text, a flag as 1.
    take, readers, as_they_are = _reading(type(row))
    values = taken(row, take)
    types = tuple(map(type, values))
    if types in as_they_are:
        return values
    read = [to_python(value) for to_python, value in zip(readers, values, strict=True)]
    if all(map(is_, read, values)):
        as_they_are.add(types)
    return read


Take: TypeAlias = Callable[[Mapping[str, Any]], Sequence[Any]]


def taken(row: models.Model, take: Take) -> Sequence[Any]:
    """Take some columns of a row, quickly where it has them all in memory.

    Args:
        row: The row.
        take: Takes two or more attributes out of a mapping, by name.

    Returns:
        Their values.
    """
    try:
        return take(vars(row))
    except KeyError:  # one was left out as it was read
        return take(_Asked(row))


class _Asked(dict[str, Any]):
    """What a row is asked for by name."""

    def __init__(self, row: models.Model) -> None:
        self._row = row

    def __missing__(self, name: str) -> Any:
        return getattr(self._row, name)


@cache
def _reading(
    model: type[models.Model],
) -> tuple[Take, list[Callable[[Any], Any]], set[Any]]:
    """What takes the columns of a row, reads each, and of which types none is changed."""
    fields = {field.attname: field for field in model._meta.concrete_fields}
    names = columns(model)
    return itemgetter(*names), [_read_by(fields[name]) for name in names], set()


def _read_by(field: Any) -> Callable[[Any], Any]:
    while field.remote_field is not None:  # a foreign key is read as what it names
        field = field.target_field
    to_python: Callable[[Any], Any] = field.to_python
    return to_python


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
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes | memoryview | bytearray):
        return bytes(value).hex()
    if isinstance(value, str):
        return str(value)
    return value


Write: TypeAlias = Callable[[Sequence[Any]], str]


_PAIRS: Final = ('["{}", %s]', "[{}]", ", ")
_OBJECT: Final = ('"{}":%s', "{{{}}}", ",")
"""A column, all of them, and what is between two."""


@cache
def writer(names: tuple[str, ...]) -> Write:
    """Give what writes rows of these columns as ``json.dumps(canonical_values(…))`` does.

    Most of a proof is writing rows out. All of a table are written alike but for what is
    empty in them, so the text between the values is put together once.

    Args:
        names: Column names in the order of ``columns``.

    Returns:
        A function from the values of a row, as Django or a bare cursor gives them, to its
        text.
    """
    return _writer(names, *_PAIRS)


@cache
def object_writer(names: tuple[str, ...]) -> Write:
    """As ``writer``, but as one JSON object without blanks.

    Args:
        names: Column names in the order of the alphabet.

    Returns:
        A function from the values of a row to its text.
    """
    return _writer(names, *_OBJECT)


def with_blanks(
    row: models.Model, blanks: Collection[str], sealed: Iterable[str] | None
) -> str:
    """Write a row with ``%s`` instead of some values.

    Args:
        row: The row.
        blanks: The columns that are left blank.
        sealed: Columns to be written as ``object_writer`` does, in their order; None
            for all of them, as ``written`` does.

    Returns:
        Its text; a per cent sign that is none of a blank stands twice.
    """
    said = dict(zip(columns(type(row)), _values(row), strict=True))
    pair, whole, between = _PAIRS if sealed is None else _OBJECT
    parts = [
        pair.format(name)
        % ("%s" if name in blanks else _say(said[name]).replace("%", "%%"))
        for name in (said if sealed is None else sealed)
        if name in blanks or said[name] is not None
    ]
    return whole.format(between.join(parts))


def _writer(names: tuple[str, ...], pair: str, whole: str, between: str) -> Write:
    shapes: dict[tuple[type, ...], _Shape] = {}

    def shape(types: tuple[type, ...]) -> _Shape:
        full = [nth for nth, kind in enumerate(types) if kind is not type(None)]
        said = [_SAID.get(_plainly(types[nth]), _say) for nth in full]
        parts = [pair.format(names[nth]) for nth in full]
        says = [(at, say) for at, say in enumerate(said) if say is not None]
        return whole.format(between.join(parts)), _taking(full), says

    def write(values: Sequence[Any]) -> str:
        types = tuple(map(type, values))
        known = shapes.get(types)
        if known is None:
            known = shapes[types] = shape(types)
        text, take, says = known
        row = list(take(values))
        for nth, say in says:
            row[nth] = say(row[nth])
        return text % tuple(row)

    return write


def _taking(full: list[int]) -> Callable[[Sequence[Any]], Sequence[Any]]:
    """What takes the values that are there."""
    if len(full) > 1:
        return itemgetter(*full)
    return lambda values: [values[nth] for nth in full]


def _plainly(kind: type) -> type:
    """A word of a vocabulary is a text."""
    return str if issubclass(kind, str) else kind


quote: Callable[[str], str] = json.encoder.encode_basestring_ascii
"""A text as ``json.dumps`` writes it."""


def _say(value: Any) -> str:
    return json.dumps(_plain(value))


def _moment(value: datetime) -> str:
    if value.tzinfo is None:  # from a bare cursor of SQLite, which keeps them in UTC
        return f'"{value.isoformat(timespec="microseconds")}+00:00"'
    return f'"{value.astimezone(UTC).isoformat(timespec="microseconds")}"'


_SAID: dict[type, Callable[[Any], str] | None] = {
    int: None,
    str: quote,
    bytes: lambda value: f'"{value.hex()}"',
    bool: {True: "true", False: "false"}.__getitem__,
    datetime: _moment,
    date: lambda value: f'"{value.isoformat()}"',
}
"""What most values are, written as ``json.dumps(_plain(…))`` does; None: as they are."""
_Shape: TypeAlias = tuple[
    str,
    Callable[[Sequence[Any]], Sequence[Any]],
    list[tuple[int, Callable[[Any], str]]],
]
"""The text, what takes the values that are there, and how some of them are said."""


def among(column: str, ids: Collection[int]) -> models.Q:
    """Rows of these ids; a few others too, where that is quicker to ask.

    What was made together has ids close together.

    Args:
        column: The column that has them.
        ids: The ids, at least one.

    Returns:
        A condition; whoever reads the rows leaves the others out.
    """
    if close(ids):
        return models.Q(**{f"{column}__gte": min(ids), f"{column}__lte": max(ids)})
    return models.Q(**{f"{column}__in": ids})


def close(ids: Collection[int]) -> bool:
    """Whether all rows from the first of some ids to the last are few more than these."""
    return max(ids) - min(ids) <= CLOSE * len(ids)
