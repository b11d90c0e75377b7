"""What a restore refuses, what it does and what it replaces: on SQLite alone."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import pyrage
import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from kitting.ledger import clock, serving
from kitting.ledger import proof as proving
from kitting.ledger.backup.sqlite import Sqlite
from kitting.ledger.proof import heads
from kitting.models import (
    Counter,
    JournalHead,
    Link,
    Operation,
)
from tests import factories
from tests.backups import (
    ON_SQLITE,
    Line,
    back_up,
    changed,
    each_or_some,
    holds,
    killed,
    lose_the_database,
    mounted,
    refused,
    run,
)
from tests.databases import guards_away
from tests.demo import copy_of, working_on
from tests.trees import ROOT

pytestmark = [
    pytest.mark.usefixtures("own"),
    pytest.mark.skipif(not ON_SQLITE, reason="the same on every database"),
]


@pytest.fixture
def to(tmp_path: Path) -> Path:
    return tmp_path / "disk"


# -- The act ------------------------------------------------------------------------


def test_a_counter_that_goes_back_into_the_gap_is_found(line: Line, to: Path) -> None:
    run("restore", back_up(to))
    with guards_away():
        Counter.objects.filter(name="serial").update(next=5)
    [fault] = [f for f in proving.prove() if f.check == "numbers passed over"]
    assert "counter serial" in fault.words


def test_whoever_was_signed_in_is_not_any_more(line: Line, to: Path) -> None:
    client = Client()
    client.force_login(
        factories.make_person("clerk"), backend="lotward.rights.RightsBackend"
    )
    assert Session.objects.count() == 1
    factories.seal_set_up()
    run("restore", back_up(to))
    assert Session.objects.count() == 0


def test_who_signs_can_be_named(line: Line, to: Path) -> None:
    factories.make_person(name="mira")
    factories.seal_set_up()
    run("restore", back_up(to), "--as", "mira")
    assert Operation.objects.get(name="restore").by.username == "mira"


# -- What is refused ----------------------------------------------------------------


def test_what_is_no_backup_is_refused(line: Line, to: Path) -> None:
    to.mkdir()
    picture = to / "holiday.zip"
    picture.write_bytes(b"\x89PNG" * 100)
    assert "damaged, or not a backup" in refused(picture)
    assert "There is no file" in refused(to / "none.zip")


@pytest.mark.parametrize("at", [0.1, 0.5, 0.9])
def test_one_flipped_bit_is_refused(line: Line, to: Path, at: float) -> None:
    file = back_up(to)
    raw = bytearray(file.read_bytes())
    raw[int(len(raw) * at)] ^= 1
    file.write_bytes(raw)
    assert "damaged" in refused(file)


def test_half_a_file_is_refused(line: Line, to: Path) -> None:
    file = back_up(to)
    os.truncate(file, file.stat().st_size // 2)
    assert "damaged" in refused(file)


BENT: list[tuple[str, Callable[[dict[str, Any]], object], str]] = [
    ("form", lambda m: m.update(form=2), "which writes other files"),
    ("later", lambda m: m["migrations"].update(kitting="0002_x"), "a later schema"),
    ("vendor", lambda m: m.update(vendor="oracle"), "the settings name"),
    ("sha", lambda m: m.update(sha256="0" * 64), "damaged"),
    ("size", lambda m: m.update(size=m["size"] - 1), "damaged"),
    ("head", lambda m: m.update(head="0" * 16), "ends elsewhere"),
    ("seq", lambda m: m.update(seq=m["seq"] + 1), "ends elsewhere"),
    ("missing", lambda m: m.pop("seq"), "cannot be read"),
    ("kind", lambda m: m.update(seq="many"), "which writes other files"),
    ("moment", lambda m: m.update(made_at="once"), "cannot be read"),
]


def test_a_manifest_that_is_bent_is_refused(line: Line, to: Path) -> None:
    file = back_up(to)
    said = {name: refused(changed(file, bend)) for name, bend, _ in BENT}
    assert {name: words for name, _, words in BENT if words not in said[name]} == {}


def test_the_file_of_another_workshop_is_refused(line: Line, to: Path) -> None:
    file = back_up(to)
    with guards_away():
        Link.objects.filter(seq=1).update(hash=b"\x01" * 32)
    assert "of another workshop" in refused(file)


def test_a_file_that_lacks_what_was_on_record_is_refused(line: Line, to: Path) -> None:
    """Where the database is lost, the heads on record know the workshop."""
    file = back_up(to)
    heads.path().write_text(f"1/2 {'cd' * 32}\n")
    lose_the_database()
    with pytest.raises(CommandError, match="Link 1/2 was on record"):
        run("restore", file)


def test_faults_in_it_are_told_and_nothing_is_done_unless_asked(
    line: Line, to: Path
) -> None:
    sseq = Counter.objects.get(name="sscc").next
    with guards_away():
        JournalHead.objects.update(hash=b"\x02" * 32)
    with pytest.raises(SystemExit):
        call_command("backup", to=str(mkdir(to)), stdout=StringIO(), stderr=StringIO())
    [file] = to.iterdir()
    assert "does not follow" in refused(file)
    run("restore", file, "--despite-faults")
    told = Operation.objects.get(name="restore").link.outcome
    assert '"despite_faults": true' in told
    assert Counter.objects.get(name="sscc").next > sseq


def mkdir(folder: Path) -> Path:
    folder.mkdir()
    return folder


def test_a_clock_set_back_is_refused(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = back_up(to)
    monkeypatch.setattr(clock, "now", lambda: datetime(2020, 1, 1, tzinfo=UTC))
    assert "Set the clock right first" in refused(file)


def test_an_encrypted_one_needs_its_key(line: Line, to: Path, own: Path) -> None:
    key, other = (pyrage.x25519.Identity.generate() for _ in range(2))
    file = back_up(to, "--recipient", key.to_public())
    right, wrong, none = own / "key", own / "other", own / "none"
    right.write_text(f"# kept in the safe\n{key}\n")
    wrong.write_text(f"{other}\n")
    none.write_text("nothing\n")
    assert "--identity" in refused(file)
    assert "does not open with this key" in refused(file, "--identity", wrong)
    assert "holds no key" in refused(file, "--identity", none)
    run("restore", file, "--identity", right)
    assert Operation.objects.filter(name="restore").count() == 1


# -- Who works on it meanwhile ------------------------------------------------------


def test_it_is_refused_while_a_server_runs(line: Line, to: Path, own: Path) -> None:
    file = back_up(to)
    program = (
        "import sys; from django.conf import settings;"
        f"settings.configure(DATA_DIR={str(own)!r});"
        "from kitting.ledger import serving; print(serving.hold(), flush=True);"
        "sys.stdin.read()"
    )
    server = subprocess.Popen(
        [sys.executable, "-c", program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=ROOT,
    )
    try:
        assert server.stdout.readline() == b"True\n"  # type: ignore[union-attr]
        assert "The server, a print worker or another restore is running" in refused(
            file
        )
    finally:
        server.kill()  # a lock ends with its process
        server.communicate()
    run("restore", file)


def test_no_server_starts_while_it_runs(own: Path) -> None:
    with serving.nobody() as quiet:
        assert quiet
        assert not serving.hold()
        server = subprocess.run(
            [sys.executable, "-c", "import lotward.wsgi"],
            cwd=ROOT,
            env={"LOTWARD_DATA_DIR": str(own)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert server.stderr.endswith(f"ImproperlyConfigured: {serving.RESTORING}\n")
        with pytest.raises(CommandError, match="being restored"):
            call_command("printworker", "--once")
    assert serving.hold()
    os.close(serving._held.pop())


# -- What is replaced ---------------------------------------------------------------


def test_what_is_damaged_is_kept(line: Line, to: Path) -> None:
    file, name = back_up(to), Path(connection.settings_dict["NAME"])
    connection.close()
    name.write_bytes(b"not a database " * 500)
    run("restore", file)
    assert holds() == []
    [old] = name.parent.glob("lotward-before-*.sqlite3")
    assert old.read_bytes() == b"not a database " * 500


def test_what_does_not_even_open_is_kept_with_its_wal(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside the new database it would be taken for that one's, and spoil it."""
    file, name = back_up(to), Path(connection.settings_dict["NAME"])
    connection.close()
    monkeypatch.setattr(Sqlite, "_lock", lambda _self: False)
    name.write_bytes(b"not a database " * 500)
    wal = name.with_name(f"{name.name}-wal")
    wal.write_bytes(b"of another file")
    run("restore", file)
    assert holds() == []
    [old] = name.parent.glob("lotward-before-*.sqlite3")
    assert old.read_bytes() == b"not a database " * 500
    assert Path(f"{old}-wal").read_bytes() == b"of another file"


