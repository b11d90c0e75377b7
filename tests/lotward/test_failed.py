"""A disk that is full or read-only, a database that is busy, gone, unmade or damaged."""

from __future__ import annotations

import errno
import gc
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg
import pytest
from django.db import OperationalError, connection
from django.test import Client, override_settings
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from kitting.ledger import failing
from kitting.ledger.proof import heads
from kitting.ledger.proof.faults import Tally
from kitting.models import Box, Lot, Operation, User
from lotward import env
from lotward.demo import people
from tests.backups import mounted
from tests.demo import NAME, Demo, working_on
from tests.pages import RIGHTS

FILL = "fill"


@pytest.fixture
def disk(
    built: Demo, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[Path]:
    """The demo on a small disk of its own."""
    size = built.file.stat().st_size + (2 << 20)
    folder = tmp_path / "disk"
    with mounted(folder, f"size={size}"):
        shutil.copy(built.file, folder / NAME)
        at_home = override_settings(DATA_DIR=folder, ALLOWED_HOSTS=["localhost"])
        with django_db_blocker.unblock(), at_home, working_on(folder):
            yield folder
            gc.collect(1)  # tracebacks keep cursors, and these the file; all are young


@pytest.fixture
def client(disk: Path) -> Client:
    """The manager, signed in while all was well."""
    client = Client(raise_request_exception=False, headers={"host": "localhost"})
    client.force_login(User.objects.get(username="manager"), RIGHTS)
    connection.close()
    return client


def fill(disk: Path) -> None:
    connection.close()
    with (disk / FILL).open("wb", buffering=0) as file, suppress(OSError):
        while file.write(b"x" * 4096):
            pass


def only_read(disk: Path) -> None:
    connection.close()
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)


def killed(disk: Path) -> None:
    """Leave what was written in the WAL alone, as a server that is killed does."""
    connection.close()
    write = (
        "import os, sqlite3, sys; own = sqlite3.connect(sys.argv[1]);"
        "own.execute(\"UPDATE kitting_workshop SET name = 'Kept in the WAL'\");"
        "own.commit(); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", write, disk / NAME], check=False)
    assert (disk / f"{NAME}-wal").stat().st_size > 0


def addresses() -> list[str]:
    lot, box = Lot.objects.all()[0], Box.objects.exclude(serial=None)[0]
    return [
        reverse("kitting:day"),
        reverse("kitting:lot-detail", args=[lot.number]),
        reverse("kitting:box-detail", args=[box.serial]),
        reverse("dispatch:log"),
        f"{reverse('dispatch:recall')}?q={lot.number}",
    ]


def send(client: Client, **extra: str) -> Any:
    """An act of a manager's, with a key of its own."""
    key = str(uuid4())
    return client.post(reverse("kitting:clock"), {"op_key": key, **extra})


@pytest.mark.parametrize(
    ("trouble", "said"),
    [(fill, "disk of the server is full"), (only_read, "and not write to it")],
)
def test_pages_are_read_and_acts_are_refused_in_a_sentence(
    disk: Path,
    client: Client,
    trouble: Callable[[Path], None],
    said: str,
    caplog: pytest.LogCaptureFixture,
) -> None:
    pages, acts = addresses(), Operation.objects.count()
    trouble(disk)
    for page in pages:
        assert client.get(page).status_code == 200, page
    answer = send(client)
    text = answer.content.decode()
    assert (answer.status_code, said in text) == (503, True)
    assert [record.exc_info for record in caplog.records] == [None]
    assert "Nothing of what you sent was recorded." in text
    assert "The same again" not in text
    assert Operation.objects.count() == acts


@pytest.mark.parametrize(
    ("trouble", "said"),
    [(fill, "disk of the server is full"), (only_read, "and not write to it")],
)
def test_nobody_signs_in_and_whoever_signs_out_is_out(
    disk: Path, client: Client, trouble: Callable[[Path], None], said: str
) -> None:
    trouble(disk)
    stranger = Client(raise_request_exception=False, headers={"host": "localhost"})
    assert stranger.get("/sign-in/").status_code == 200
    for password in (people.PASSWORD, "wrong"):
        typed = {"username": "manager", "password": password}
        answer = stranger.post("/sign-in/", typed)
        text = answer.content.decode()
        assert (answer.status_code, said in text) == (503, True)
        assert "Nobody can sign in until then" in text
        assert password not in text
        assert stranger.get("/").status_code == 302
    assert client.get("/").status_code == 200
    left = client.post("/sign-out/")
    assert "You are signed out in this browser." in left.content.decode()
    assert client.get("/").status_code == 302


def test_a_part_of_a_page_and_a_scan_are_answered_in_plain_text(
    disk: Path, client: Client, hx: dict[str, str]
) -> None:
    key = {"op_key": str(uuid4())}
    fill(disk)
    answer = client.post(reverse("kitting:clock"), key, headers=hx)
    assert (answer.status_code, answer["Content-Type"]) == (503, "text/plain")
    assert answer.content.decode().startswith("The disk of the server is full.")


