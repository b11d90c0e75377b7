"""Reading long tables side by side without holding them in memory."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from operator import itemgetter
from typing import Any, TypeAlias, TypeVar

from django.db import connection
from django.db.models import Model, QuerySet

BATCH = 500

Item = TypeVar("Item")
Key: TypeAlias = Any
Row: TypeAlias = tuple[Any, ...]
Statement: TypeAlias = tuple[str, tuple[Any, ...]]
Ids: TypeAlias = Collection[int] | None
Found = TypeVar("Found", bound=QuerySet[Any, Any])
Asked: TypeAlias = "QuerySet[Any, Any] | Composed"


@dataclass(frozen=True)
class Composed:
    """A ``values_list`` of which Django has composed the statement."""

    statement: Statement
    width: int | None
    """How many columns are asked for, where others come behind them to be sorted by."""
    converters: list[tuple[int, list[Any], Any]]
    """What Django reads a column with, by where it is."""


def composed(
    queries: Callable[..., Iterable[QuerySet[Any, Any]]],
) -> Callable[..., Sequence[Asked]]:
    """Compose queries once for each kind of database: most of the time of a small proof.

    Args:
        queries: Gives them, for ``rows``, with nothing in them that changes; it may take
            values, such as ids, for which they are composed each time, but for None.

    Returns:
        The same, composed.
    """

    @cache
    def whole(_vendor: str, *nothing: None) -> list[Composed]:
        return [_composed(found) for found in queries(*nothing)]

    def asked(*values: Any) -> Sequence[Asked]:
        nothing = [None for each in values if each is None]
        if len(nothing) < len(values):
            return list(queries(*values))
        return whole(connection.vendor, *nothing)

    return asked


def _composed(found: QuerySet[Any, Any]) -> Composed:
    compiler = found.query.get_compiler(connection=connection)
    statement = compiler.as_sql()
    columns = [column for column, *_how in compiler.select]
    converters = compiler.get_converters(columns)
    read = [(at, *converters[at]) for at in converters]
    width = len(columns) if compiler.has_extra_select else None
    return Composed(statement, width, read)


def rows(found: Asked) -> Iterator[Row]:
    """Give rows one by one, fetched in batches.

    Args:
        found: A ``values_list`` in the order in which it is to be read.

    Returns:
        Its rows.
    """
    if isinstance(found, Composed):
        plain = found.width is None and not found.converters
        return stored(found) if plain else _converted(found)
    return found.iterator(chunk_size=BATCH)


def _converted(found: Composed) -> Iterator[Row]:
    for plain in stored(found):
        row = list(plain[: found.width])
        for at, converters, column in found.converters:
            for convert in converters:
                row[at] = convert(row[at], column, connection)
        yield tuple(row)


def stored(found: Asked | Statement) -> Iterator[Row]:
    """Give rows as a bare cursor does, for ``canon.writer``: Django reads every moment.

    Args:
        found: A ``values_list`` of columns alone, or its statement.

    Yields:
        Its rows.
    """
    if isinstance(found, Composed):
        found = found.statement
    statement, values = found if isinstance(found, tuple) else statement_of(found)
    with connection.chunked_cursor() as cursor:
        cursor.execute(statement, values)
        while some := cursor.fetchmany(BATCH):
            yield from some


def how_many(found: Asked) -> int:
    """Count rows without reading them.

    Args:
        found: A ``values_list``.

    Returns:
        How many there are.
    """
    if not isinstance(found, Composed):
        return found.count()
    statement, values = found.statement
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM ({statement}) AS found", values)  # noqa: S608 -- ours
        count: int = cursor.fetchone()[0]
    return count


def statement_of(found: QuerySet[Any, Any]) -> Statement:
    """What a query says, to be kept where it is asked again and again.

    Args:
        found: A ``values_list``.

    Returns:
        The statement, in the words of the database that is connected, and its values.
    """
    return found.query.sql_with_params()


def only(found: Found, column: str, ids: Ids) -> Found:
    """Narrow a query to rows of these ids.

    Args:
        found: The query.
        column: Its column that has them.
        ids: The ids; None for every row.

    Returns:
        The query.
    """
    return found if ids is None else found.filter(**{f"{column}__in": ids})


def filled(models: Sequence[type[Model]]) -> list[type[Model]]:
    """Those of some tables that have a row: most of a workshop's, few of a new one's.

    Args:
        models: The tables; at least one.

    Returns:
        Those with rows, asked for at once.
    """
    names = (connection.ops.quote_name(model._meta.db_table) for model in models)
    asked = ", ".join(f"EXISTS (SELECT 1 FROM {name})" for name in names)  # noqa: S608 -- ours
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {asked}")
        return list(itertools.compress(models, cursor.fetchone()))


def batched(items: Iterable[Item], size: int = BATCH) -> Iterator[list[Item]]:
    """Give items in lists of ``size``; the last may be shorter.

    Args:
        items: Any items.
        size: How many at once, at least 1.

    Yields:
        The lists.
    """
    source = iter(items)
    while batch := list(itertools.islice(source, size)):
        yield batch


def grouped(found: Iterable[Row], width: int = 1) -> Iterator[tuple[Key, list[Row]]]:
    """Group rows by their first columns; rows come sorted by these.

    Args:
        found: Rows in the order of their first ``width`` columns.
        width: How many columns make the key.

    Yields:
        The key (a tuple if ``width`` is above 1) and the rows without it.
    """
    key = itemgetter(*range(width))
    for value, group in itertools.groupby(found, key=key):
        yield value, [row[width:] for row in group]


def side_by_side(
    *streams: Iterator[tuple[Key, list[Row]]],
) -> Iterator[tuple[Key, list[list[Row]]]]:
    """Walk through groups of several tables at once, by key.

    Args:
        *streams: What ``grouped`` gives, each with ascending keys.

    Yields:
        Each key that any of them has, and for each stream its rows, empty where it
        has none.
    """
    heads = [next(stream, None) for stream in streams]
    while True:
        key: Key = None
        for head in heads:
            if head is not None and (key is None or head[0] < key):
                key = head[0]
        if key is None:
            return
        here: list[list[Row]] = []
        for place, head in enumerate(heads):
            if head is None or head[0] != key:
                here.append([])
                continue
            here.append(head[1])
            heads[place] = next(streams[place], None)
        yield key, here
