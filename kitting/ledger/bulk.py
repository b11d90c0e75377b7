"""Writing rows without Django's SQL writer, which takes longer than the database does.

``bulk_create`` and ``save`` compose their statement anew for each call, and for many rows
one for every few dozen, all of it under the write lock. Here the text of a table's
statement is kept. Few new rows get their ids from that statement; for many the ids are
reserved first, in one query, and the rows go in through one prepared statement.
"""

from __future__ import annotations

import gc
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import cache
from operator import itemgetter
from typing import Any, Final, TypeAlias, TypeVar

from django.db import DEFAULT_DB_ALIAS, connection, connections, models
from django.db.models.base import ModelState

from kitting.ledger.canon import taken
from kitting.ledger.kept import left

_ROOM = {"cache_size": -65_536, "temp_store": 2}
"""What a burst may keep in memory, in kB, before it is written out; 2 is memory."""

FEW = 50
"""Up to so many rows go in with one statement that names them all."""

_AS_THEY_ARE: Final[Mapping[type, tuple[type[models.Field[Any, Any]], ...]]] = {
    int: (models.IntegerField, models.ForeignKey),
    str: (models.CharField, models.TextField),
    bytes: (models.BinaryField,),
    bool: (models.BooleanField,),
}
"""Types of values that go in as they are, and the columns that take them so."""
_Prepare: TypeAlias = Callable[[Any], Any]
_Values: TypeAlias = Callable[[models.Model], Sequence[Any]]
Row = TypeVar("Row", bound=models.Model)


@cache
def _blank(model: type[models.Model]) -> dict[str, Any]:
    kept = dict(vars(model()))
    del kept["_state"]
    return kept


@cache
def _links(model: type[models.Model], names: tuple[str, ...]) -> list[tuple[str, str]]:
    """Those of some fields that name a row, and the columns that have its id."""
    columns = {field.name: field.attname for field in model._meta.concrete_fields}
    strange = set(names) - columns.keys() - set(columns.values())
    if strange:
        msg = f"{model.__name__} has no {', '.join(sorted(strange))}."
        raise TypeError(msg)
    return [(n, columns[n]) for n in names if columns.get(n, n) != n]


def fresh(model: type[Row], /, **values: Any) -> Row:
    """Make a new row as ``model(**values)`` does, in a fraction of the time.

    Args:
        model: Its table, which computes no default.
        **values: Its fields. A row that it names has its id already, or gets it before
            this one goes in.

    Returns:
        The row.

    Raises:
        TypeError: If it has no such field.
    """
    kept = {**_blank(model), **values}
    state = kept["_state"] = ModelState()
    links = _links(model, tuple(values))
    if links:
        named = state.fields_cache = {}
        for name, link in links:
            value = kept.pop(name)
            if value is not None:
                kept[link] = value.id
                named[name] = value
    row = model.__new__(model)
    row.__dict__ = kept
    return row


@contextmanager
def undisturbed() -> Iterator[None]:
    """Put off the search for garbage.

    Among a hundred thousand rows that are all in use it finds nothing, and costs a
    fifth of the time under the write lock.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@contextmanager
def burst() -> Iterator[None]:
    """Write very many rows in one go, with nothing between them that takes time.

    SQLite keeps two megabytes of a transaction in memory, writes the rest out while it
    lasts, and what a savepoint may have to undo into a file of its own: that doubles the
    time under the write lock.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        with undisturbed():  # SQLite gives no other room once a transaction has begun.
            yield
        return
    connection.ensure_connection()
    raw = connection.connection
    was = {name: raw.execute(f"PRAGMA {name}").fetchone()[0] for name in _ROOM}
    try:
        for name, room in _ROOM.items():
            raw.execute(f"PRAGMA {name} = {room}")
        with undisturbed():
            yield
    finally:
        with suppress(sqlite3.ProgrammingError):  # the connection was closed meanwhile
            for name, kept in was.items():
                raw.execute(f"PRAGMA {name} = {kept}")


def insert(rows: Sequence[models.Model], *, last: bool = False) -> None:
    """Insert new rows of one table and give them their ids; needs a transaction.

    Args:
        rows: Unsaved rows of one model, which has no parents and no ``pre_save``
            fields such as ``auto_now``.
        last: As for ``update``.

    Raises:
        RuntimeError: Outside a transaction, where half a batch could stay.
    """
    _need_transaction()
    if not rows:
        return
    model = type(rows[0])
    _follow_links(rows)
    if len(rows) <= FEW:
        _insert_few(model, rows, last=last)
    else:
        for row, pk in zip(rows, reserve(model, len(rows)), strict=True):
            row.pk = pk
        _insert_numbered(model, rows)
    _are_in(rows)