@pytest.mark.parametrize("trouble", [fill, only_read])
def test_what_a_killed_server_left_in_the_wal_is_read(
    disk: Path, client: Client, trouble: Callable[[Path], None]
) -> None:
    killed(disk)
    if trouble is fill:  # else it is there, and needs no room
        (disk / f"{NAME}-shm").unlink()
    trouble(disk)
    assert "Kept in the WAL" in client.get("/").content.decode()


def test_a_broken_wal_is_passed_over_and_the_heads_tell_what_is_lost(
    disk: Path, client: Client
) -> None:
    """A log with a wrong head holds nothing for SQLite (its file format, section 4.1)."""
    connection.close()
    before, pages = (disk / NAME).read_bytes(), addresses()
    assert send(client).status_code == 302
    heads.record(heads.current(), heads.path())
    connection.close()
    (disk / NAME).write_bytes(before)
    (disk / f"{NAME}-wal").write_bytes(b"no log of ours" * 1_000)
    for page in pages:
        assert client.get(page).status_code == 200, page
    assert send(client).status_code == 302
    heads.recorded(tally := Tally("recorded heads", "heads"))
    (fault,) = tally.faults
    assert "was on record and has gone or changed" in fault.words


def test_room_made_is_enough_to_go_on(disk: Path, client: Client) -> None:
    fill(disk)
    assert send(client).status_code == 503
    (disk / FILL).unlink()
    connection.close()  # as the server does after each request
    assert send(client).status_code == 302


NEARLY = "The disk of the server has only"


def test_managers_are_warned_before_the_disk_is_full(
    disk: Path, client: Client, settings: Any
) -> None:
    packer = Client(headers={"host": "localhost"})
    packer.force_login(User.objects.get(username="packer"), RIGHTS)

    def told() -> tuple[bool, bool, bytes]:
        pages = [who.get(reverse("kitting:day")) for who in (client, packer)]
        seen = [NEARLY in " ".join(page.content.decode().split()) for page in pages]
        return seen[0], seen[1], client.get(reverse("health")).content

    # Most of it is the database: less than twice its size is free.
    settings.DISK_WARN_PERCENT = 0
    assert told() == (False, False, b"ok\n")
    settings.DISK_WARN_PERCENT = 1
    assert told() == (True, False, b"ok\ndisk nearly full\n")
    subprocess.run(["mount", "-o", "remount,size=128m", disk], check=True)
    assert told() == (False, False, b"ok\n")
    settings.DISK_WARN_PERCENT = 99
    assert told() == (True, False, b"ok\ndisk nearly full\n")


def test_a_database_that_is_gone_is_not_made_anew(disk: Path, client: Client) -> None:
    (disk / NAME).unlink()
    for answer in (client.get("/"), send(client)):
        assert answer.status_code == 503
        assert "manage.py migrate" in answer.content.decode()
    assert not (disk / NAME).exists()
    env.database({}, "LOTWARD_DATABASE_URL", folder=disk)
    assert not (disk / NAME).exists()


@pytest.mark.parametrize(
    ("content", "said"), [(b"", "lacks tables"), (b"no database" * 500, "damaged")]
)
def test_a_database_that_is_empty_or_damaged_is_told(
    disk: Path, client: Client, content: bytes, said: str
) -> None:
    connection.close()
    (disk / NAME).write_bytes(content)
    answer = client.get("/")
    assert (answer.status_code, said in answer.content.decode()) == (503, True)


def test_any_other_failure_is_a_fault_of_ours() -> None:
    assert failing.why(ValueError("database is locked")) is None
    assert failing.why(sqlite3.IntegrityError("no")) is None


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (psycopg.errors.DiskFull(), "database_full"),
        (psycopg.errors.ReadOnlySqlTransaction(), "database_read_only"),
        (psycopg.errors.SerializationFailure(), "database_busy"),
        (psycopg.errors.DeadlockDetected(), "database_busy"),
        (psycopg.errors.LockNotAvailable(), "database_busy"),
        (psycopg.errors.IdleInTransactionSessionTimeout(), "database_busy"),
        (psycopg.errors.UndefinedTable(), "database_unmade"),
        (psycopg.errors.AdminShutdown(), "database_away"),
        (psycopg.errors.DataCorrupted(), "database_broken"),
        (psycopg.OperationalError("connection refused"), "database_away"),
        (psycopg.OperationalError('database "x" does not exist'), "database_missing"),
        (OSError(errno.ENOSPC, "No space left on device"), "database_full"),
        (OSError(errno.EROFS, "Read-only file system"), "database_read_only"),
    ],
)
def test_what_a_server_of_postgresql_and_a_disk_say(
    error: Exception, code: str
) -> None:
    outer = OperationalError("wrapped")
    outer.__cause__ = error
    found = failing.why(outer)
    assert found is not None
    assert found.code == code
    assert failing.why(psycopg.errors.UniqueViolation()) is None
