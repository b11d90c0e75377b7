"""The schema that the database has, against the one that the migrations make.

An empty schema is made beside it, in memory or of temporary tables: every table as the
migrations leave it, and every guard. Both are read in the same way, so that nothing need
be known of how a version of a database writes what it was told. What is missing, altered
or was added is named: a trigger that swallows holds too.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache, lru_cache
from itertools import groupby
from typing import Any, NamedTuple, TypeAlias

from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from kitting.ledger.guards import PREFIX, guard_statements
from kitting.ledger.proof.faults import Tally


class Part(NamedTuple):
    """A table, a column, an index, a trigger: whatever a schema is made of."""

    table: str
    """What it belongs to."""
    kind: str
    name: str
    says: str
    """What it is; without the name, where the name is the database's own affair."""


def stands(tally: Tally) -> None:
    """Nothing of the schema is missing or altered, and nothing was added.

    Args:
        tally: Where parts are counted and faults noted.
    """
    wanted, found = _wanted(connection.vendor), _counted(connection)
    tally.count = found.total()
    if dict(wanted) == dict(found):
        return
    # Nearly all of it is the same by name as well.
    lost, strange = [*(wanted - found).elements()], [*(found - wanted).elements()]
    missing = _named(_less(lost, strange))
    added = _named(_less(strange, lost))
    # A table that is not there, or should not be, is one fault and not twenty.
    whole = {
        key[0] for key in missing.keys() ^ added.keys() if key[1] in {"table", "view"}
    }
    for key in sorted(missing.keys() | added.keys()):
        table, kind, name = key
        if table in whole and kind not in {"table", "view"}:
            continue
        expected, is_there = missing.get(key, "none"), added.get(key, "none")
        how = "is altered" if key in missing else "was added"
        if key not in added:
            how = "is missing"
            if kind in {"table", "column"}:
                tally.note = (
                    "Nothing else is compared while a table or column is missing."
                )
        tally.add(table, None, f"The {kind} {name} {how}.", expected, is_there)


def _less(these: Iterable[Part], those: Iterable[Part]) -> list[Part]:
    """What is among these and not among those, whatever it is called."""
    known = Counter(_nameless(part) for part in those)
    left = []
    for part in these:
        if known[_nameless(part)]:
            known[_nameless(part)] -= 1
        else:
            left.append(part)
    return left


def _nameless(part: Part) -> tuple[str, str, str]:
    # What migrations call an index or constraint depends on which of them made it.
    called = part.kind in {"index", "constraint"}
    return part.table, part.kind, part.says if called else f"{part.name} {part.says}"


def _named(parts: list[Part]) -> dict[tuple[str, str, str], str]:
    by_name = groupby(sorted(parts), key=lambda part: part[:3])
    return {key: "; ".join(part.says for part in same) for key, same in by_name}


@cache
def _wanted(vendor: str) -> Counter[Part]:
    return Counter(made(vendor))


def _counted(database: BaseDatabaseWrapper) -> Counter[Part]:
    if database.vendor == "sqlite":
        return _sqlite_counted(_sqlite_told(database))
    return Counter(_read(database))


@cache
def made(vendor: str) -> list[Part]:
    """What a schema made anew consists of; nothing of it stays in the database.

    Args:
        vendor: The kind of the database that is connected.

    Returns:
        Its parts.
    """
    scratch = connection.copy()
    if vendor == "sqlite":
        scratch.settings_dict["NAME"] = ":memory:"
    models: list[Any] = [
        MigrationRecorder.Migration,
        *MigrationLoader(None).project_state().apps.get_models(),
    ]
    try:
        with scratch.cursor() as cursor:
            if vendor == "postgresql":
                cursor.execute("SET search_path TO pg_temp")
            with scratch.schema_editor(atomic=False) as editor:
                for model in models:
                    editor.create_model(model)
            for statement in guard_statements(scratch):
                # A function of a temporary schema is found by its full name alone.
                where = "pg_temp." if vendor == "postgresql" else ""
                own = f"FUNCTION {where}{PREFIX}"
                cursor.execute(statement.replace(f"FUNCTION {PREFIX}", own))
        return list(_read(scratch))
    finally:
        if scratch.connection:  # its own close() spares a database in memory
            scratch.connection.close()


