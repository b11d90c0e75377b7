"""Django's SQLite, which goes on reading where nothing can be written any more.

Whoever opens a database in WAL mode, if only to read, writes beside it: on a disk that is
full or read-only that fails, just when a recall may have to be looked up.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from django.db.backends.sqlite3 import base

UNWRITTEN: Final = frozenset(
    {
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_READONLY,
    }
)
"""Why a database is not opened that may still be read."""
REWRITTEN: Final = 2_000
"""How many statements are remembered: five times what one page of each kind asks."""
READING: Final = ("PRAGMA query_only=ON", "PRAGMA temp_store=MEMORY")


class Cursor(base.SQLiteCursorWrapper):
    """Django's cursor, which rewrites each statement for SQLite once, not each time."""

    def convert_query(self, query: str, *, param_names: list[str] | None = None) -> str:
        """Give the statement as SQLite's own module reads it."""
        if param_names is None:
            return _with_question_marks(query)
        converted: str = super().convert_query(query, param_names=param_names)
        return converted


@lru_cache(REWRITTEN)
def _with_question_marks(query: str) -> str:
    convert: Any = base.SQLiteCursorWrapper.convert_query  # It does not ask its cursor.
    return str(convert(None, query))


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection to a file that is there: none is made by opening it."""

    def get_new_connection(self, conn_params: Mapping[str, Any]) -> sqlite3.Connection:
        """Open the file for writing, else for reading alone."""
        if str(conn_params["database"]) == ":memory:":
            made: sqlite3.Connection = super().get_new_connection(conn_params)
            return made
        file, commands = Path(conn_params["database"]), self.init_commands
        try:
            return self._opened(conn_params, "mode=rw", commands)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF not in UNWRITTEN or not file.exists():
                raise
            for how in _to_read(file):
                try:
                    return self._opened(conn_params, how, READING)
                except sqlite3.OperationalError:
                    continue
            raise

    def create_cursor(self, name: str | None = None) -> Cursor:
        """Give a cursor of the connection; ``name`` is for other databases."""
        made: Cursor = self.connection.cursor(factory=Cursor)
        return made

    def _opened(
        self, conn_params: Mapping[str, Any], how: str, commands: Any
    ) -> sqlite3.Connection:
        address = f"{Path(conn_params['database']).absolute().as_uri()}?{how}"
        self.init_commands: list[str] = []
        made: sqlite3.Connection = super().get_new_connection(
            {**conn_params, "database": address}
        )
        try:
            for command in filter(None, map(str.strip, commands)):
                made.execute(command)
            made.execute("SELECT 1 FROM sqlite_master").fetchone()
        except sqlite3.Error:
            # What stays open would share its broken WAL with the next one.
            made.close()
            raise
        return made


def _to_read(file: Path) -> list[str]:
    """How a file may be read without writing; newest acts may be in its WAL alone."""
    # The index of the WAL is then made in memory, if another one does not keep it.
    ways = ["mode=ro&readonly_shm=1"]
    wal = file.with_name(f"{file.name}-wal")
    if not wal.exists() or wal.stat().st_size == 0:
        ways.append("mode=ro&immutable=1")
    return ways