def insert_numbered(rows: Sequence[models.Model]) -> None:
    """Insert new rows of one table that have their ids; needs a transaction.

    Args:
        rows: As for ``insert``, with ids that ``reserve`` gave.
    """
    _need_transaction()
    if rows:
        _insert_numbered(type(rows[0]), rows)
        _are_in(rows)


def _insert_numbered(model: type[models.Model], rows: Sequence[models.Model]) -> None:
    insert_values(model, list(map(values_of(model), rows)))


def values_of(model: type[models.Model]) -> _Values:
    """What gives the values of a row that has its id, for ``insert_values``."""
    return _inserting(model, with_id=True)[2]


def insert_values(model: type[models.Model], values: Sequence[Sequence[Any]]) -> None:
    """Insert rows of which only the values were kept; needs a transaction.

    Args:
        model: Their table.
        values: Of each row, as ``values_of`` gives them.
    """
    _need_transaction()
    head, mark, _values = _inserting(model, with_id=True)
    if connection.vendor == "sqlite":
        # Each row is a statement of its own, of which nothing is to be taken back. So
        # SQLite need not copy every page aside before that changes, which takes as long
        # as to write it: neither this statement nor a guard on its table asks for that.
        head = head.replace("INSERT", "INSERT OR FAIL", 1)
    with connection.cursor() as cursor:
        cursor.executemany(head + mark, values)


def _are_in(rows: Sequence[models.Model]) -> None:
    alias = connection.alias
    for row in rows:
        row._state.adding = False
        row._state.db = alias


def _insert_few(
    model: type[models.Model], rows: Sequence[models.Model], *, last: bool
) -> None:
    head, mark, values_of = _inserting(model, with_id=False)
    told = _columns(model) if last else _id(model)
    sql = f"{head}{', '.join([mark] * len(rows))} RETURNING {told}"
    values = [value for row in rows for value in values_of(row)]
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        found = cursor.fetchall()
    # Ids are given out in the order of the rows, but may be told in another one.
    for row, (pk, *_rest) in zip(rows, sorted(found), strict=True):
        row.pk = pk
    if last:
        for one in found:
            left(model, one)


def update(
    rows: Sequence[models.Model], names: Iterable[str], *, last: bool = False
) -> None:
    """Write some columns of rows back; needs a transaction in which they are locked.

    Args:
        rows: Changed rows of one model.
        names: The fields that changed.
        last: Whether the act changes these rows no further, so that what the database
            says of few of them now is what their seals say.

    Raises:
        RuntimeError: Outside a transaction, or if a row has gone.
    """
    _need_transaction()
    if not rows:
        return
    model = type(rows[0])
    sql, values_of = _updating(model, tuple(names))
    values = list(map(values_of, rows))
    if last and len(rows) <= FEW:
        done = _update_few(model, tuple(names), values)
    else:
        with connection.cursor() as cursor:
            cursor.executemany(sql, values)
            done = cursor.rowcount
    if done != len(rows):
        raise RuntimeError("A row that was to change is not there.")


def _update_few(
    model: type[models.Model], names: tuple[str, ...], values: list[Sequence[Any]]
) -> int:
    """Update rows by one statement that tells what it left of them."""
    ids = [pk for *_said, pk in values]
    said = [
        one
        for nth in range(len(names))
        for pk, row in zip(ids, values, strict=True)
        for one in (pk, row[nth])
    ]
    with connection.cursor() as cursor:
        cursor.execute(_updating_few(model, names, len(values)), [*said, *ids])
        found = cursor.fetchall()
    for row in found:
        left(model, row)
    return len(found)


@cache
def _updating_few(model: type[models.Model], names: tuple[str, ...], count: int) -> str:
    case = f"CASE {_id(model)} {' '.join(['WHEN %s THEN %s'] * count)} END"
    # PostgreSQL takes what is said for text; SQLite takes it as it is.
    cast = "{}" if connection.vendor == "sqlite" else "CAST({} AS {})"
    fields: list[Any] = [model._meta.get_field(name) for name in names]
    pairs = ", ".join(
        f"{_quoted(field)} = {cast.format(case, field.cast_db_type(connection))}"
        for field in fields
    )
    marks = ", ".join(["%s"] * count)
    return (
        f"UPDATE {_table(model)} SET {pairs} WHERE {_id(model)} IN ({marks})"  # noqa: S608 -- our names
        f" RETURNING {_columns(model)}"
    )


