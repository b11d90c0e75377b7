"""Seals: every row on which a decision rests, as the act left it that touched it last.

What is written once is covered by the link of its act. For every row that may change
the database itself notes, by trigger, which ones a statement made, changed or removed.
At its end an act takes up what it touched and writes a copy of each such row, which its
link then covers like all else; nothing has to name its tables for that. A proof
compares each row with its last copy, and names what was touched by no act.

A column that something else on record says already (a stage is replayed from its events)
is left out: its model's ``unsealed`` says so, and why.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, TypeAlias

from django.apps import apps
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model, Q

from kitting.ledger import bulk, upheld
from kitting.ledger.canon import Write, among, columns, object_writer
from kitting.ledger.kept import MOST_VALUES, rows_by_id
from kitting.ledger.stencils import Stencil
from kitting.models import Guarded, Operation, RowSeal, Touched

if TYPE_CHECKING:
    from kitting.ledger.operations import Act

UNSEALED: Mapping[str, str] = {
    "django_session": "who is signed in at the moment",
    "axes_accessattempt": "passwords that were tried",
    "axes_accessattemptexpiration": "passwords that were tried",
    "axes_accessfailurelog": "passwords that were tried",
    "axes_accesslog": "passwords that were tried",
}
"""Tables of others that decide nothing that stays, and what they hold."""

SECRET = {"password", "pin"}
"""Columns of which a seal says the hash alone: links are exported, and seals are read."""

FUNCTION = """
CREATE OR REPLACE FUNCTION lotward_guard_touch() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO kitting_touched (act, of, "row") VALUES (
        pg_current_xact_id()::text::bigint,
        TG_TABLE_NAME,
        CASE TG_OP WHEN 'DELETE' THEN OLD.id ELSE NEW.id END
    );
    RETURN NULL;
