"""The print worker beside the server: it ends with it, whatever ends the server."""

from __future__ import annotations

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection

from kitting.ledger import clock, planner
from kitting.management.commands import printworker
from kitting.printing.queries.printers import worker_seen
from lotward import server
from tests.demo import copy_of
from tests.factories import TODAY, make_lot
from tests.lotward.test_server import free_port
from tests.patience import PATIENCE_S, until
from tests.trees import ROOT

PROGRAM = """
import os, sys, django
django.setup()
from lotward import server, urls, wsgi
server.call_command("collectstatic", interactive=False, verbosity=0)
server.call_command = lambda *_, **__: None  # Several at once would meet.
for line in sys.stdin:
    asked, number = line.split()
    if asked == "end":
        print(os.waitstatus_to_exitcode(os.waitpid(int(number), 0)[1]), flush=True)
    elif os.fork() == 0:
        with server.print_worker_beside() as worker:
            print(os.getpid(), worker.pid, flush=True)
            server.serve(port=int(number))
"""
"""Each server is a fork of one process that has all loaded and collected, and no file
open. That a server collects for itself is seen in ``tests/lotward/test_server.py``."""


class Starter(subprocess.Popen[str]):
    """Starts servers."""

    def ask(self, *words: object) -> str:
        assert self.stdin
        assert self.stdout
        print(*words, file=self.stdin, flush=True)
        return self.stdout.readline()


@dataclass(frozen=True)
class Running:
    """A server, and the process that started it."""

    starter: Starter
    server: int
    worker: int
    data: Path
    port: int

    def ends(self) -> int:
        """Wait until it has ended; gives with what."""
        return int(self.starter.ask("end", self.server))

    def looks(self) -> bool:
        """Whether the worker has come so far that it ends when it is told to."""
        status = Path(f"/proc/{self.worker}/status").read_text()
        [caught] = re.findall(r"^SigCgt:\s*(\w+)$", status, re.MULTILINE)
        return bool(int(caught, 16) >> signal.SIGTERM - 1 & 1)

    def seen(self) -> str | None:
        """When a worker last said that it looks for work."""
        with closing(sqlite3.connect(self.data / "lotward.sqlite3")) as rows:
            query = "SELECT print_worker_at FROM kitting_workshop"
            return rows.execute(query).fetchone()[0]

    def answers(self) -> bool:
        try:
            with urllib.request.urlopen(
                f"http://{server.LOOPBACK}:{self.port}/health/", timeout=PATIENCE_S
            ) as answer:
                return answer.status == 200
        except OSError:
            return False


def alive(pid: int) -> bool:
    """Whether a process runs; one that ended and was not buried does not."""
    try:
        return "State:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except (FileNotFoundError, ProcessLookupError):  # it went while it was read
        return False


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory, migrated: Path) -> Path:
    folder = tmp_path_factory.mktemp("data")
    copy_of(migrated, folder)
    return folder


@pytest.fixture(scope="module")
def starter(data: Path) -> Iterator[Starter]:
    clean = {n: v for n, v in os.environ.items() if not n.startswith("LOTWARD_")}
    with Starter(
        [sys.executable, "-c", PROGRAM],
        cwd=ROOT,
        env={
            **clean,
            "DJANGO_SETTINGS_MODULE": "tests.deployed",
            "LOTWARD_DATA_DIR": str(data),
        },
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as started:
        yield started


@pytest.fixture
def start(starter: Starter, data: Path) -> Iterator[Callable[[], Running]]:
    started: list[Running] = []

    def one() -> Running:
        port = free_port()
        server, worker = map(int, starter.ask("serve", port).split())
        started.append(Running(starter, server, worker, data, port))
        return started[-1]

    yield one
    for each in started:
        for pid in (each.server, each.worker):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)


def test_no_worker_is_left_when_the_server_ends(start: Callable[[], Running]) -> None:
    ends = (signal.SIGTERM, signal.SIGINT, signal.SIGKILL)
    servers = {how: start() for how in ends}
    for running in servers.values():
        # A terminal sends SIGINT to all of its foreground group (POSIX, 11.1.9).
        assert os.getsid(running.worker) == running.worker
        assert os.getpgid(running.worker) != os.getpgid(running.server)
        assert until(running.answers)
        assert until(running.looks)
        assert until(running.seen)
    for how, running in servers.items():
        assert alive(running.worker)
        os.kill(running.server, how)
    for how, running in servers.items():
        assert (running.ends() == -how) is (how == signal.SIGKILL)
        assert until(lambda pid=running.worker: not alive(pid)), how  # type: ignore[misc]