def _need_transaction() -> None:
    if not connection.in_atomic_block:
        raise RuntimeError("Writing rows needs an open transaction.")


@cache
def _inserting(model: type[models.Model], *, with_id: bool) -> tuple[str, str, _Values]:
    fields = [
        field
        for field in model._meta.local_concrete_fields
        if with_id or not field.primary_key
    ]
    names = ", ".join(_quoted(field) for field in fields)
    mark = f"({', '.join(['%s'] * len(fields))})"
    head = f"INSERT INTO {_table(model)} ({names}) VALUES "  # noqa: S608 -- our names
    return head, mark, _values_of(fields)


@cache
def _updating(model: type[models.Model], names: tuple[str, ...]) -> tuple[str, _Values]:
    fields = [model._meta.get_field(name) for name in names]
    pairs = ", ".join(f"{_quoted(field)} = %s" for field in fields)
    sql = f"UPDATE {_table(model)} SET {pairs} WHERE {_id(model)} = %s"  # noqa: S608 -- our names
    return sql, _values_of([*fields, model._meta.pk])


def _values_of(fields: Sequence[Any]) -> _Values:
    """What gives the values of a row as they go in; what is to do their types say."""
    take = itemgetter(*(field.attname for field in fields))
    shapes: dict[tuple[type, ...], list[tuple[int, _Prepare]]] = {}

    def values_of(row: models.Model) -> Sequence[Any]:
        values = taken(row, take)
        types = tuple(map(type, values))
        changes = shapes.get(types)
        if changes is None:
            changes = shapes[types] = _changes(fields, types)
        if not changes:
            return values
        prepared = list(values)
        for nth, prepare in changes:
            prepared[nth] = prepare(prepared[nth])
        return prepared

    return values_of


def _changes(
    fields: Sequence[Any], types: Sequence[type]
) -> list[tuple[int, _Prepare]]:
    return [
        (nth, _prepare(field, kind))
        for nth, (field, kind) in enumerate(zip(fields, types, strict=True))
        if kind is not type(None) and not isinstance(field, _AS_THEY_ARE.get(kind, ()))
    ]


def _table(model: type[models.Model]) -> str:
    return connection.ops.quote_name(model._meta.db_table)


def _columns(model: type[models.Model]) -> str:
    return ", ".join(map(_quoted, model._meta.concrete_fields))


def _id(model: type[models.Model]) -> str:
    return _quoted(model._meta.pk)


def _quoted(field: Any) -> str:
    return connection.ops.quote_name(str(field.column))


def _follow_links(rows: Sequence[models.Model]) -> None:
    """Take the ids of rows that were inserted after these were made."""
    links = [
        (field.name, field.attname)
        for field in rows[0]._meta.local_concrete_fields
        if isinstance(field, models.ForeignKey)
    ]
    for row in rows:
        made, said = row._state.fields_cache, vars(row)
        for name, attname in links:
            if made.get(name) is not None and said.get(attname) is None:
                said[attname] = made[name].pk


def _prepare(field: models.Field[Any, Any], kind: type) -> _Prepare:
    if isinstance(field, _AS_THEY_ARE[str]):
        return str  # a word of a vocabulary is an enum
    if isinstance(field, models.DateTimeField) and kind is datetime:
        return _in_utc if connection.vendor == "sqlite" else _as_it_is
    return lambda value: field.get_db_prep_save(value, connections[DEFAULT_DB_ALIAS])


def _in_utc(value: datetime) -> str:
    """As Django has SQLite keep it."""
    return str(value.astimezone(UTC).replace(tzinfo=None))


def _as_it_is(value: datetime) -> datetime:
    return value


def reserve(model: type[models.Model], count: int) -> Sequence[int]:
    """Take ids for new rows; needs the transaction that inserts them.

    Args:
        model: The table.
        count: How many.

    Returns:
        Ids in ascending order. On SQLite those without a row are given out again.
    """
    table, column = model._meta.db_table, model._meta.pk.column
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT nextval(pg_get_serial_sequence(%s, %s))"
                " FROM generate_series(1, %s)",
                [connection.ops.quote_name(table), column, count],
            )
            return [pk for (pk,) in cursor.fetchall()]
        # The whole file is locked, so nobody else takes these; the table's sequence
        # follows the highest id that was inserted.
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        last = cursor.fetchone()
    first = (last[0] if last else 0) + 1
    return range(first, first + count)
