"""Backups as files: which are kept, encrypted ones, disks that refuse: on SQLite alone."""

from __future__ import annotations

import errno
import os
import sqlite3
import stat
import zipfile
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pyrage
import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from kitting.ledger import clock, serving
from kitting.ledger.backup import files, making
from tests.backups import (
    ON_SQLITE,
    Line,
    back_up,
    each_or_some,
    killed,
    left_in,
    manifest_of,
    mounted,
    refused_command,
    run,
)

pytestmark = [
    pytest.mark.usefixtures("own"),
    pytest.mark.skipif(not ON_SQLITE, reason="the same on every database"),
]


@pytest.fixture
def to(tmp_path: Path) -> Path:
    folder = tmp_path / "disk"
    folder.mkdir()
    return folder


# -- Which are kept -----------------------------------------------------------------


def test_keep_removes_the_oldest_of_ours_and_nothing_else(line: Line, to: Path) -> None:
    foreign = "lotward-1-20200101T000000Z-1-0123456789abcdef.zip"
    others = [foreign, "holiday.jpg", "lotward-notes.zip", "faulty"]
    for name in others:
        (to / name).write_bytes(b"whatever")
    first = back_up(to)
    line.pack()
    second = back_up(to)
    line.pack()
    faulty = to / second.name.replace(".zip", "-faulty.zip")
    faulty.write_bytes(b"x")
    said = run("backup", "--to", to, "--keep", 2)
    third = Path(said[-1])
    assert f"Removed {first.name}" in said
    assert left_in(to) == sorted([*others, faulty.name, second.name, third.name])