def _read(database: BaseDatabaseWrapper) -> Iterator[Part]:
    return _sqlite(database) if database.vendor == "sqlite" else _postgresql(database)


# -- SQLite ---------------------------------------------------------------------------

_WORD = re.compile(
    r"""\s+ | '(?:[^']|'')*' | "(?:[^"]|"")*" | `[^`]*` | \[[^]]*] | \w+ | .""",
    re.VERBOSE | re.DOTALL,
)
_Told: TypeAlias = tuple[tuple[str, str, str, str], ...]
_UNNAMED = {"UNIQUE", "CHECK", "PRIMARY", "FOREIGN"}


def _sqlite(database: BaseDatabaseWrapper) -> Iterator[Part]:
    return iter(_parts_of(_sqlite_told(database)))


def _sqlite_told(database: BaseDatabaseWrapper) -> _Told:
    with database.cursor() as cursor:
        cursor.execute(
            "SELECT tbl_name, type, name, sql FROM sqlite_master"
            r" WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite\_%' ESCAPE '\'"
        )
        return tuple(cursor.fetchall())


@lru_cache(maxsize=2)
def _sqlite_counted(told: _Told) -> Counter[Part]:
    """Count the parts of a schema; from one proof to the next it hardly ever changes."""
    return Counter(_parts_of(told))


def _parts_of(told: _Told) -> list[Part]:
    parts = []
    for table, kind, name, sql in told:
        if kind == "table":
            parts += _of_table(name, sql)
        else:
            parts.append(_of_another(table, kind, name, sql))
    return parts


@cache
def _of_another(table: str, kind: str, name: str, sql: str) -> Part:
    head, _name, says = _flat(sql).partition(f'"{name}"')
    return Part(table, kind, name, head + says)


@cache
def _of_table(table: str, sql: str) -> list[Part]:
    """The columns and constraints of a table, in whatever order it has them."""
    items, deep, around = [""], 0, ["", ""]
    for word in _WORD.findall(sql):
        deep -= word == ")"
        if not deep:
            around[items != [""]] += word
        elif deep == 1 and word == ",":
            items.append("")
        else:
            items[-1] += word
        deep += word == "("
    head = around[0].partition(f'"{table}"')[0]
    parts = [Part(table, "table", table, _flat(head + around[1].strip("()")))]
    for item in map(_flat, items):
        first, *rest = item.split(" ", 2)
        if first == "CONSTRAINT" and len(rest) == 2:
            parts.append(Part(table, "constraint", rest[0].strip('"'), rest[1]))
        elif re.split(r"\W", first)[0].upper() in _UNNAMED:
            parts.append(Part(table, "constraint", item, item))
        else:
            parts.append(Part(table, "column", first.strip('"'), " ".join(rest)))
    return parts


@cache
def _flat(sql: str) -> str:
    return "".join(
        " " if word.isspace() else word for word in _WORD.findall(sql.strip())
    )


# -- PostgreSQL -----------------------------------------------------------------------

