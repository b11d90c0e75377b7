"""Databases of the tests: made once, shared by workers and by the tests of a module."""

from __future__ import annotations

import copy
import fcntl
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import dataclass
from functools import partial
from inspect import signature
from itertools import chain, groupby, takewhile
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, TypeVar

import pytest
from django.db import connection, transaction

from kitting.ledger import guards

if TYPE_CHECKING:
    from pytest_django import DjangoDbBlocker

T = TypeVar("T")


@contextmanager
def once(shared: Path, what: str) -> Iterator[bool]:
    """Whether it is this worker that makes it; the others wait until it is made."""
    made = shared / f"{what}.made"
    with (shared / f"{what}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield not made.exists()
        made.touch()


def spread_ids() -> None:
    """Let no two tables of the SQLite file that was just migrated give the same ids.

    Else a test that takes the id of one thing for that of another fails only where
    tests before it left the tables uneven.
    """
    with connection.cursor() as cursor:
        cursor.execute("UPDATE sqlite_sequence SET seq = seq + 1000 * rowid")


def copy_on_the_server(shared: Path, worker: str) -> None:
    """Let the connection be a copy of one migrated database of the server."""
    creation = connection.creation
    with once(shared, "server") as mine:
        if mine:
            creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        else:
            connection.settings_dict["NAME"] = creation._get_test_db_name()
        creation.clone_test_db(worker, verbosity=0, autoclobber=True)
        creation.clone_test_db(f"{worker}_history", verbosity=0, autoclobber=True)
    connection.settings_dict.update(creation.get_test_db_clone_settings(worker))


def of_a_history() -> dict[str, Any]:
    """Settings of a second copy on the server, as this worker's own is by now."""
    own = connection.settings_dict
    return {**own, "NAME": f"{own['NAME']}_history"}


# -- What a transactional test leaves behind -----------------------------------------


class AsItWas:
    """The rows of a worker's database, and how all that was committed goes again.

    A flush would empty each table by a statement of its own, and fill what Django and
    the workshop need as after a migration: ten times the work.
    """

    def __init__(self, file: Path | None) -> None:
        """Remember the rows as they are.

        Args:
            file: An SQLite file of the same contents, where it is one.
        """
        self.file = file
        self.rows = {} if file else _rows_of_the_server()
        self.tops = [] if file else _highest_ids(self.rows)

    def again(self) -> None:
        """Let the connection's database be so again; the guards do not see it."""
        if self.file:
            connection.ensure_connection()
            with closing(
                sqlite3.connect(f"{self.file.as_uri()}?immutable=1", uri=True)
            ) as it:
                it.backup(connection.connection)
            return
        empty = "; ".join(f'DELETE FROM "{table}"' for table in self.rows)
        with guards_away(), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(empty)
            for table, rows in self.rows.items():
                if rows:
                    with cursor.copy(f'COPY "{table}" FROM STDIN') as copy_in:
                        copy_in.write(rows)
            # A sequence may have been set back with what was put in its place.
            given = ", ".join(["(%s, %s::bigint)"] * len(self.tops))
            cursor.execute(
                f"SELECT setval(s, top) FROM (VALUES {given}) AS tops (name, top),"
                " LATERAL (SELECT pg_get_serial_sequence(name, 'id')::regclass AS s) q"
                " WHERE coalesce(pg_sequence_last_value(s), 0) < top",
                [each for pair in self.tops for each in pair],
            )


def _rows_of_the_server() -> dict[str, bytes]:
    found = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            with cursor.copy(f'COPY "{table}" TO STDOUT') as copy_out:
                found[table] = b"".join(copy_out)
    return found


def _highest_ids(rows: Mapping[str, bytes]) -> list[tuple[str, int]]:
    """Of each table that has rows and numbers them itself, the highest number."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT table_name FROM information_schema.columns WHERE column_name = 'id'"
            " AND table_schema = current_schema() AND is_identity = 'YES'"
        )
        found = []
        for (table,) in cursor.fetchall():
            if rows.get(table):
                cursor.execute(f'SELECT max(id) FROM "{table}"')
                found.append((table, cursor.fetchone()[0]))
    return found


@contextmanager
def guards_away() -> Iterator[None]:
    """Let a test change what the guards keep."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET session_replication_role = replica")
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("SET session_replication_role = origin")
        return
    guards.drop_guards()
    try:
        yield
    finally:
        guards.install_guards()


