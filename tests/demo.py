"""The demo, built once into a file of its own; each test works on a copy."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic, sleep
from typing import Any

from django.db import connection, connections

from lotward import env, server
from lotward.demo import room
from tests.trees import ROOT

NAME = "lotward.sqlite3"
TODAY = "2026-03-04"
"""The day that it is for the demo of the tests, a Wednesday."""
COMMAND = [sys.executable, str(ROOT / "manage.py"), "demo", "--today", TODAY]


@dataclass(frozen=True)
class Demo:
    """A built demo, and what the command said of it."""

    file: Path
    said: str
    served: dict[str, Any] = field(default_factory=dict)
    """What was met while the command served it."""

    @classmethod
    def in_folder(cls, home: Path) -> Demo:
        """Give the one that was built in a data folder."""
        folder = home / room.FOLDER
        served = json.loads((folder / "served.json").read_text())
        return cls(folder / NAME, (folder / "said.txt").read_text(), served)


def build_and_serve(home: Path) -> None:
    """Build the demo in a data folder by the command, and meet it once.

    Raises:
        AssertionError: When the command ends, or serves no page.
    """
    port = free_port()
    said = home / "said.txt"
    with said.open("w") as told:
        process = subprocess.Popen(
            [*COMMAND, "--port", str(port)], env=_clean(home), stdout=told
        )
        try:
            page = _wait_for(f"http://127.0.0.1:{port}/sign-in/", process)
            workers = _workers_beside(process.pid)
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(timeout=30)
    assert page, said.read_text()
    served = {
        "port": port,
        "page": page,
        "workers": workers,
        "workers_left": _workers_beside(process.pid),
    }
    folder = home / room.FOLDER
    with closing(sqlite3.connect(folder / NAME)) as file:
        file.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # It is copied without its log.
    (folder / "served.json").write_text(json.dumps(served))
    said.rename(folder / said.name)


def build_alone(home: Path) -> str:
    """Build the demo in another data folder by the command, and give what it says."""
    return subprocess.run(
        [*COMMAND, "--no-serve"],
        env=_clean(home),
        check=True,
        stdout=subprocess.PIPE,
        text=True,
    ).stdout


def _clean(home: Path) -> dict[str, str]:
    """The environment of a command that knows nothing of the tests."""
    clean = {n: v for n, v in os.environ.items() if not n.startswith("LOTWARD_")}
    clean.pop("DJANGO_SETTINGS_MODULE", None)
    return {**clean, "LOTWARD_DATA_DIR": str(home)}


def _workers_beside(pid: int) -> int:
    """How many print workers run beside a process."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):  # It has ended meanwhile.
            found.append(entry.read_bytes().replace(b"\0", b" ").decode())
    return sum(f"printworker --beside {pid} " in line for line in found)


def _wait_for(url: str, process: subprocess.Popen[bytes]) -> str:
    deadline = monotonic() + 180
    while monotonic() < deadline and process.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=5) as answer:
                return str(answer.read(), "utf-8")
        except OSError:
            sleep(0.3)
    return ""


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
