"""The database itself refuses to bend what was written, whoever asks and however.

Every act is tried on every guarded table, on rows that the services made. Below, the
same acts go through once the guards are away: they are refused by nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.apps import apps
from django.core.checks import Error
from django.db import ConnectionHandler, IntegrityError, connection, models, transaction
from django.db.models import UniqueConstraint

from kitting.ledger import checks, guards
from kitting.models import Movement, Operation, Reading
from tests.databases import guards_away
from tests.ledgers import History

pytestmark = pytest.mark.django_db

Row = models.Model
Act = Callable[[Row], None]

# The tables marked as guarded in the design of the records, the one list that this
# test does not take from the code.
MARKED = {
    "kitting_boxevent",
    "kitting_calibration",
    "kitting_check",
    "kitting_hold",
    "kitting_lift",
    "kitting_link",
    "kitting_lotorigin",
    "kitting_movement",
    "kitting_operation",
    "kitting_print",
    "kitting_reading",
    "kitting_runverdict",
    "dispatch_shipevent",
    "dispatch_shipscan",
}


def on_sqlite() -> bool:
    return connection.vendor == "sqlite"


def run_sql(statement: str, *values: Any) -> int:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.rowcount


def stored(row: Row) -> dict[str, Any]:
    """The row's columns as the database has them."""
    names = [str(field.column) for field in row._meta.concrete_fields]
    columns = ", ".join(f'"{name}"' for name in names)
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT {columns} FROM "{row._meta.db_table}" WHERE id = %s', [row.pk]
        )
        return dict(zip(names, cursor.fetchone(), strict=True))


def insert(table: str, values: dict[str, Any], verb: str, rest: str = "") -> int:
    names = ", ".join(f'"{name}"' for name in values)
    marks = ", ".join(["%s"] * len(values))
    statement = f'{verb} INTO "{table}" ({names}) VALUES ({marks}) {rest}'
    return run_sql(statement, *values.values())


def unique_keys(model: type[Row]) -> Iterator[tuple[str, ...]]:
    """Every unique key but the id, read from the database, not from the guards."""
    with connection.cursor() as cursor:
        found = connection.introspection.get_constraints(cursor, model._meta.db_table)
    for constraint in found.values():
        if constraint["unique"] and constraint["columns"] != ["id"]:
            yield tuple(constraint["columns"])


# -- Acts, each tried on a row of every guarded table --------------------------------


def raw_update_of_one(row: Row) -> None:
    run_sql(f'UPDATE "{row._meta.db_table}" SET id = id WHERE id = %s', row.pk)


def raw_update_of_all(row: Row) -> None:
    column = row._meta.concrete_fields[-1].column
    run_sql(f'UPDATE "{row._meta.db_table}" SET "{column}" = "{column}"')


def raw_update_by_many(row: Row) -> None:
    with connection.cursor() as cursor:
        cursor.executemany(
            f'UPDATE "{row._meta.db_table}" SET id = %s WHERE id = %s',
            [(row.pk, row.pk), (row.pk, row.pk)],
        )


def raw_delete_of_one(row: Row) -> None:
    run_sql(f'DELETE FROM "{row._meta.db_table}" WHERE id = %s', row.pk)


def raw_delete_of_all(row: Row) -> None:
    run_sql(f'DELETE FROM "{row._meta.db_table}"')


def raw_delete_by_many(row: Row) -> None:
    with connection.cursor() as cursor:
        cursor.executemany(
            f'DELETE FROM "{row._meta.db_table}" WHERE id = %s', [(row.pk,)]
        )


def orm_save(row: Row) -> None:
    row.save(force_update=True)


def orm_update(row: Row) -> None:
    field = row._meta.concrete_fields[-1]
    value = getattr(row, field.attname)
    type(row)._default_manager.filter(pk=row.pk).update(**{field.attname: value})


def orm_bulk_update(row: Row) -> None:
    field = row._meta.concrete_fields[-1]
    type(row)._default_manager.bulk_update([row], [field.name])


def orm_delete_past_protect(row: Row) -> None:
    rows = type(row)._default_manager.filter(pk=row.pk)
    rows._raw_delete(rows.db)


def orm_upsert(row: Row) -> None:
    field = row._meta.concrete_fields[-1]
    type(row)._default_manager.bulk_create(
        [row], update_conflicts=True, unique_fields=["id"], update_fields=[field.name]
    )


def raw_upsert(row: Row) -> None:
    column = row._meta.concrete_fields[-1].column
    rest = f'ON CONFLICT (id) DO UPDATE SET "{column}" = EXCLUDED."{column}"'
    insert(row._meta.db_table, stored(row), "INSERT", rest)


