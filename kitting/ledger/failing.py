"""Why the database or its disk failed, where that could be foreseen."""

from __future__ import annotations

import errno
import os
import sqlite3
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from django.conf import settings
from django.db import connection

from kitting.domain.errors import Refused

FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
LEAST_ROOM: Final = 1 << 20
"""Bytes; with less on its disk SQLite writes nothing any more."""

_UNMADE: Final = ("no such table", "no such column", "has no column")
_ON_SQLITE: Final = {
    sqlite3.SQLITE_BUSY: "database_busy",
    sqlite3.SQLITE_LOCKED: "database_busy",
    sqlite3.SQLITE_FULL: "database_full",
    sqlite3.SQLITE_CORRUPT: "database_broken",
    sqlite3.SQLITE_NOTADB: "database_broken",
}
_BY_DISK: Final = frozenset(
    {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY}
)
"""What SQLite says of a file without saying why."""
_ON_POSTGRESQL: Final = {
    "25006": "database_read_only",
    "25P03": "database_busy",
    "3D000": "database_missing",
    "40001": "database_busy",
    "40P01": "database_busy",
    "42703": "database_unmade",
    "42P01": "database_unmade",
    "53100": "database_full",
    "53300": "database_busy",
    "55P03": "database_busy",
    "57014": "database_busy",
    "XX001": "database_broken",
    "XX002": "database_broken",
}
"""PostgreSQL 15, Appendix A; every other one is a fault of ours."""
_AWAY: Final = ("08", "28", "57P", "58")
"""Beginnings of codes of a server that is not there, or lets nobody in."""


def why(error: BaseException | None) -> Refused | None:
    """Why something failed that reads or writes the database or its disk.

    Args:
        error: What was raised; what it was raised from counts.

    Returns:
        It as a refusal, or None if it is none of these: then it is a fault of ours.
    """
    for each in _chain(error):
        if code := _code(each):
            return Refused(code)
    return None


def let_go(error: BaseException | None) -> None:
    """Drop what the tracebacks of an error keep.

    Among it are cursors. While one is there, SQLite goes on in this process as it found
    the disk, so that after room was made nothing could be recorded yet.

    Args:
        error: What was raised; what it was raised from counts.
    """
    for each in _chain(error):
        traceback.clear_frames(each.__traceback__)


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__


def _code(error: BaseException) -> str:
    if isinstance(error, sqlite3.Error):
        return _of_sqlite(getattr(error, "sqlite_errorcode", 0) & 0xFF, str(error))
    if isinstance(error, OSError):
        on_disk = {**dict.fromkeys(FULL, "full"), errno.EROFS: "read_only"}
        found = on_disk.get(error.errno or 0)
        return f"database_{found}" if found else ""
    if hasattr(error, "sqlstate"):
        return _of_postgresql(error.sqlstate, error)
    return ""


def _of_sqlite(code: int, said: str) -> str:
    if code in _BY_DISK:
        return _of_file(Path(connection.settings_dict["NAME"]))
    if any(part in said for part in _UNMADE):
        return "database_unmade"
    return _ON_SQLITE.get(code, "")


def _of_file(file: Path) -> str:
    try:
        if not file.exists():
            return "database_missing"
        disk = os.statvfs(file)
    except OSError:
        return "database_away"
    if disk.f_flag & os.ST_RDONLY or not os.access(file, os.W_OK):
        return "database_read_only"
    if disk.f_bavail * disk.f_frsize < LEAST_ROOM:
        return "database_full"
    return (
        "database_read_only" if not os.access(file.parent, os.W_OK) else "database_away"
    )


def _of_postgresql(state: str | None, error: BaseException) -> str:
    if state is not None:
        away = "database_away" if state.startswith(_AWAY) else ""
        return _ON_POSTGRESQL.get(state, away)
    if "does not exist" in str(error):
        return "database_missing"
    # Without a code it is no answer of the server's.
    names = {kind.__name__ for kind in type(error).__mro__}
    return "database_away" if names & {"OperationalError", "InterfaceError"} else ""


@dataclass(frozen=True)
class LowDisk:
    """That the disk of the record will soon be full."""

    free: int
    """Bytes."""
    percent: int
    """Of the whole disk, rounded down."""


def low_disk() -> LowDisk | None:
    """Whether there is too little room for long: the WAL, a copy, a restore take some.

    Returns:
        None if there is enough, if nobody wants to know, or if it cannot be told. Of a
        database on a server only the disk of the data folder is known.
    """
    folder, size = Path(settings.DATA_DIR), 0
    try:
        if connection.vendor == "sqlite":
            file = Path(connection.settings_dict["NAME"])
            folder, size = file.parent, file.stat().st_size
        disk = os.statvfs(folder)
    except OSError:
        return None
    free, whole = disk.f_bavail * disk.f_frsize, disk.f_blocks * disk.f_frsize
    least = settings.DISK_WARN_PERCENT
    if not least or (free * 100 >= least * whole and free >= 2 * size):
        return None
    return LowDisk(free, free * 100 // whole if whole else 0)
