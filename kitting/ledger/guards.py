"""Triggers by which the database itself refuses to bend history.

Guarded tables are written once: no UPDATE, DELETE, TRUNCATE, and on SQLite no
``INSERT OR REPLACE`` over a row that is there. A few mutable tables have guards of
their own: a box keeps its identity, what is in a closed box stays in it.

``install_guards()`` is idempotent and ends every migration that touches one of these
tables, because SQLite drops a table's triggers whenever Django rebuilds the table.
"""

from __future__ import annotations

import re
from typing import Any

from django.apps import apps
from django.db import connection as default_connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model, UniqueConstraint

from kitting.ledger import seals
from kitting.ledger.guard_rules import FIXED, HANDED_OVER, condition
from kitting.models.base import Guarded

PREFIX = "lotward_guard_"
IDENTITY = ("serial", "sscc", "packed_on", "batch", "closed_at")
KEPT = (
    "kitting_lot",
    "kitting_bag",
    "kitting_run",
    "kitting_box",
    "dispatch_shipment",
    "dispatch_consignee",
    "dispatch_pallet",
)
"""Tables whose rows may change but never go."""
PROTOCOL = "kitting_protocol"
"""Its rows may go until they are signed."""
LINE = "kitting_boxline"
ALONE = {
    "kitting_box": (
        "(bench_id = NEW.bench_id AND stage IN ('open', 'closed')"
        " AND NEW.stage IN ('open', 'closed')"
        " AND place_id IS NULL AND NEW.place_id IS NULL)"
    ),
    "kitting_run": (
        "(line_id = NEW.line_id AND stage = 'open' AND NEW.stage = 'open')"
    ),
    LINE: (
        "(box_id = NEW.box_id AND bag_id = NEW.bag_id AND run_id IS NULL"
        " AND NEW.run_id IS NULL)"
    ),
}
"""What conditional unique constraints of these tables say, for SQLite's REPLACE."""
NAMED = {
    "kitting_box": ["bench_id", "stage", "place_id"],
    "kitting_run": ["line_id", "stage"],
}
"""Columns that these conditions name, where rows change."""

_FUNCTION = f"""
CREATE OR REPLACE FUNCTION {PREFIX}refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'guarded: %', TG_ARGV[0] USING ERRCODE = 'restrict_violation';
END $$
"""
_LINE_FUNCTION = f"""
CREATE OR REPLACE FUNCTION {PREFIX}boxline() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE which bigint;
BEGIN
    IF TG_OP = 'DELETE' THEN which := OLD.box_id; ELSE which := NEW.box_id; END IF;
    IF NOT EXISTS (SELECT 1 FROM kitting_box WHERE id = which AND stage = 'open') THEN
        RAISE EXCEPTION 'guarded: box is not open' USING ERRCODE = 'restrict_violation';
    END IF;
    IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
    IF TG_OP = 'UPDATE'
            AND (OLD.id, OLD.box_id, OLD.bag_id, OLD.lot_id, OLD.run_id)
            IS DISTINCT FROM (NEW.id, NEW.box_id, NEW.bag_id, NEW.lot_id, NEW.run_id)
    THEN
        RAISE EXCEPTION 'guarded: line moved' USING ERRCODE = 'restrict_violation';
    END IF;
    IF NEW.lot_id IS DISTINCT FROM
            (SELECT lot_id FROM kitting_bag WHERE id = NEW.bag_id) THEN
        RAISE EXCEPTION 'guarded: not the lot of the bag'
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$
"""
_BENCH_FUNCTION = f"""
CREATE OR REPLACE FUNCTION {PREFIX}box_bench() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT ({HANDED_OVER}) THEN
        RAISE EXCEPTION 'guarded: bench of a box' USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$
"""
_FUNCTIONS = {
    "refuse": _FUNCTION,
    "boxline": _LINE_FUNCTION,
    "box_bench": _BENCH_FUNCTION,
    "touch": seals.FUNCTION,
}


def guarded_models() -> list[type[Model]]:
    """Every model whose rows are written once, operations included."""
    operation = apps.get_model("kitting", "Operation")
    found = [m for m in apps.get_models() if issubclass(m, Guarded)]
    return sorted([operation, *found], key=lambda m: m._meta.db_table)


