"""Copying and replacing a database that is a file of SQLite."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path

from django.db import DatabaseError, connection

from kitting.ledger.backup.connecting import standing_in
from kitting.ledger.backup.files import Trouble, private, to_disk

BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a file; laid beside another one it would spoil that."""


class Sqlite:
    """The file of the workshop."""

    vendor = "sqlite"

    def __init__(self) -> None:
        self.file = Path(connection.settings_dict["NAME"])
        self._new = self.file

    def size(self) -> int:
        """About how many bytes a copy takes."""
        wal = self.file.with_name(f"{self.file.name}-wal")
        return sum(each.stat().st_size for each in (self.file, wal) if each.exists())

    @contextmanager
    def copied(self, into: Path) -> Iterator[None]:
        """Copy one moment of it, while people work; inside, queries read the copy."""
        connection.ensure_connection()
        private(into).close()
        with closing(sqlite3.connect(into)) as target:
            connection.connection.backup(target)
            target.execute("PRAGMA journal_mode=DELETE")
        with self.loaded(into):
            yield

    def loaded(self, file: Path) -> AbstractContextManager[None]:
        """Let queries go to a file that ``copied`` made."""
        self._new = file
        # Nobody else reads the file, and it is to stay one file: no WAL.
        options = {**connection.settings_dict["OPTIONS"]}
        options.pop("init_command", None)
        return standing_in(NAME=file, OPTIONS=options)

    def damage(self) -> list[str]:
        """What SQLite finds when it reads every page of what queries read now."""
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA integrity_check(5)")
            said = [str(row[0]) for row in cursor.fetchall()]
        return [] if said == ["ok"] else said

    def place(self) -> Path:
        """Where a new database is made, so that a rename puts it in place."""
        return self.file.parent

    @contextmanager
    def alone(self) -> Iterator[bool]:
        """Have it alone until this ends; gives whether there is one that can be read."""
        try:
            yield self._there() and self._lock()
        finally:
            connection.close()

    def _there(self) -> bool:
        return self.file.exists() and self.file.stat().st_size > 0

    def _lock(self) -> bool:
        try:
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA busy_timeout=1000")
                # Only where nobody else has it open; what is in the WAL comes in.
                cursor.execute("PRAGMA journal_mode=DELETE")
                cursor.execute("BEGIN EXCLUSIVE")
        except DatabaseError as error:
            if "locked" in str(error):
                msg = "The database is in use. Stop whatever works with it first."
                raise Trouble(msg) from error
            return False  # It is damaged: nobody works with it.
        return True

    def replace(self, stamp: str) -> str:
        """Put what was loaded in its place; gives where the replaced one is kept."""
        kept = ""
        to_disk(self._new)
        if self._there():
            name = f"{self.file.stem}-before-{stamp}{self.file.suffix}"
            old = self.file.with_name(name)
            _keep(self.file, old)
            kept = str(old)
        self._new.replace(self.file)
        to_disk(self.file.parent)
        return kept


def _keep(file: Path, old: Path) -> None:
    """Give it a second name: under its own it stays until the new one takes that."""
    try:
        old.hardlink_to(file)
    except FileExistsError:
        raise
    except OSError:  # A file system without second names.
        shutil.copy2(file, old)
        to_disk(old)
    for beside in BESIDE:
        left = file.with_name(f"{file.name}{beside}")
        if left.exists():
            left.rename(old.with_name(f"{old.name}{beside}"))
    to_disk(file.parent)
