"""Where a demo lives, and what is never touched to make room for it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final, NoReturn

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection

from kitting.ledger.proof import heads
from kitting.ledger.setup import NOT_PEOPLE

FOLDER: Final = "demo"
"""A folder of its own in the data folder: database, secret and recorded heads."""

BESIDE: Final = ("-wal", "-shm")
"""What SQLite keeps beside a database."""


def folder() -> Path:
    """The data folder of the demo.

    Returns:
        The folder; it may not be there yet.
    """
    here = Path(settings.DATA_DIR)
    return here if here.name == FOLDER else here / FOLDER


def environment() -> dict[str, str]:
    """What points any other command at the demo that this process works on.

    Returns:
        Variables and their values.
    """
    found = {"LOTWARD_DATA_DIR": str(folder())}
    if connection.vendor != "sqlite":
        found["LOTWARD_DATABASE_URL"] = "(as for this command)"
    elif Path(_name()).parent != folder():
        found["LOTWARD_DATABASE_URL"] = f"sqlite:///{_name()}"
    return found


def make_room() -> None:
    """Remove an earlier demo; leave any other database alone.

    Raises:
        CommandError: If the database holds anything but an earlier demo; on a server
            an earlier demo is left alone too.
    """
    if connection.vendor == "sqlite":
        _remove(Path(_name()))
    elif (held := _held_by_server()) is not None:
        _refuse(_name(), held, "an empty database")
    if settings.DATA_DIR.name == FOLDER:
        heads.path().unlink(missing_ok=True)


def _remove(file: Path) -> None:
    connection.close()
    if not file.exists():
        return
    if (held := held_by_file(file)) is not None:
        _refuse(str(file), held, "an earlier demo, an empty database, or no file yet")
    for name in (str(file), *(f"{file}{end}" for end in BESIDE)):
        Path(name).unlink(missing_ok=True)


def _refuse(name: str, held: str, allowed: str) -> NoReturn:
    message = f"The database {name} holds {held}. Allowed: {allowed}."
    raise CommandError(message)


def _name() -> str:
    return str(connection.settings_dict["NAME"])


def held_by_file(file: Path) -> str | None:
    """What an SQLite file holds that must not be lost.

    Args:
        file: The file.

    Returns:
        Words for it; None for a demo, and for a database without users and acts.
    """
    try:
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as found:
            tables = {
                name
                for (name,) in found.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'table'"
                )
            }
            if not tables:
                return None
            if "kitting_workshop" not in tables:
                return "tables that are not Lotward's"
            if found.execute("SELECT 1 FROM kitting_workshop WHERE demo").fetchone():
                return None
            return _words(*found.execute(_COUNTS).fetchone())
    except sqlite3.DatabaseError:
        return "something that cannot be read as a database of Lotward"


def _held_by_server() -> str | None:
    tables = set(connection.introspection.table_names())
    if not tables:
        return None
    if "kitting_workshop" not in tables:
        return "tables that are not Lotward's"
    with connection.cursor() as cursor:
        cursor.execute(_COUNTS)
        return _words(*cursor.fetchone())


_PEOPLE = f"SELECT count(*) FROM kitting_user WHERE username NOT IN {NOT_PEOPLE}"  # noqa: S608 -- ours
_COUNTS = f"SELECT (SELECT count(*) FROM kitting_operation), ({_PEOPLE})"  # noqa: S608 -- ours


def _words(operations: int, users: int) -> str | None:
    if not operations and not users:
        return None
    return f"the work of a real workshop: {operations:,} operations, {users:,} users"
