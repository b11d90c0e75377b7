"""Inserting thousands of rows in one short burst.

``bulk_create`` writes one statement for every few dozen rows and takes longer to write
the SQL than the database takes to run it, all of it under the write lock. Here the ids
are reserved first, in one query, and the rows go in through one prepared statement.
"""

from __future__ import annotations

import gc
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from django.db import connection, models

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

FEW = 50
"""Up to so many rows Django's own insert is as fast."""

_AS_IT_IS = (models.IntegerField, models.ForeignKey)


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


def insert(rows: Sequence[models.Model]) -> None:
    """Insert new rows of one table and give them their ids; needs a transaction.

    Args:
        rows: Unsaved rows of one model, which has no parents and no ``pre_save``
            fields such as ``auto_now``.

    Raises:
        RuntimeError: Outside a transaction, where half a batch could stay.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("Inserting many rows needs an open transaction.")
    if not rows:
        return
    model = type(rows[0])
    if len(rows) <= FEW:
        model._default_manager.bulk_create(rows)
        return
    for row, pk in zip(rows, _reserve(model, len(rows)), strict=True):
        row.pk = pk
    fields = model._meta.local_concrete_fields
    columns = ", ".join(
        connection.ops.quote_name(str(field.column)) for field in fields
    )
    marks = ", ".join(["%s"] * len(fields))
    table = connection.ops.quote_name(model._meta.db_table)
    sql = f"INSERT INTO {table} ({columns}) VALUES ({marks})"  # noqa: S608 -- our names
    _follow_links(rows)
    getters = [(field.attname, _prepare(field)) for field in fields]
    values = [
        [prepare(getattr(row, name)) for name, prepare in getters] for row in rows
    ]
    with connection.cursor() as cursor:
        cursor.executemany(sql, values)
    for row in rows:
        row._state.adding = False
        row._state.db = connection.alias


def _follow_links(rows: Sequence[models.Model]) -> None:
    """Take the ids of rows that were inserted after these were made."""
    links = [
        field
        for field in rows[0]._meta.local_concrete_fields
        if isinstance(field, models.ForeignKey)
    ]
    for row in rows:
        for link in links:
            if getattr(row, link.attname) is None and link.is_cached(row):
                to = link.get_cached_value(row)
                setattr(row, link.attname, None if to is None else to.pk)


def _prepare(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    if isinstance(field, _AS_IT_IS):
        return _same
    if isinstance(field, models.CharField):
        return _text
    return lambda value: field.get_db_prep_save(value, connection)


def _same(value: Any) -> Any:
    return value


def _text(value: Any) -> Any:
    return None if value is None else str(value)  # a word of a vocabulary is an enum


def _reserve(model: type[models.Model], count: int) -> Sequence[int]:
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
