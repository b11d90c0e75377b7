"""Databases of the tests: made once, shared by the workers, made anew around a module."""

from __future__ import annotations

import fcntl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from django.db import connection, transaction

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
    connection.settings_dict.update(creation.get_test_db_clone_settings(worker))


def around_a_module(make: Callable[[], T], blocker: DjangoDbBlocker) -> Iterator[T]:
    """Make something in a transaction around a module; each test bends it in its own."""
    around = transaction.atomic()
    around._from_testcase = True  # type: ignore[attr-defined]  # durable acts may run
    with blocker.unblock():
        around.__enter__()
        made = make()
        connection.check_constraints()  # PostgreSQL puts some checks off to the end.
    yield made
    with blocker.unblock():
        transaction.set_rollback(True)
        around.__exit__(None, None, None)
