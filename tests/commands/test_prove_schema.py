"""Whatever somebody takes from the schema, alters in it or adds to it is named."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import connection, transaction

from kitting.ledger.proof import examine, schema
from kitting.ledger.proof.faults import Tally

pytestmark = pytest.mark.django_db

ON_SQLITE = connection.vendor == "sqlite"
on_postgresql = pytest.mark.skipif(ON_SQLITE, reason="PostgreSQL's own ways")


@pytest.fixture(autouse=True)
def _nothing_stays() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def run(*statements: str) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def rewrite(table: str, was: str, becomes: str) -> None:
    """Change what SQLite keeps as the statement that made a table."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA writable_schema = ON")
        cursor.execute(
            "UPDATE sqlite_master SET sql = replace(sql, %s, %s)"
            " WHERE name = %s AND instr(sql, %s) > 0",
            [was, becomes, table, was],
        )
        assert cursor.rowcount == 1
        cursor.execute("PRAGMA writable_schema = OFF")


def found() -> list[tuple[str, str]]:
    tally = Tally("schema", "parts")
    schema.stands(tally)
    return [(fault.table, fault.words) for fault in tally.faults]


def test_a_migrated_database_has_what_the_migrations_make() -> None:
    checked = next(tally for tally in examine().tallies if tally.check == "schema")
    assert checked.faults == []
    assert checked.count > 1_000


def test_a_trigger_that_swallows_holds_is_named() -> None:
    table = "kitting_hold"
    named = [(table, "The trigger swallow was added.")]
    if ON_SQLITE:
        body = "BEGIN SELECT RAISE(IGNORE); END"
        run(f"CREATE TRIGGER swallow BEFORE INSERT ON {table} {body}")
    else:
        run(
            "CREATE FUNCTION gulp() RETURNS trigger LANGUAGE plpgsql"
            " AS 'BEGIN RETURN NULL; END'",
            f"CREATE TRIGGER swallow BEFORE INSERT ON {table}"
            " FOR EACH ROW EXECUTE FUNCTION gulp()",
        )
        named.insert(0, ("gulp", "The function gulp() was added."))
    assert found() == named


def test_a_partial_unique_index_that_is_gone_is_named() -> None:
    run("DROP INDEX kitting_box_one_unlabelled_per_bench")
    named = "The index kitting_box_one_unlabelled_per_bench is missing."
    assert found() == [("kitting_box", named)]


def test_a_unique_index_that_covers_less_is_named() -> None:
    run(
        "DROP INDEX kitting_box_one_unlabelled_per_bench",
        "CREATE UNIQUE INDEX kitting_box_one_unlabelled_per_bench ON kitting_box (bench_id)"
        " WHERE stage = 'nowhere'",
    )
    named = "The index kitting_box_one_unlabelled_per_bench is altered."
    assert found() == [("kitting_box", named)]


def test_a_check_that_is_gone_is_named() -> None:
    name = "kitting_workshop_one_row"
    if ON_SQLITE:
        rewrite("kitting_workshop", f', CONSTRAINT "{name}" CHECK ("id" = 1)', "")
    else:
        run(f"ALTER TABLE kitting_workshop DROP CONSTRAINT {name}")
    named = f"The constraint {name} is missing."
    assert found() == [("kitting_workshop", named)]


def test_a_check_that_lets_everything_pass_is_named() -> None:
    name = "kitting_workshop_one_row"
    if ON_SQLITE:
        rewrite("kitting_workshop", '("id" = 1)', '("id" = 1 OR 1)')
    else:
        run(
            f"ALTER TABLE kitting_workshop DROP CONSTRAINT {name}",
            f"ALTER TABLE kitting_workshop ADD CONSTRAINT {name} CHECK (true)",
        )
    named = f"The constraint {name} is altered."
    assert found() == [("kitting_workshop", named)]


def test_a_column_that_may_be_empty_now_is_named() -> None:
    if ON_SQLITE:
        rewrite("kitting_lot", '"made_on" date NOT NULL', '"made_on" date NULL')
    else:
        run("ALTER TABLE kitting_lot ALTER made_on DROP NOT NULL")
    assert found() == [("kitting_lot", "The column made_on is altered.")]


