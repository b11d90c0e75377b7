"""Copying and replacing a database on a server of PostgreSQL."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import DatabaseError, connection

from kitting.ledger import locking
from kitting.ledger.backup.connecting import standing_in
from kitting.ledger.backup.files import Trouble
from kitting.models import JournalHead

_LONGEST = 32
"""A name has 63 bytes; so many leave room for what is added."""
_VARIABLES = {
    "NAME": "PGDATABASE",
    "USER": "PGUSER",
    "PASSWORD": "PGPASSWORD",
    "HOST": "PGHOST",
    "PORT": "PGPORT",
}


class Postgresql:
    """A database, and the programs of its server."""

    vendor = "postgresql"

    def __init__(self) -> None:
        self.name = str(connection.settings_dict["NAME"])
        self.new = f"{self.name[:_LONGEST]}_restoring"
        self._head: list[Any] | None = None

    def size(self) -> int:
        """About how many bytes a copy takes; rather fewer, for it has no indexes."""
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_database_size(current_database())")
            return int(cursor.fetchone()[0])

    @contextmanager
    def copied(self, into: Path) -> Iterator[None]:
        """Dump a snapshot of the database, and go on reading that snapshot."""
        with locking.snapshot():
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_export_snapshot()")
                snapshot = cursor.fetchone()[0]
            _run(
                "pg_dump",
                self.name,
                "--format=custom",
                "--compress=0",
                f"--snapshot={snapshot}",
                f"--file={into}",
            )
            # Every entry of the archive is read, as a restore would.
            _run("pg_restore", self.name, "--file=/dev/null", str(into))
            yield

    def damage(self) -> list[str]:
        """Nothing: the server finds damage as it reads."""
        return []

    def place(self) -> Path:
        """Where a dump is laid for a while."""
        return Path(settings.DATA_DIR)

    @contextmanager
    def alone(self) -> Iterator[bool]:
        """Have it alone, as far as is known; gives whether it can be read."""
        if not self._exists():
            yield False
            return
        try:
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT count(*) FROM pg_stat_activity WHERE pid <> pg_backend_pid()"
                    " AND datname = current_database()"
                    " AND backend_type = 'client backend'"
                )
                others = cursor.fetchone()[0]
            if others:
                msg = f"{others} others are connected to the database. Stop them first."
                raise Trouble(msg)
            self._head = _heads()
            yield self._head is not None
        finally:
            connection.close()

    def _exists(self) -> bool:
        with self._beside() as cursor:
            cursor.execute(
                "SELECT EXISTS (SELECT FROM pg_database WHERE datname = %s)",
                [self.name],
            )
            return bool(cursor.fetchone()[0])

    @contextmanager
    def _beside(self) -> Iterator[Any]:
        """Ask another database of the same server, where databases are made."""
        other = "template1" if self.name == "postgres" else "postgres"
        with standing_in(NAME=other), connection.cursor() as cursor:
            yield cursor

    @contextmanager
    def loaded(self, file: Path) -> Iterator[None]:
        """Make a new database of a dump; inside, queries go to that one."""
        new = connection.ops.quote_name(self.new)
        with self._beside() as cursor:
            cursor.execute(f"DROP DATABASE IF EXISTS {new}")
            cursor.execute(f"CREATE DATABASE {new} TEMPLATE template0 ENCODING 'UTF8'")
        try:
            _run(
                "pg_restore",
                self.new,
                "--exit-on-error",
                "--single-transaction",
                "--no-owner",
                f"--dbname={self.new}",
                str(file),
            )
            with standing_in(NAME=self.new):
                with connection.cursor() as cursor:
                    cursor.execute("ANALYZE")  # a dump holds no statistics
                yield
        except BaseException:
            with self._beside() as cursor:
                cursor.execute(f"DROP DATABASE IF EXISTS {new}")
            raise

    def replace(self, stamp: str) -> str:
        """Rename both in one transaction, if nobody worked meanwhile."""
        if self._head is not None and _heads() != self._head:
            raise Trouble("Somebody worked in the database meanwhile. Stop the server.")
        connection.close()
        quote = connection.ops.quote_name
        old = f"{self.name[:_LONGEST]}_before_{stamp}"
        exists = self._exists()
        moves = [(self.name, old)] if exists else []
        with self._beside() as cursor:
            cursor.execute("BEGIN")
            for before, after in [*moves, (self.new, self.name)]:
                cursor.execute(
                    f"ALTER DATABASE {quote(before)} RENAME TO {quote(after)}"
                )
            cursor.execute("COMMIT")
        return f"database {old}" if exists else ""


def _heads() -> list[Any] | None:
    try:
        found = JournalHead.objects.order_by("site").values_list("site", "seq")
        return list(found)
    except DatabaseError:
        return None


def _run(program: str, database: str, *options: str) -> None:
    config = {**connection.settings_dict, "NAME": database}
    given = {env: str(config[name]) for name, env in _VARIABLES.items() if config[name]}
    for name, value in config["OPTIONS"].items():
        if name.startswith("ssl"):
            given[f"PG{name.upper()}"] = str(value)
    installed = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{program}"))
    path = shutil.which(program) or next(map(str, reversed(installed)), None)
    if path is None:
        msg = f"{program} is not installed: it comes with PostgreSQL's client programs."
        raise Trouble(msg)
    done = subprocess.run(  # noqa: S603 - a program of PostgreSQL, options of ours
        [path, "--no-password", *options],
        env={**os.environ, **given},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    if done.returncode:
        said = done.stderr.strip().splitlines() or [f"status {done.returncode}"]
        told = next((line for line in said if "error:" in line), said[0])
        msg = f"{program} failed: {told.removeprefix(program)}"
        raise Trouble(msg)