# -- Scenes that the tests of a module share ------------------------------------------


@dataclass
class Scene:
    """What a fixture made for those tests of a module that ask for it."""

    module: ModuleType
    name: str
    around: AbstractContextManager[Any]
    made: Any = None
    blocks: int = 0
    """How many transactions lie in one another with it."""


SHARED: set[str] = set()
"""Names of the fixtures that are made once a module."""
_standing: list[Scene] = []
"""The scenes around the test that runs, each within the one before."""
_next: pytest.Item | None = None


def once_a_module(make: Callable[..., T]) -> Callable[..., T]:
    """Let a fixture be made once for the tests of a module that ask for it.

    Each has a copy; what it does in the database is rolled back after it. Tests that do
    not ask for the fixture do not see it. It may ask for others of its kind.
    """

    def given(
        request: pytest.FixtureRequest,
        django_db_setup: None,
        django_db_blocker: DjangoDbBlocker,
        **others: Any,
    ) -> T:
        return stand(request, _around(partial(make, **others), django_db_blocker))

    plain = signature(given)
    asked = [*plain.parameters.values()][:-1], signature(make).parameters.values()
    given.__signature__ = plain.replace(parameters=list(chain(*asked)))  # type: ignore[attr-defined]
    given.__doc__ = make.__doc__
    SHARED.add(make.__name__)
    # A test outside a class has such a fixture anew, and before its own transaction.
    return pytest.fixture(scope="class", name=make.__name__)(given)


def stand(request: pytest.FixtureRequest, around: AbstractContextManager[T]) -> T:
    """Give a copy of what stands around the tests of a module; enter it if none does."""
    request.addfinalizer(_leave_after_the_last)
    name, module = request.fixturename or "", request.module
    scene = next((scene for scene in _standing if scene.name == name), None)
    if scene is None:
        blocks = _standing[-1].blocks if _standing else 0
        assert len(connection.atomic_blocks) == blocks, "asked for too late"
        scene = Scene(module, name, around)
        scene.made = around.__enter__()
        scene.blocks = len(connection.atomic_blocks)
        _standing.append(scene)
    return copy.deepcopy(scene.made)


@contextmanager
def _around(make: Callable[[], T], blocker: DjangoDbBlocker) -> Iterator[T]:
    """Make something in a transaction; each test bends it in its own."""
    around = transaction.atomic()
    around._from_testcase = True  # type: ignore[attr-defined]  # durable acts may run
    with blocker.unblock(), around:
        made = make()
        connection.check_constraints()  # PostgreSQL puts some checks off to the end.
        with blocker.block():
            yield made
        transaction.set_rollback(True)


def leave_scenes(test: pytest.Item | None) -> None:
    """Leave the scenes for which the next test does not ask."""
    asked = set(getattr(test, "fixturenames", ()))
    if connection.closed_in_transaction:  # A file that was sent does, and all is gone.
        asked.clear()
    module = getattr(test, "module", None)
    keep = takewhile(lambda at: at.module is module and at.name in asked, _standing)
    for _ in range(len(_standing) - len(list(keep))):
        _standing.pop().around.__exit__(None, None, None)


def goes_on(after: pytest.Item | None) -> None:
    """Remember which test follows, if any does."""
    global _next
    _next = after


def _leave_after_the_last() -> None:
    # What the run shares goes next, the browser among it; without its event loop
    # ``connection`` would be another one, which knows of no transaction.
    if _next is None:
        leave_scenes(None)


def side_by_side(tests: Iterable[pytest.Item]) -> list[pytest.Item]:
    """The tests of each module, those that share scenes after one another."""
    return [
        test
        for _, of_a_module in groupby(tests, lambda test: test.path)
        for test in sorted(of_a_module, key=_scenes_of)
    ]


def _scenes_of(test: pytest.Item) -> list[str]:
    return sorted(SHARED & set(getattr(test, "fixturenames", ())))