def install_guards(connection: BaseDatabaseWrapper | None = None) -> None:
    """Install or renew every guard whose table exists."""
    connection = connection or default_connection
    drop_guards(connection)
    with connection.cursor() as cursor:
        for statement in guard_statements(connection):
            cursor.execute(statement)


def guard_statements(connection: BaseDatabaseWrapper) -> list[str]:
    """What makes every guard whose table exists, where none is."""
    triggers = [statement for _name, statement in wanted_guards(connection)]
    if connection.vendor == "postgresql":
        return [*_FUNCTIONS.values(), *triggers]
    return triggers


def drop_guards(connection: BaseDatabaseWrapper | None = None) -> None:
    """Remove every guard; for migrations that must rebuild a table, and for tests."""
    connection = connection or default_connection
    with connection.cursor() as cursor:
        for name, table in _present(connection).items():
            where = f' ON "{table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'DROP TRIGGER "{name}"{where}')


def missing_guards(connection: BaseDatabaseWrapper | None = None) -> list[str]:
    """Names of guards that the database lacks or that say something else."""
    connection = connection or default_connection
    wanted = dict(wanted_guards(connection))
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
                " AND name LIKE %s",
                [f"{PREFIX}%"],
            )
            found = {name: _flat(sql) for name, sql in cursor.fetchall()}
        return sorted(n for n, sql in wanted.items() if found.get(n) != _flat(sql))
    return _missing_postgresql(connection, wanted)


def _missing_postgresql(
    connection: BaseDatabaseWrapper, wanted: dict[str, str]
) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgname, pg_get_triggerdef(oid) FROM pg_trigger"
            " WHERE tgname LIKE %s AND tgenabled IN ('O', 'A')",
            [f"{PREFIX}%"],
        )
        found = {name: _bare(sql) for name, sql in cursor.fetchall()}
        cursor.execute(
            "SELECT proname, prosrc FROM pg_proc WHERE proname LIKE %s"
            " AND pronamespace = current_schema()::regnamespace",
            [f"{PREFIX}%"],
        )
        bodies = {name: _flat(body) for name, body in cursor.fetchall()}
    missing = [name for name, sql in wanted.items() if found.get(name) != _bare(sql)]
    for name, statement in _FUNCTIONS.items():
        if wanted and bodies.get(f"{PREFIX}{name}") != _flat(statement.split("$$")[1]):
            missing.append(f"{PREFIX}{name}()")
    return sorted(missing)


def _flat(sql: str) -> str:
    return re.sub(r"\s+", " ", sql).strip()


def _bare(sql: str) -> str:
    """A trigger's statement without what PostgreSQL adds when it gives it back."""
    plain = re.sub(r"::\w+|[()\"]|\bpublic\.", "", sql.lower())
    return _flat(plain)


def _present(connection: BaseDatabaseWrapper) -> dict[str, str]:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            sql = (
                "SELECT name, tbl_name FROM sqlite_master"
                " WHERE type = 'trigger' AND name LIKE %s"
            )
        else:
            sql = (
                "SELECT t.tgname, c.relname FROM pg_trigger t"
                " JOIN pg_class c ON c.oid = t.tgrelid WHERE t.tgname LIKE %s"
            )
        cursor.execute(sql, [f"{PREFIX}%"])
        return dict(cursor.fetchall())


def wanted_guards(
    connection: BaseDatabaseWrapper | None = None,
) -> list[tuple[str, str]]:
    """Name and statement of every guard whose table exists."""
    connection = connection or default_connection
    tables = set(connection.introspection.table_names())
    fixed = [*_fixed(connection, tables), *seals.wanted(connection, tables, PREFIX)]
    if connection.vendor == "sqlite":
        return [*_sqlite(tables), *fixed]
    return [*_postgresql(tables), *fixed]