def test_a_clock_set_back_does_not_make_the_new_one_the_oldest(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = [back_up(to)]
    line.pack()
    old.append(back_up(to))
    past = datetime(2020, 1, 1, tzinfo=UTC)
    monkeypatch.setattr(clock, "now", lambda: past)
    new = back_up(to, "--keep", 1)
    assert "20200101T000000Z" in new.name
    assert left_in(to) == [new.name]


@pytest.mark.parametrize("count", ["0", "-1", "x", "١"])
def test_no_fewer_than_one_is_kept(count: str, to: Path) -> None:
    with pytest.raises(CommandError, match="not a whole number, 1 or more"):
        call_command("backup", f"--keep={count}", to=str(to))


# -- Encryption ---------------------------------------------------------------------


def test_one_that_is_encrypted_opens_with_its_key_alone(line: Line, to: Path) -> None:
    key = pyrage.x25519.Identity.generate()
    file = back_up(to, "--recipient", key.to_public())
    assert left_in(to) == [file.name]
    assert file.name.endswith(".zip.age")
    assert file.read_bytes().startswith(b"age-encryption.org/v1")
    plain = pyrage.decrypt(file.read_bytes(), [key])
    assert plain.startswith(b"PK")
    with pytest.raises(pyrage.DecryptError):
        pyrage.decrypt(file.read_bytes(), [pyrage.x25519.Identity.generate()])


def test_nothing_plain_ever_lies_on_the_disk_of_encrypted_ones(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain, seen = files.seal, []

    def watched(file: Path, into: Path, recipients: list[str]) -> None:
        seen.append([each for each in to.rglob("*") if each.is_file()])
        plain(file, into, recipients)

    monkeypatch.setattr(files, "seal", watched)
    back_up(to, "--recipient", pyrage.x25519.Identity.generate().to_public())
    assert seen == [[]]


def test_a_wrong_key_is_refused_before_anything_is_done(to: Path) -> None:
    assert "not a recipient" in refused_command(
        "backup", "--to", to, "--recipient", "age1x"
    )
    assert left_in(to) == []


# -- Wrong moments ------------------------------------------------------------------


def test_a_folder_that_is_not_there_is_not_made(to: Path) -> None:
    assert "Is its disk connected?" in refused_command("backup", "--to", to / "usb")
    assert not (to / "usb").exists()


@pytest.mark.parametrize("encrypted", [False, True], ids=["plain", "encrypted"])
def test_a_disk_that_is_full_is_a_sentence(
    line: Line, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, encrypted: bool
) -> None:
    """It is counted beforehand whether there is room, and another may fill it then."""
    key = pyrage.x25519.Identity.generate().to_public()
    options = ["--recipient", key] if encrypted else []
    with mounted(tmp_path / "small", "size=16k") as small:
        if not encrypted:
            assert "MB are needed" in refused_command("backup", "--to", small)
        monkeypatch.setattr(making, "_need_room", lambda *_: None)
        words = refused_command("backup", "--to", small, *options)
        assert "No backup was made" in words
        assert "full" in words or "No space left" in words
        assert left_in(small) == []


def test_a_disk_that_is_read_only_is_a_sentence(line: Line, tmp_path: Path) -> None:
    with mounted(tmp_path / "locked", "ro") as locked:
        assert "Read-only file system" in refused_command("backup", "--to", locked)


def test_a_database_that_is_none_is_a_sentence(own: Path, to: Path) -> None:
    connection.close()
    Path(connection.settings_dict["NAME"]).write_bytes(b"not a database " * 500)
    assert "The file of the record is damaged" in refused_command("backup", "--to", to)
    assert left_in(to) == []


def test_a_page_that_is_damaged_makes_it_faulty(line: Line, to: Path) -> None:
    """Better a backup of what is left than none; it is called what it is."""
    file = Path(connection.settings_dict["NAME"])
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        cursor.execute("SELECT rootpage FROM sqlite_master WHERE name = 'kitting_bag'")
        page = cursor.fetchone()[0]
    connection.close()
    with file.open("r+b") as raw:
        raw.seek((page - 1) * 4096)
        raw.write(b"\xff" * 4096)
    errors = StringIO()
    with pytest.raises(SystemExit):
        call_command("backup", "--to", str(to), stdout=StringIO(), stderr=errors)
    assert "could not be finished" in errors.getvalue()
    assert left_in(to)[0].endswith("-faulty.zip")


def test_a_disk_that_knows_no_locks_of_folders_does(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Such as one of another machine; nothing is removed there that may be in use."""

    def refuse(*_: object) -> None:
        raise OSError(errno.ENOTSUP, "Operation not supported")

    plain = os.fsync
    monkeypatch.setattr(files.fcntl, "flock", refuse)
    monkeypatch.setattr(
        os,
        "fsync",
        lambda h: refuse() if stat.S_ISDIR(os.fstat(h).st_mode) else plain(h),
    )
    (to / ".lotward-at-work-another").mkdir()
    file = back_up(to)
    assert left_in(to) == [".lotward-at-work-another", file.name]


def test_what_a_dead_one_left_behind_goes_and_a_live_one_keeps(
    line: Line, to: Path
) -> None:
    dead = to / ".lotward-at-work-dead"
    dead.mkdir()
    (dead / "copy").write_bytes(b"half")
    with files.scratch(to) as alive:
        file = back_up(to)
        assert alive.is_dir()
    assert left_in(to) == [file.name]


@each_or_some
def test_a_power_cut_at_any_step_leaves_no_half_file_with_a_name(
    line: Line, to: Path, own: Path, stride: int
) -> None:
    back_up(to)
    line.pack()
    connection.close()
    status, steps = -1, 0
    with killed(own, "backup", "--to", to, "--keep", 1) as at:
        while status and steps < 20:
            status = at(steps)
            steps += stride
            named = [each for each in to.iterdir() if files.NAME.fullmatch(each.name)]
            assert named
            for each in named:
                with files.opened(each) as (manifest, packed):
                    files.unpack(packed, manifest, None)
    assert status == 0
    assert steps > 3
    assert left_in(to) == [each.name for each in named]
    assert len(named) == 1


def test_two_at_once_each_make_a_whole_one(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    moments = iter(datetime.now(UTC) + timedelta(seconds=s) for s in range(99))
    monkeypatch.setattr(clock, "now", lambda: next(moments))
    plain, other = files.pack, []

    def pack(*of: object) -> None:
        monkeypatch.setattr(files, "pack", plain)
        other.append(back_up(to, "--keep", 1))
        plain(*of)  # type: ignore[arg-type]

    monkeypatch.setattr(files, "pack", pack)
    mine = back_up(to)
    assert left_in(to) == sorted([mine.name, other[0].name])
    assert {manifest_of(each)["faults"] for each in (mine, other[0])} == {0}


def test_the_copy_is_a_database_of_its_own_in_one_file(line: Line, to: Path) -> None:
    file = back_up(to)
    with zipfile.ZipFile(file) as packed:
        packed.extract("database", to)
    raw = sqlite3.connect(to / "database")
    assert raw.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert raw.execute("SELECT count(*) FROM kitting_box").fetchone() == (1,)
    raw.close()


def test_a_server_may_run_while_a_backup_is_made(line: Line, to: Path) -> None:
    assert serving.hold()
    try:
        assert back_up(to).exists()
    finally:
        os.close(serving._held.pop())