@each_or_some
def test_a_power_cut_at_any_step_leaves_the_old_one_or_the_new(
    line: Line, to: Path, own: Path, tmp_path: Path, stride: int
) -> None:
    """Killed before each call that names or removes a file, up to the last."""
    file, name = back_up(to), Path(connection.settings_dict["NAME"])
    restored = JournalHead.objects.get().seq + 1
    line.pack()
    lost = JournalHead.objects.get().seq
    assert lost > restored
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    before = tmp_path / "before"
    shutil.copy(name, before)
    found, status = [], -1
    with killed(own, "restore", file) as at:
        while status and len(found) < 40:
            for left in own.glob("lotward*"):
                left.unlink()
            shutil.copy(before, name)
            status = at(stride * len(found))
            found.append(JournalHead.objects.get().seq)
            assert holds() == []
            connection.close()
    assert status == 0
    assert found[0] == lost
    assert found[-1] == restored
    assert found == sorted(found, reverse=True)
    assert stride * len(found) > 4
    assert not list(own.glob(".lotward-at-work-*"))


def test_a_disk_that_is_full_is_a_sentence(
    line: Line, to: Path, tmp_path: Path
) -> None:
    """The old database goes on as if nothing had been tried."""
    file, name = back_up(to), Path(connection.settings_dict["NAME"])
    with connection.cursor() as cursor:  # all that it holds, in its one file
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    room = name.stat().st_size * 3 // 2
    with mounted(tmp_path / "small", f"size={room}") as small:
        copy_of(name, small)
        with working_on(small):
            words = refused(file)
            assert holds() == []
        assert "The disk is full" in words or "No space left" in words
        assert not list(small.glob(".lotward-at-work-*"))