def _fixed(connection: BaseDatabaseWrapper, tables: set[str]) -> list[tuple[str, str]]:
    """What stays as it was written."""
    sqlite = connection.vendor == "sqlite"
    differs = "IS NOT" if sqlite else "IS DISTINCT FROM"
    make = _sqlite_trigger if sqlite else _pg_trigger
    made = []
    for rule in FIXED:
        if rule.table not in tables:
            continue
        when = condition(rule, differs=differs)
        made.append(make(rule.name, "UPDATE", rule.table, rule.words, when))
    if PROTOCOL in tables:
        signed = "OLD.signed_by <> ''"
        words = "protocol is signed"
        made.append(make("protocol_gone", "DELETE", PROTOCOL, words, signed))
    return made


def _keys(model: type[Model]) -> list[tuple[str, ...]]:
    """Column groups that may stand only once in a table, its id first."""
    meta = model._meta
    keys: list[tuple[str, ...]] = [
        (str(field.column),)
        for field in meta.concrete_fields
        if field.primary_key or field.unique
    ]
    for constraint in meta.constraints:
        if isinstance(constraint, UniqueConstraint) and constraint.condition is None:
            columns: list[Any] = [meta.get_field(f) for f in constraint.fields]
            keys.append(tuple(str(field.column) for field in columns))
    return keys


def _taken(model: type[Model], where: str = "") -> str:
    """SQL: a row has a key of the new row. Each key is asked for by its own index."""
    table = model._meta.db_table
    keys = [" AND ".join(f'"{c}" = NEW."{c}"' for c in key) for key in _keys(model)]
    if table in ALONE:
        keys.append(ALONE[table])
    return " OR ".join(
        f'EXISTS (SELECT 1 FROM "{table}" WHERE {where}{key})' for key in keys
    )


def _sqlite(tables: set[str]) -> list[tuple[str, str]]:
    made = []
    for model in guarded_models():
        table = model._meta.db_table
        if table not in tables:
            continue
        made += [
            _sqlite_trigger(f"{table}_{act.lower()}", act, table, table)
            for act in ("UPDATE", "DELETE")
        ]
        made.append(_sqlite_no_replace(model))
    for model in apps.get_models():
        table = model._meta.db_table
        if table not in tables or table not in (*KEPT, LINE, PROTOCOL):
            continue
        # REPLACE deletes what stands in its way without any DELETE trigger.
        made.append(_sqlite_no_replace(model))
        if table in KEPT:
            made.append(_sqlite_trigger(f"{table}_delete", "DELETE", table, table))
        if table != LINE:
            made.append(_sqlite_no_replace_by_update(model))
    if "kitting_box" in tables:
        made += _sqlite_box()
    return made


def _sqlite_no_replace(model: type[Model]) -> tuple[str, str]:
    """What the statement wrote before stays: see ``bulk.insert_values``."""
    table = model._meta.db_table
    words, taken = f"{table} has that key", _taken(model)
    name, sql = _sqlite_trigger(f"{table}_replace", "INSERT", table, words, taken)
    return name, sql.replace("RAISE(ABORT,", "RAISE(FAIL,")


def _sqlite_no_replace_by_update(
    model: type[Model],
) -> tuple[str, str]:
    table = model._meta.db_table
    of = [column for key in _keys(model) for column in key]
    of += NAMED.get(table, [])
    return _sqlite_trigger(
        f"{table}_update_replace",
        f"UPDATE OF {', '.join(of)}",
        table,
        f"{table} has that key",
        _taken(model, "id <> OLD.id AND "),
    )


