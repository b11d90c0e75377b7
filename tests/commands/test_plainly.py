"""No command ends with a traceback where its database is gone or its disk read-only."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from kitting.management.plainly import run
from kitting.models import Box, Lot, Workshop
from lotward.env import SECRET_FILE
from tests.backups import mounted
from tests.demo import NAME, Demo, working_on
from tests.test_docs import own_commands
from tests.trees import ROOT

READS = {"boxlabel", "journal", "trace"}
"""What goes on where nothing can be written beside the database."""


@pytest.fixture
def disk(
    built: Demo, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[Path]:
    """The demo on a disk of its own, in the folder of a workshop."""
    with mounted(tmp_path / "disk", "size=64m") as folder:
        shutil.copy(built.file, folder / NAME)
        (folder / SECRET_FILE).write_text(settings.SECRET_KEY)
        at_home = override_settings(DATA_DIR=folder)
        with django_db_blocker.unblock(), at_home, working_on(folder):
            yield folder


def words_of(beside: Path) -> dict[str, list[str]]:
    """What each command is told, so that it comes to its work."""
    catalogue, lots, secret = (beside / name for name in ("c.json", "lots.csv", "word"))
    catalogue.write_text(json.dumps({"places": []}))
    lots.write_text("part\n")
    secret.write_text("correct horse battery\n")
    (beside / "to").mkdir()
    return {
        "backup": ["--to", str(beside / "to")],
        "boxlabel": [
            str(Box.objects.exclude(serial=None)[0].serial),
            *("--out", str(beside / "label.pdf")),
        ],
        "catalogue": [str(catalogue)],
        "demo": ["--no-serve"],
        "intake": [str(lots)],
        "journal": ["--export", str(beside / "journal.jsonl")],
        "migrate": [],
        "person": ["nova", "--role", "packer", "--password-file", str(secret)],
        "printworker": ["--once"],
        "prove": [],
        "restore": [str(beside / "none.zip")],
        "startkey": [],
        "trace": [Lot.objects.all()[0].number],
        "volume": ["--boxes", "100", "--seed", "1"],
    }


def outcome(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[object, str]:
    """The exit status of a command, and what it says of what went wrong."""
    capsys.readouterr()
    try:
        run(["manage.py", *words])
    except SystemExit as end:
        if isinstance(end.code, str):  # the interpreter writes it, and ends with 1
            return 1, end.code
        return end.code, capsys.readouterr().err
    return 0, capsys.readouterr().err


def test_every_command_with_the_database_gone(
    disk: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = words_of(tmp_path)
    assert set(words) == set(own_commands())
    connection.close()
    (disk / NAME).unlink()
    for name in sorted(words.keys() - {"migrate", "demo"}):
        status, said = outcome(capsys, name, *words[name])
        assert status == 1, name
        assert said.strip().endswith("."), name
        assert not (disk / NAME).exists(), name
    assert outcome(capsys, "migrate", "-v0") == (0, "")
    assert Workshop.objects.count() == 1


def test_every_command_with_the_disk_read_only(
    disk: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = words_of(tmp_path)
    connection.close()
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    for name in sorted(words.keys() - {"demo"}):
        status, said = outcome(capsys, name, *words[name])
        if name in READS:
            assert (status, said) == (0, ""), name
        elif name != "migrate":  # it has nothing to do
            assert status == 1, name
            assert said.strip().endswith("."), name


def test_the_settings_of_a_read_only_folder_let_a_trace_be_read(
    disk: Path, tmp_path: Path
) -> None:
    number = Lot.objects.all()[0].number
    connection.close()
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    ours = ("LOTWARD_", "DJANGO_")
    plain = {n: v for n, v in os.environ.items() if not n.startswith(ours)}

    def manage(folder: Path) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "manage.py", "trace", number],
            cwd=ROOT,
            env={**plain, "LOTWARD_DATA_DIR": str(folder)},
            capture_output=True,
            text=True,
            check=False,
        )

    traced = manage(disk)
    assert (traced.returncode, traced.stderr) == (0, "")
    assert traced.stdout.startswith(f"lot {number}")
    refused = manage(tmp_path / "disk" / "new")
    assert refused.returncode == 1
    assert refused.stderr.startswith("LOTWARD_DATA_DIR is ")
    assert len(refused.stderr.splitlines()) == 1
