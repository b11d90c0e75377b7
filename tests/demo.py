"""The demo, built once into a file of its own; each test works on a copy."""

from __future__ import annotations

import os
import shutil
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import connection, connections

from lotward import env, server

NAME = "lotward.sqlite3"
TODAY = "2026-03-04"
"""The day that it is for the demo of the tests, a Wednesday."""


@dataclass(frozen=True)
class Demo:
    """A built demo, and what the command said of it."""

    file: Path
    said: str


@contextmanager
def working_on(folder: Path) -> Iterator[Path]:
    """Let the default connection be an SQLite file of its own, then the old one again.

    Whatever the tests run on, the demo is the file that ``make demo`` builds.
    """
    with pointed_at(env.database({}, "LOTWARD_DATABASE_URL", folder=folder)):
        yield folder / NAME


@contextmanager
def pointed_at(config: dict[str, Any]) -> Iterator[None]:
    """Let the default connection of every thread be by these settings."""
    old, before = connections["default"], connections.settings["default"]
    connections.settings["default"] = connections.configure_settings(
        {"default": config}
    )["default"]
    del connections["default"]
    try:
        yield
    finally:
        connections["default"].close()
        connections.settings["default"] = before
        connections["default"] = old


@contextmanager
def own_on_the_server() -> Iterator[None]:
    """Work on a further copy of the worker's database; all made of it go at the end."""
    from kitting.ledger.backup.connecting import standing_in

    worker = connection.settings_dict["NAME"]
    name = f"own_{os.getpid()}_{os.urandom(4).hex()}"
    connection.close()
    with standing_in(NAME="template1"), connection.cursor() as cursor:
        # A page server's thread of an earlier test may have kept its session.
        cursor.execute(
            "SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity"
            " WHERE datname = %s",
            [worker],
        )
        cursor.execute(f'CREATE DATABASE "{name}" TEMPLATE "{worker}"')
    try:
        with pointed_at({**connection.settings_dict, "NAME": name}):
            yield
    finally:
        with standing_in(NAME="template1"), connection.cursor() as cursor:
            like = "SELECT datname FROM pg_database WHERE starts_with(datname, %s)"
            cursor.execute(like, [name])
            for (made,) in cursor.fetchall():
                cursor.execute(f'DROP DATABASE "{made}" (FORCE)')


def copy_of(file: Path, folder: Path) -> None:
    folder.mkdir(exist_ok=True)
    shutil.copy(file, folder / NAME)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((server.LOOPBACK, 0))
        return int(probe.getsockname()[1])
