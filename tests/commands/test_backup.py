"""Backups: made while people work, proved, named, kept, and refused in plain words."""

from __future__ import annotations

import stat
import threading
import zipfile
from datetime import datetime
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection

from kitting.ledger.backup import making
from kitting.ledger.proof import heads
from kitting.models import JournalHead, Workshop
from tests.backups import (
    ON_SQLITE,
    Line,
    back_up,
    left_in,
    manifest_of,
    run,
)
from tests.databases import guards_away

pytestmark = pytest.mark.usefixtures("own")


@pytest.fixture
def to(tmp_path: Path) -> Path:
    folder = tmp_path / "disk"
    folder.mkdir()
    return folder


def test_the_last_line_is_the_file_and_the_file_tells_what_is_in_it(
    line: Line, to: Path
) -> None:
    *_, proved, last = run("backup", "--to", to)
    file, head = Path(last), JournalHead.objects.get()
    assert file.parent == to
    assert left_in(to) == [file.name]
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    digits = bytes(head.hash).hex()[:16]
    assert file.name.endswith(f"-{head.seq}-{digits}.zip")
    told = manifest_of(file)
    assert (told["seq"], told["head"], told["faults"]) == (head.seq, digits, 0)
    assert told["migrations"]["kitting"] == "0001_baseline"
    assert f"link 1/{head.seq} {digits}: everything holds" in proved
    with zipfile.ZipFile(file) as packed:
        assert packed.testzip() is None
        names = packed.namelist()
    assert sorted(names) == ["database", "manifest.json"]


def test_nothing_secret_is_in_the_manifest(
    line: Line, to: Path, settings: object
) -> None:
    text = str(manifest_of(back_up(to)))
    assert settings.SECRET_KEY not in text  # type: ignore[attr-defined]
    assert str(connection.settings_dict.get("PASSWORD") or "no password") not in text
    assert "pbkdf2" not in text


def test_the_newest_backup_is_remembered_and_stands_apart_from_acts(
    line: Line, to: Path
) -> None:
    before = JournalHead.objects.get().seq
    file = back_up(to)
    made = datetime.fromisoformat(manifest_of(file)["made_at"])
    assert Workshop.objects.get().backup_at == made
    assert JournalHead.objects.get().seq == before


@pytest.mark.skipif(not ON_SQLITE, reason="PostgreSQL sees to its statistics itself")
def test_a_nightly_backup_tells_the_planner_of_the_tables(line: Line, to: Path) -> None:
    """A workshop without label printers has no print worker to do it."""
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS sqlite_stat1")
        run("backup", "--to", to)
        cursor.execute("SELECT count(*) FROM sqlite_stat1 WHERE tbl = 'kitting_box'")
        assert cursor.fetchone()[0] > 0


def test_people_work_on_while_a_backup_is_made(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is done during the proof is done, is not in the copy, and is no fault."""
    plain, seen = making._faults, []

    def working(own: object, on_record: list[str]) -> list[str]:
        worker = threading.Thread(target=lambda: seen.append(work_in_a_thread(line)))
        worker.start()
        worker.join()
        return plain(own, on_record)  # type: ignore[arg-type]

    monkeypatch.setattr(making, "_faults", working)
    before = JournalHead.objects.get().seq
    file = back_up(to)
    assert manifest_of(file)["seq"] == before
    assert seen[0] > before
    assert JournalHead.objects.get().seq == seen[0]


def work_in_a_thread(line: Line) -> int:
    """Pack, and record the head by a proof, through a connection of the thread's own."""
    try:
        line.pack()
        run("prove")
        return JournalHead.objects.get().seq
    finally:
        connection.close()


def test_a_head_on_record_that_the_database_lost_makes_it_faulty(
    line: Line, to: Path
) -> None:
    heads.path().write_text(f"1/3 {'ab' * 32}\n")
    said, errors = StringIO(), StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("backup", "--to", str(to), stdout=said, stderr=errors)
    assert ended.value.code == 1
    assert "Link 1/3 was on record" in errors.getvalue()
    file = Path(said.getvalue().splitlines()[-1])
    assert file.name.endswith("-faulty.zip")
    assert manifest_of(file)["faults"] == 1
    assert Workshop.objects.get().backup_at is None


def test_the_guards_of_the_copy_are_proved_too(line: Line, to: Path) -> None:
    """The proof runs on what was copied: what is wrong there is found there."""
    with guards_away(), connection.cursor() as cursor:
        cursor.execute("UPDATE kitting_counter SET next = 1 WHERE name = 'sscc'")
        cursor.execute("UPDATE kitting_journalhead SET seq = seq + 1")
    with pytest.raises(SystemExit):
        call_command("backup", to=str(to), stdout=StringIO(), stderr=StringIO())
    assert left_in(to)[0].endswith("-faulty.zip")