EVERYWHERE: list[Act] = [
    raw_update_of_one,
    raw_update_of_all,
    raw_update_by_many,
    raw_delete_of_one,
    raw_delete_of_all,
    raw_delete_by_many,
    orm_save,
    orm_update,
    orm_bulk_update,
    orm_delete_past_protect,
    orm_upsert,
    raw_upsert,
]


def replace_over_the_id(row: Row) -> None:
    insert(row._meta.db_table, stored(row), "INSERT OR REPLACE")


def replace_into(row: Row) -> None:
    insert(row._meta.db_table, stored(row), "REPLACE")


def update_or_replace(row: Row) -> None:
    run_sql(f'UPDATE OR REPLACE "{row._meta.db_table}" SET id = id')


SQLITE: list[Act] = [replace_over_the_id, replace_into, update_or_replace]


def truncate(row: Row) -> None:
    run_sql(f'TRUNCATE "{row._meta.db_table}" CASCADE')


def merge(row: Row) -> None:
    table, column = row._meta.db_table, row._meta.concrete_fields[-1].column
    run_sql(
        f'MERGE INTO "{table}" AS t USING "{table}" AS s ON t.id = s.id'
        f' WHEN MATCHED THEN UPDATE SET "{column}" = s."{column}"'
    )


def delete_by_a_query(row: Row) -> None:
    table = row._meta.db_table
    run_sql(f'WITH gone AS (DELETE FROM "{table}" RETURNING id) SELECT * FROM gone')


POSTGRESQL: list[Act] = [truncate, merge, delete_by_a_query]


def _acts() -> list[Any]:
    made: list[Any] = [pytest.param(act, id=act.__name__) for act in EVERYWHERE]
    for vendor, acts in (("sqlite", SQLITE), ("postgresql", POSTGRESQL)):
        made += [
            pytest.param(
                act,
                id=act.__name__,
                marks=pytest.mark.skipif(
                    connection.vendor != vendor, reason=f"a statement of {vendor} only"
                ),
            )
            for act in acts
        ]
    return made


def settle() -> None:
    """Fire deferred checks: PostgreSQL truncates no table that awaits them."""
    if not on_sqlite():
        run_sql("SET CONSTRAINTS ALL IMMEDIATE")


def refused(act: Callable[[], Any]) -> bool:
    """Whether a guard, and nothing else, refused the act."""
    try:
        with transaction.atomic():
            act()
    except IntegrityError as error:
        return "guarded: " in str(error)
    return False


@pytest.mark.parametrize("act", _acts())
def test_no_guarded_table_gives_way(act: Act, history: History) -> None:
    settle()
    gave_way = []
    for model in guards.guarded_models():
        row = model._default_manager.order_by("pk").first()
        assert row is not None, f"The history has no row of {model._meta.label}."
        before = stored(row)
        if not refused(lambda row=row: act(row)) or stored(row) != before:
            gave_way.append(model._meta.label)
    assert gave_way == []


@pytest.mark.parametrize("act", _acts())
def test_without_guards_the_same_act_goes_through(act: Act, history: History) -> None:
    """The control: what is refused above is refused by the guards."""
    settle()
    row = Reading.objects.order_by("pk").first()
    assert row is not None
    with transaction.atomic():
        with guards_away():
            act(row)
        transaction.set_rollback(True)
    assert refused(lambda: act(row))


@pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite's REPLACE only")
def test_nothing_replaces_a_guarded_row_by_another_unique_key(history: History) -> None:
    """REPLACE deletes whatever row stands in its way, whichever key they share."""
    tried = [
        (model._meta.db_table, key, verb, _replaced(model, key, verb))
        for model in guards.guarded_models()
        for key in unique_keys(model)
        for verb in ("INSERT OR REPLACE", "REPLACE")
    ]
    assert [where[:3] for where in tried if where[3]] == []
    assert len(tried) >= 20


def _replaced(model: type[Row], key: tuple[str, ...], verb: str) -> bool:
    """Whether a new row took the place of one that shares this key alone."""
    rows = map(stored, model._default_manager.order_by("pk"))
    values = next(row for row in rows if all(row[c] is not None for c in key))
    fresh = {**values, "id": values["id"] + 10_000}
    return not refused(lambda: insert(model._meta.db_table, fresh, verb))


def test_a_new_row_goes_into_every_guarded_table(history: History) -> None:
    """The guards refuse bending, not writing: the history itself is the proof."""
    assert all(model._default_manager.exists() for model in guards.guarded_models())


# -- The list and the catalogue -----------------------------------------------------


def test_the_list_is_that_of_the_records() -> None:
    listed = {model._meta.db_table for model in guards.guarded_models()}
    assert listed >= MARKED
    naming = {
        model._meta.db_table
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if field.name == "operation" and field.related_model is Operation
    }
    assert listed == naming | {Operation._meta.db_table}