_OURS = """c.relnamespace = current_schema()::regnamespace AND NOT EXISTS (
    SELECT 1 FROM pg_depend WHERE objid = c.oid AND deptype = 'e'
    AND classid = 'pg_class'::regclass
)"""
"""It stands in the schema of the workshop and is no extension's."""
_CATALOGUE = (
    """SELECT c.relname,
        CASE WHEN c.relkind IN ('v', 'm') THEN 'view' ELSE 'table' END, c.relname,
        concat_ws(' ', c.relkind::text, CASE c.relpersistence WHEN 'u' THEN 'unlogged'
        END, CASE WHEN c.relrowsecurity THEN 'row security' END)
    FROM pg_class c WHERE c.relkind NOT IN ('i', 'I', 'S', 't', 'c') AND OURS""",
    """SELECT coalesce(o.relname, c.relname), 'sequence', c.relname, concat_ws(' ',
        seqincrement, seqmin, seqmax, CASE WHEN seqcycle THEN 'cycle' END)
    FROM pg_class c JOIN pg_sequence ON seqrelid = c.oid
    LEFT JOIN pg_depend d ON d.objid = c.oid AND d.deptype IN ('a', 'i')
        AND d.classid = 'pg_class'::regclass AND d.refclassid = 'pg_class'::regclass
    LEFT JOIN pg_class o ON o.oid = d.refobjid WHERE OURS""",
    """SELECT c.relname, 'column', attname, concat_ws(' ',
        format_type(atttypid, atttypmod), CASE WHEN attnotnull THEN 'NOT NULL' END,
        'DEFAULT ' || pg_get_expr(adbin, adrelid), nullif(attidentity, ''),
        nullif(attgenerated, ''),
        CASE WHEN attcollation <> 0 THEN attcollation::regcollation::text END)
    FROM pg_class c JOIN pg_attribute ON attrelid = c.oid
    LEFT JOIN pg_attrdef ON adrelid = c.oid AND adnum = attnum
    WHERE c.relkind IN ('r', 'p') AND attnum > 0 AND NOT attisdropped AND OURS""",
    """SELECT c.relname, 'index', i.relname, replace(pg_get_indexdef(i.oid),
        ' INDEX ' || quote_ident(i.relname) || ' ON ', ' INDEX ON ')
        || CASE WHEN indisvalid AND indisready AND indislive THEN '' ELSE ' broken' END
    FROM pg_class c JOIN pg_index ON indrelid = c.oid
    JOIN pg_class i ON i.oid = indexrelid WHERE OURS""",
    # A foreign key is kept by triggers of the database's own.
    """SELECT c.relname, 'constraint', conname, pg_get_constraintdef(k.oid) || coalesce(
        (SELECT ' switched off' FROM pg_trigger WHERE tgconstraint = k.oid
            AND tgenabled <> 'O' LIMIT 1), '')
    FROM pg_class c JOIN pg_constraint k ON conrelid = c.oid
    WHERE contype <> 't' AND OURS""",
    """SELECT c.relname, 'trigger', tgname, pg_get_triggerdef(t.oid)
        || CASE tgenabled WHEN 'O' THEN '' ELSE ' switched off: ' || tgenabled::text END
    FROM pg_class c JOIN pg_trigger t ON tgrelid = c.oid
    WHERE NOT tgisinternal AND OURS""",
    """SELECT c.relname, 'rule', rulename, pg_get_ruledef(r.oid)
    FROM pg_class c JOIN pg_rewrite r ON ev_class = c.oid
    WHERE rulename <> '_RETURN' AND OURS""",
    """SELECT c.relname, 'policy', polname, concat_ws(' ', polcmd::text,
        pg_get_expr(polqual, c.oid), pg_get_expr(polwithcheck, c.oid))
    FROM pg_class c JOIN pg_policy ON polrelid = c.oid WHERE OURS""",
    """SELECT c.relname, 'heir', inhrelid::regclass::text, ''
    FROM pg_class c JOIN pg_inherits ON inhparent = c.oid
    WHERE c.relkind = 'r' AND OURS""",
    """SELECT proname, 'function', p.oid::regprocedure::text,
        CASE WHEN prokind <> 'a' THEN pg_get_functiondef(p.oid) END
    FROM pg_proc p WHERE pronamespace = current_schema()::regnamespace
    AND NOT EXISTS (SELECT 1 FROM pg_depend WHERE objid = p.oid AND deptype = 'e'
        AND classid = 'pg_proc'::regclass)""",
)


def _postgresql(database: BaseDatabaseWrapper) -> Iterator[Part]:
    with database.cursor() as cursor:
        cursor.execute("SELECT quote_ident(current_schema())")
        schema = re.compile(rf"\b(?:{re.escape(cursor.fetchone()[0])}|pg_temp)\.")
        for query in _CATALOGUE:
            cursor.execute(query.replace("OURS", _OURS))
            for table, kind, name, says in cursor.fetchall():
                said = _restored(schema.sub("", says or ""))
                yield Part(table, kind, schema.sub("", name), said)


_CAST = re.compile(r"::(?:character varying|text)(?:\[\])?")
_ALONE = re.compile(r"(?<![\w\"])\(('[^']*'|\"?\w+\"?|\(ARRAY\[[^]]*\]\))\)")


def _restored(sql: str) -> str:
    """An expression as a restore leaves it: a list of words casts each, not the whole."""
    plain = _CAST.sub("", sql)
    while plain != (plain := _ALONE.sub(r"\1", plain)):
        pass
    return plain
