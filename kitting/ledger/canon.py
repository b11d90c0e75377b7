"""The columns of a row as plain values that never depend on the database.

Links and seals hash this form; a value of another kind would break every one of them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from functools import cache
from types import MappingProxyType
from typing import Any, TypeAlias

from django.db import connection, models

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
    return writer(columns(type(row)))(_values(row))


def _values(row: models.Model) -> list[Any]:
    # A value as it will be read back: a count may have come in as text, a flag as 1.
    return [to_python(getattr(row, name)) for name, to_python in _readers(type(row))]


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


@cache
def writer(names: tuple[str, ...]) -> Write:
    """Give what writes rows of these columns as ``json.dumps(canonical_values(…))`` does.

    Most of a proof is writing rows out. All of a table are written alike but for what is
    empty in them, so the text between the values is put together once.

    Args:
        names: Column names in the order of ``columns``.

    Returns:
        A function from the values of a row, as the database gives them, to its text.
    """
    return _writer(names, '["{}", %s]', "[{}]", ", ")


@cache
def stored_writer(model: type[models.Model]) -> Write:
    """As ``writer``, from the values as the database keeps them; a proof reads millions.

    SQLite keeps moments as texts and flags as numbers. One that is not kept as we write
    them is written otherwise than any link hashed it.

    Args:
        model: The table.

    Returns:
        A function from the values of a row, all its ``columns``, to its text.
    """
    kept: dict[int, Callable[[Any], str]] = {}
    if connection.vendor == "sqlite":
        fields = {field.attname: field for field in model._meta.concrete_fields}
        for nth, name in enumerate(columns(model)):
            if isinstance(fields[name], models.DateTimeField):
                kept[nth] = _kept_moment
            elif isinstance(fields[name], models.BooleanField):
                kept[nth] = _kept_flag
    return _writer(columns(model), '["{}", %s]', "[{}]", ", ", kept)


def _kept_moment(text: Any) -> str:
    long = {26: "", 19: ".000000"}.get(len(text)) if type(text) is str else None
    if long is None or text[10] != " ":
        return _say(text)
    return f'"{text[:10]}T{text[11:]}{long}+00:00"'


def _kept_flag(value: Any) -> str:
    return {0: "false", 1: "true"}.get(value) or _say(value)


@cache
def object_writer(names: tuple[str, ...]) -> Write:
    """As ``writer``, but as one JSON object without blanks.

    Args:
        names: Column names in the order of the alphabet.

    Returns:
        A function from the values of a row to its text.
    """
    return _writer(names, '"{}":%s', "{{{}}}", ",")


def _writer(
    names: tuple[str, ...],
    pair: str,
    whole: str,
    between: str,
    kept: Mapping[int, Callable[[Any], str]] = MappingProxyType({}),
) -> Write:
    shapes: dict[tuple[type, ...], _Shape] = {}

    def shape(types: tuple[type, ...]) -> _Shape:
        full = [nth for nth, kind in enumerate(types) if kind is not _EMPTY]
        text = whole.format(between.join(pair.format(names[nth]) for nth in full))
        empty = [nth for nth, kind in enumerate(types) if kind is _EMPTY]
        said = [(n, kept.get(n, _SAID.get(types[n], _say))) for n in full]
        return text, [(nth, say) for nth, say in said if say is not None], empty[::-1]

    def write(values: Sequence[Any]) -> str:
        types = tuple(map(type, values))
        known = shapes.get(types)
        if known is None:
            known = shapes[types] = shape(types)
        text, others, empty = known
        row = list(values)
        for nth, say in others:
            row[nth] = say(row[nth])
        for nth in empty:
            del row[nth]
        return text % tuple(row)

    return write


quote: Callable[[str], str] = json.encoder.encode_basestring_ascii
"""A text as ``json.dumps`` writes it."""


def _say(value: Any) -> str:
    return json.dumps(_plain(value))


_EMPTY = type(None)
_SAID: dict[type, Callable[[Any], str] | None] = {
    int: None,
    str: quote,
    bytes: lambda value: f'"{value.hex()}"',
    bool: lambda value: "true" if value else "false",
}
"""What most values are, written as ``json.dumps(_plain(…))`` does; None: as they are."""
_Shape: TypeAlias = tuple[str, list[tuple[int, Callable[[Any], str]]], list[int]]


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