def test_every_guarded_table_has_its_triggers_in_the_catalogue() -> None:
    """Read from the catalogue by event, not by the names that the guards give."""
    for model in guards.guarded_models():
        assert events_of(model._meta.db_table) >= (
            {"UPDATE", "DELETE", "INSERT"}
            if on_sqlite()
            else {"UPDATE", "DELETE", "TRUNCATE"}
        )


def events_of(table: str) -> set[str]:
    if on_sqlite():
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT sql FROM sqlite_master WHERE type = 'trigger'"
                " AND tbl_name = %s AND sql LIKE %s",
                [table, "%% BEFORE %%"],
            )
            return {sql.split(" BEFORE ")[1].split()[0] for (sql,) in cursor.fetchall()}
    # Bits of tgtype, from the PostgreSQL source: src/include/catalog/pg_trigger.h.
    bits = {"BEFORE": 2, "DELETE": 8, "UPDATE": 16, "TRUNCATE": 32}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgtype FROM pg_trigger WHERE tgrelid = %s::regclass"
            " AND NOT tgisinternal AND tgenabled = 'O'",
            [table],
        )
        kinds = [kind for (kind,) in cursor.fetchall()]
    before = [kind for kind in kinds if kind & bits["BEFORE"]]
    return {name for name, bit in bits.items() if any(k & bit for k in before)}


def test_unique_keys_of_guarded_tables_have_no_condition() -> None:
    """A conditional one would need a REPLACE guard that knows the condition."""
    conditional = [
        constraint.name
        for model in guards.guarded_models()
        for constraint in model._meta.constraints
        if isinstance(constraint, UniqueConstraint) and constraint.condition
    ]
    assert conditional == []


def test_installing_twice_changes_nothing() -> None:
    before = {model: events_of(model._meta.db_table) for model in apps.get_models()}
    guards.install_guards()
    guards.install_guards()
    after = {model: events_of(model._meta.db_table) for model in apps.get_models()}
    assert before == after
    assert guards.missing_guards() == []


def test_all_guards_away_are_all_missing() -> None:
    guards.drop_guards()
    wanted = sorted(name for name, _sql in guards.wanted_guards())
    assert guards.missing_guards() == wanted
    guards.install_guards()
    assert guards.missing_guards() == []


def alter_a_guard() -> str:
    """Leave a guard in its place that guards nothing."""
    table = Movement._meta.db_table
    if on_sqlite():
        name = f"{guards.PREFIX}{table}_update"
        run_sql(f'DROP TRIGGER "{name}"')
        run_sql(
            f'CREATE TRIGGER "{name}" BEFORE UPDATE ON "{table}" WHEN 0'
            " BEGIN SELECT 1; END"
        )
        return name
    name = f"{guards.PREFIX}{table}_row"
    run_sql(f'DROP TRIGGER "{name}" ON "{table}"')
    run_sql(
        f'CREATE TRIGGER "{name}" BEFORE DELETE OR UPDATE ON "{table}" FOR EACH ROW'
        f" WHEN (false) EXECUTE FUNCTION {guards.PREFIX}refuse('{table}')"
    )
    return name


def test_a_guard_that_guards_nothing_is_missing() -> None:
    name = alter_a_guard()
    assert guards.missing_guards() == [name]


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL's switches")
def test_a_guard_switched_off_or_hollowed_out_is_missing() -> None:
    name = f"{guards.PREFIX}kitting_movement_row"
    run_sql(f'ALTER TABLE kitting_movement DISABLE TRIGGER "{name}"')
    run_sql(
        f"CREATE OR REPLACE FUNCTION {guards.PREFIX}refuse() RETURNS trigger"
        " LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$"
    )
    assert guards.missing_guards() == [name, f"{guards.PREFIX}refuse()"]


def test_the_system_check_names_what_is_missing() -> None:
    assert checks.guards_stand(databases=["default"]) == []
    name = alter_a_guard()
    assert checks.guards_stand(databases=["default"]) == [
        Error(
            f"Guards missing in database 'default': {name}.",
            hint="Find out who removed them, then run manage.py migrate.",
            id="kitting.E001",
        )
    ]


def test_the_system_check_waits_for_the_first_migration(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Any
) -> None:
    empty = ConnectionHandler(
        {
            "default": {
                "ENGINE": "django.db.backends.sqlite3",
                "NAME": tmp_path / "empty.sqlite3",
            }
        }
    )
    monkeypatch.setattr(checks, "connections", empty)
    assert checks.guards_stand(databases=["default"]) == []
    empty.close_all()