END $$
"""


@cache
def sealed_models() -> Mapping[str, type[Model]]:
    """The tables whose rows are sealed, by name, in the order of the alphabet."""
    every = {
        model._meta.db_table: model
        for model in apps.get_models(include_auto_created=True)
    }
    return {
        table: model
        for table, model in sorted(every.items())
        if table not in UNSEALED
        and model is not Operation
        and not issubclass(model, Guarded)
        and len(sealed_columns(model)) > 1
    }


@cache
def sealed_columns(model: type[Model]) -> tuple[str, ...]:
    """The columns of a table that a seal says, its id among them.

    Args:
        model: The table.

    Returns:
        Attribute names, in the order of the alphabet.
    """
    unsealed = getattr(model, "unsealed", {})
    return tuple(name for name in columns(model) if name not in unsealed)


# -- Noting what is touched -----------------------------------------------------------


def wanted(
    connection: BaseDatabaseWrapper, tables: set[str], prefix: str
) -> list[tuple[str, str]]:
    """Name and statement of every trigger that notes what is touched.

    Args:
        connection: The database.
        tables: The tables that it has.
        prefix: How the triggers' names begin.

    Returns:
        Nothing while the table of notes is not there.
    """
    if Touched._meta.db_table not in tables:
        return []
    make = _sqlite if connection.vendor == "sqlite" else _postgresql
    return [
        trigger
        for table, model in sealed_models().items()
        if table in tables
        for trigger in make(f"{prefix}{table}", table, _changed(connection, model))
    ]


def _changed(connection: BaseDatabaseWrapper, model: type[Model]) -> str:
    differs = "IS NOT" if connection.vendor == "sqlite" else "IS DISTINCT FROM"
    fields = {field.attname: field for field in model._meta.concrete_fields}
    names = [str(fields[name].column) for name in sealed_columns(model)]
    return " OR ".join(f'NEW."{name}" {differs} OLD."{name}"' for name in names)


_NAMES = '(act, of, "row")'
_NEWEST = "coalesce((SELECT max(id) FROM kitting_operation), 0)"


def _sqlite(name: str, table: str, changed: str) -> Iterator[tuple[str, str]]:
    for act, row, when in (
        ("INSERT", "NEW", ""),
        ("UPDATE", "NEW", f"WHEN {changed} "),
        ("DELETE", "OLD", ""),
    ):
        full = f"{name}_touch_{act.lower()}"
        note = f"INSERT INTO kitting_touched {_NAMES} VALUES ({_NEWEST}, '{table}'"  # noqa: S608 -- our names
        statement = (
            f'CREATE TRIGGER "{full}" AFTER {act} ON "{table}" FOR EACH ROW {when}'
            f"BEGIN {note}, {row}.id); END"
        )
        yield full, statement


def _postgresql(name: str, table: str, changed: str) -> Iterator[tuple[str, str]]:
    for end, act, when in (
        ("touch", "INSERT OR DELETE", ""),
        ("touch_update", "UPDATE", f"WHEN ({changed}) "),
    ):
        statement = (
            f'CREATE TRIGGER "{name}_{end}" AFTER {act} ON "{table}" FOR EACH ROW'
            f" {when}EXECUTE FUNCTION lotward_guard_touch()"
        )
        yield f"{name}_{end}", statement


MANY = 5_000
"""So many rows are read with one query."""
Row: TypeAlias = Sequence[Any]


# -- Sealing --------------------------------------------------------------------------


def seal(act: Act, *, first: bool) -> None:
    """Write a copy of every row that an act touched; needs its open transaction.

    Args:
        act: The act, at its end.
        first: Whether it is the first of the workshop: it seals all that it found, and
            answers for what it touched itself.

    Raises:
        LotwardError: What a rule of ``upheld`` finds wrong with what was touched.
    """
    known = sealed_models()
    taken, own, once = _take_up(act.operation.pk, first=first)
    touched = {known[table]: taken[table] for table in sorted(taken) if table in known}
    if not touched:
        return
    if not act.upheld:
        upheld.need({known[table]: own[table] for table in own if table in known})
    copies: list[Copied] = []
    for model, ids in touched.items():
        table = model._meta.db_table
        said = act.copies.get(table, {})
        filled = ids & once[table] & said.keys()
        copies += [(table, pk, said[pk]) for pk in sorted(filled)]
        copies += _copies(table, model, ids - filled, once[table])
    if len(copies) > bulk.FEW:
        act.fill([(_blank_seal(), each) for each in copies])
    else:
        act.write(
            *(
                bulk.fresh(RowSeal, of=table, row=pk, text=text)
                for table, pk, text in copies
            )
        )


Copied: TypeAlias = tuple[str, int, str]
"""Table, id and columns of a row."""


@cache
def _blank_seal() -> Stencil:
    return Stencil(RowSeal(), "id", "operation_id", "of", "row", "text")


def stencil(row: Model, *blanks: str) -> Stencil:
    """Write a row of a sealed table in advance, for ``Act.fill``.

    Args:
        row: A new row.
        blanks: Its columns that are filled in later, after the id.

    Returns:
        What fills them in.
    """
    return Stencil(row, "id", *blanks, sealed=sealed_columns(type(row)))


def _take_up(
    operation: int, *, first: bool
) -> tuple[dict[str, set[int]], dict[str, set[int]], dict[str, set[int]]]:
    """What an act seals, what of that it touched itself, and that once, by table."""
    sqlite = connection.vendor == "sqlite"
    mine = "act = %s" if sqlite else f"act = {_THIS_TRANSACTION}"
    which = "" if first else f" WHERE {mine}"
    sql = f'DELETE FROM kitting_touched{which} RETURNING of, "row", {mine}'  # noqa: S608 -- ours
    with connection.cursor() as cursor:
        cursor.execute(sql, [operation] * sql.count("%s"))
        found = cursor.fetchall()
    touched: dict[str, set[int]] = defaultdict(set)
    own: dict[str, set[int]] = defaultdict(set)
    once: dict[str, set[int]] = defaultdict(set)
    for table, row, itself in found:
        if row in touched[table]:
            once[table].discard(row)
        else:
            once[table].add(row)
        touched[table].add(row)
        if itself:
            own[table].add(row)
    return touched, own, once


_THIS_TRANSACTION = "pg_current_xact_id()::text::bigint"


def _copies(
    table: str, model: type[Model], ids: set[int], once: set[int]
) -> list[Copied]:
    names = sealed_columns(model)
    at = names.index("id")
    found = {row[at]: copy(names, row) for row in _read(model, ids, once, names)}
    return [(table, pk, found.get(pk, "")) for pk in sorted(ids)]


def _read(
    model: type[Model], touched: set[int], once: set[int], names: Sequence[str]
) -> Iterator[Row]:
    ask = rows_by_id(model)
    # A row that was touched again is not what its first statement left.
    known = {pk: ask.foreseen(pk) for pk in touched}
    rows = [row for pk in once for row in known.get(pk) or ()]
    ids = sorted(touched - {row.pk for row in rows})
    if ids and len(ids) <= MOST_VALUES:
        rows, ids = rows + ask(*ids), []
    for one in rows:
        yield [getattr(one, name) for name in names]
    for first in range(0, len(ids), MANY):
        some = set(ids[first : first + MANY])
        for row in model._base_manager.filter(among("pk", some)).values_list(*names):
            if row[names.index("id")] in some:
                yield row


def touched_by(*rows: Model) -> set[int]:
    """Who made or changed rows, by any act so far.

    Args:
        *rows: Rows of sealed tables.

    Returns:
        Ids of people.
    """
    those = Q(pk__in=())
    for row in rows:
        those |= Q(of=row._meta.db_table, row=row.pk)
    found = RowSeal.objects.filter(those)
    return set(found.values_list("operation__by_id", flat=True))


def copy(names: tuple[str, ...], values: Sequence[Any]) -> str:
    """Write a row as its seal says it.

    Args:
        names: Its columns, as ``sealed_columns`` has them.
        values: Their values, as the database gives them.

    Returns:
        JSON, names in the order of the alphabet, empty columns left out.
    """
    write, secret = _writing(names)
    if not secret:
        return write(values)
    said = list(values)
    for nth in secret:
        said[nth] = hashlib.sha256(said[nth].encode()).hexdigest()
    return write(said)


@cache
def _writing(names: tuple[str, ...]) -> tuple[Write, list[int]]:
    return object_writer(names), [names.index(n) for n in SECRET.intersection(names)]