def test_a_column_that_fills_itself_now_is_named() -> None:
    if ON_SQLITE:
        now = '"made_on" date DEFAULT CURRENT_DATE NOT NULL'
        rewrite("kitting_lot", '"made_on" date NOT NULL', now)
    else:
        run("ALTER TABLE kitting_lot ALTER made_on SET DEFAULT CURRENT_DATE")
    assert found() == [("kitting_lot", "The column made_on is altered.")]


def test_an_added_column_is_named() -> None:
    run("ALTER TABLE kitting_lot ADD COLUMN also integer")
    assert found() == [("kitting_lot", "The column also was added.")]


def test_an_added_table_is_named_once() -> None:
    run("CREATE TABLE also (id integer PRIMARY KEY, words varchar(9) UNIQUE)")
    assert found() == [("also", "The table also was added.")]


def test_a_table_that_is_gone_is_named_once() -> None:
    run("DROP TABLE axes_accessfailurelog")
    named = "The table axes_accessfailurelog is missing."
    assert found() == [("axes_accessfailurelog", named)]


def test_a_view_in_the_place_of_a_table_is_named() -> None:
    run(
        "ALTER TABLE axes_accesslog RENAME TO hidden",
        "CREATE VIEW axes_accesslog AS SELECT * FROM hidden WHERE id > 1000",
    )
    assert {
        ("axes_accesslog", "The table axes_accesslog is missing."),
        ("axes_accesslog", "The view axes_accesslog was added."),
        ("hidden", "The table hidden was added."),
    } <= set(found())


def test_a_column_that_is_gone_is_named_and_not_fallen_over() -> None:
    run("ALTER TABLE kitting_lot RENAME COLUMN made_on TO hidden")
    proof = examine()
    (tally,) = proof.tallies
    assert "Nothing else is compared" in tally.note
    assert proof.heads == ()
    assert {
        ("kitting_lot", "The column made_on is missing."),
        ("kitting_lot", "The column hidden was added."),
    } <= {(fault.table, fault.words) for fault in proof.faults}


@pytest.mark.skipif(not ON_SQLITE, reason="SQLite rebuilds tables")
def test_a_table_made_anew_in_another_order_is_the_same() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT sql FROM sqlite_master WHERE name = 'kitting_badge'")
        (sql,) = cursor.fetchone()
    first = '"id" integer NOT NULL PRIMARY KEY AUTOINCREMENT'
    assert f"({first}, " in sql
    name = "kitting_badge_revoked_by_an_act"
    moved = f'{first},\n  CONSTRAINT "{name}"'
    turned = sql.replace(f"{first}, ", "").replace(f'CONSTRAINT "{name}"', moved)
    rewrite("kitting_badge", sql, turned)
    assert found() == []


@on_postgresql
@pytest.mark.parametrize(
    ("statement", "named"),
    [
        (
            "ALTER TABLE kitting_hold DISABLE TRIGGER lotward_guard_kitting_hold_row",
            "The trigger lotward_guard_kitting_hold_row is altered.",
        ),
        (
            "CREATE RULE swallow AS ON INSERT TO kitting_hold DO INSTEAD NOTHING",
            "The rule swallow was added.",
        ),
        (
            "ALTER TABLE kitting_hold ENABLE ROW LEVEL SECURITY",
            "The table kitting_hold is altered.",
        ),
        (
            "CREATE POLICY none ON kitting_hold USING (false)",
            "The policy none was added.",
        ),
    ],
)
def test_the_ways_of_postgresql_are_named(statement: str, named: str) -> None:
    run(statement)
    assert found() == [("kitting_hold", named)]


@on_postgresql
def test_a_hollow_function_is_named() -> None:
    name = "lotward_guard_refuse()"
    run(
        f"CREATE OR REPLACE FUNCTION {name} RETURNS trigger LANGUAGE plpgsql"
        " AS 'BEGIN RETURN NEW; END'"
    )
    assert found() == [("lotward_guard_refuse", f"The function {name} is altered.")]


@on_postgresql
def test_foreign_keys_that_are_switched_off_are_named() -> None:
    run("ALTER TABLE kitting_hold DISABLE TRIGGER ALL")
    altered = [words for _table, words in found() if "constraint" in words]
    assert any("kitting_hold_operation_id" in words for words in altered)