def test_the_server_goes_on_when_its_worker_ends(start: Callable[[], Running]) -> None:
    running = start()
    assert until(running.answers)
    os.kill(running.worker, signal.SIGKILL)
    assert until(lambda: not alive(running.worker))
    assert running.answers()
    os.kill(running.server, signal.SIGTERM)
    assert running.ends() == 0


@pytest.fixture
def _signals_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command takes the signals of its process, which is that of the tests here."""
    monkeypatch.setattr(signal, "signal", lambda *_: None)


@pytest.mark.django_db
@pytest.mark.usefixtures("_signals_stay")
def test_it_says_that_it_looks_and_ends_when_there_is_nothing_to_do() -> None:
    assert worker_seen() is None
    call_command("printworker", once=True)
    assert worker_seen() is not None


@pytest.mark.django_db
@pytest.mark.usefixtures("_signals_stay")
def test_it_knows_its_parent_by_who_that_is_now(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A process that nobody buries keeps its number; one that ended loses its children
    (POSIX.1-2017, _exit(), Consequences of Process Termination)."""
    parents = iter([os.getpid(), os.getpid(), 1])
    monkeypatch.setattr(os, "getppid", lambda: next(parents))
    monkeypatch.setattr(time, "sleep", lambda _seconds: None)
    monkeypatch.setattr(printworker, "close_old_connections", lambda: None)
    call_command("printworker", beside=os.getpid())
    assert worker_seen() is not None
    with pytest.raises(StopIteration):
        next(parents)


@pytest.mark.django_db
@pytest.mark.usefixtures("_signals_stay")
def test_it_tells_the_planner_of_the_tables_once_a_day(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    days = iter([TODAY, TODAY, TODAY + timedelta(days=1)])
    parents = iter([os.getpid()] * 4 + [1])
    told: list[str] = []
    monkeypatch.setattr(os, "getppid", lambda: next(parents))
    monkeypatch.setattr(time, "sleep", lambda _seconds: None)
    monkeypatch.setattr(printworker, "close_old_connections", lambda: None)
    monkeypatch.setattr(clock, "today", lambda: next(days))
    monkeypatch.setattr(planner, "refresh", lambda: told.append("all tables"))
    call_command("printworker", beside=os.getpid())
    assert told == ["all tables"] * 2
    assert list(days) == []


@pytest.mark.django_db
@pytest.mark.usefixtures("_signals_stay")
@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL sees to its own")
def test_the_planner_knows_what_is_full_and_what_is_empty() -> None:
    make_lot()
    call_command("printworker", once=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT tbl, stat FROM sqlite_stat1 WHERE idx IS NULL")
        assert ("kitting_hold", "100") in cursor.fetchall()
        cursor.execute("SELECT stat FROM sqlite_stat1 WHERE tbl = 'kitting_lot'")
        assert all(stat.startswith("1 ") for (stat,) in cursor.fetchall())


def test_a_worker_that_does_not_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the processes above run for good, as coverage can see it."""
    seen: list[str] = []

    class Stubborn:
        def __init__(self, command: list[str], **options: object) -> None:
            seen.append(" ".join(command[-4:]))

        def terminate(self) -> None:
            seen.append("terminate")

        def wait(self, seconds: float) -> None:
            seen.append("wait")
            raise subprocess.TimeoutExpired("printworker", seconds)

        def kill(self) -> None:
            seen.append("kill")

    monkeypatch.setattr(subprocess, "Popen", Stubborn)
    with pytest.raises(SystemExit), server.print_worker_beside():
        sys.exit(0)
    beside = f"printworker --beside {os.getpid()} --skip-checks"
    assert seen == [beside, "terminate", "wait", "kill"]

    def leave_a_fork() -> None:
        with server.print_worker_beside():
            monkeypatch.setattr(os, "getpid", lambda: -1)

    leave_a_fork()
    assert seen[4:] == [beside]