def _sqlite_box() -> list[tuple[str, str]]:
    changed = " OR ".join(
        f"(OLD.{c} IS NOT NULL AND OLD.{c} <> '' AND NEW.{c} IS NOT OLD.{c})"
        for c in IDENTITY
    )
    reopened = "(OLD.stage <> 'open' AND NEW.stage = 'open')"
    still_open = "(SELECT stage FROM kitting_box WHERE id = {0}.box_id) IS NOT 'open'"
    other_lot = (
        "NEW.lot_id IS NOT (SELECT lot_id FROM kitting_bag WHERE id = NEW.bag_id)"
    )
    moved = " OR ".join(
        f"NEW.{c} IS NOT OLD.{c}"
        for c in ("id", "box_id", "bag_id", "lot_id", "run_id")
    )
    return [
        _sqlite_trigger(
            "box_identity",
            "UPDATE",
            "kitting_box",
            "box identity",
            f"{changed} OR {reopened}",
        ),
        _sqlite_trigger(
            "box_bench",
            "UPDATE",
            "kitting_box",
            "bench of a box",
            f"NEW.bench_id IS NOT OLD.bench_id AND NOT ({HANDED_OVER})",
        ),
        _sqlite_trigger(
            "bag_lot",
            "UPDATE",
            "kitting_bag",
            "lot of a bag",
            "NEW.lot_id IS NOT OLD.lot_id",
        ),
        _sqlite_trigger(
            "boxline_insert",
            "INSERT",
            LINE,
            "box is not open, or not the lot of the bag",
            f"{still_open.format('NEW')} OR {other_lot}",
        ),
        _sqlite_trigger(
            "boxline_update",
            "UPDATE",
            LINE,
            "box is not open, or line moved",
            f"{still_open.format('OLD')} OR {moved}",
        ),
        _sqlite_trigger(
            "boxline_delete",
            "DELETE",
            LINE,
            "box is not open",
            still_open.format("OLD"),
        ),
    ]


def _sqlite_trigger(
    name: str, act: str, table: str, words: str, when: str = ""
) -> tuple[str, str]:
    condition = f"WHEN {when} " if when else ""
    full = f"{PREFIX}{name}"
    return full, (
        f'CREATE TRIGGER "{full}" BEFORE {act} ON "{table}" FOR EACH ROW {condition}'
        f"BEGIN SELECT RAISE(ABORT, 'guarded: {words}'); END"
    )


def _postgresql(tables: set[str]) -> list[tuple[str, str]]:
    made = []
    for model in guarded_models():
        table = model._meta.db_table
        if table in tables:
            made.append(_pg_trigger(f"{table}_row", "DELETE OR UPDATE", table, table))
            made.append(_pg_truncate(table))
    for table in KEPT:
        if table in tables:
            made.append(_pg_trigger(f"{table}_delete", "DELETE", table, table))
            made.append(_pg_truncate(table))
    if "kitting_box" in tables:
        changed = " OR ".join(
            f"(OLD.{c} IS NOT NULL AND OLD.{c}::text <> ''"
            f" AND NEW.{c} IS DISTINCT FROM OLD.{c})"
            for c in IDENTITY
        )
        reopened = "(OLD.stage <> 'open' AND NEW.stage = 'open')"
        made.append(
            _pg_trigger(
                "box_identity",
                "UPDATE",
                "kitting_box",
                "box identity",
                f"{changed} OR {reopened}",
            )
        )
        made.append(
            _pg_trigger(
                "bag_lot",
                "UPDATE",
                "kitting_bag",
                "lot of a bag",
                "NEW.lot_id IS DISTINCT FROM OLD.lot_id",
            )
        )
        moved = "NEW.bench_id IS DISTINCT FROM OLD.bench_id"
        name, trigger = _pg_trigger("box_bench", "UPDATE", "kitting_box", "", moved)
        made.append((name, trigger.replace("refuse('')", "box_bench()")))
        name = f"{PREFIX}boxline_row"
        statement = (
            f'CREATE TRIGGER "{name}" BEFORE INSERT OR DELETE OR UPDATE'
            f" ON {LINE} FOR EACH ROW EXECUTE FUNCTION {PREFIX}boxline()"
        )
        made.append((name, statement))
        made.append(_pg_truncate(LINE))
    return made


def _pg_trigger(
    name: str, acts: str, table: str, words: str, when: str = ""
) -> tuple[str, str]:
    condition = f"WHEN ({when}) " if when else ""
    full = f"{PREFIX}{name}"
    return full, (
        f'CREATE TRIGGER "{full}" BEFORE {acts} ON "{table}" FOR EACH ROW {condition}'
        f"EXECUTE FUNCTION {PREFIX}refuse('{words}')"
    )


def _pg_truncate(table: str) -> tuple[str, str]:
    full = f"{PREFIX}{table}_truncate"
    return full, (
        f'CREATE TRIGGER "{full}" BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT'
        f" EXECUTE FUNCTION {PREFIX}refuse('{table}')"
    )
