"""The drill: a workshop loses its database, and no number is given out twice."""

from __future__ import annotations

import json
import sqlite3
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError
from django.db import connection, connections

from dispatch.trace.queries import find
from kitting.domain.errors import Missing
from kitting.domain.prints import Again, Onto
from kitting.domain.stages import PrintState
from kitting.ledger.backup import restoring
from kitting.ledger.proof import heads
from kitting.models import (
    Box,
    JournalHead,
    Operation,
    Printer,
    PrintJob,
    SkippedNumbers,
    Workshop,
)
from kitting.printing.services.prints import print_labels
from tests import factories, printers
from tests.backups import (
    ON_SQLITE,
    Line,
    back_up,
    holds,
    lose_the_database,
    refused,
    run,
)

pytestmark = pytest.mark.usefixtures("own")

server_only = pytest.mark.skipif(ON_SQLITE, reason="a server of PostgreSQL")


@pytest.fixture
def to(tmp_path: Path) -> Path:
    return tmp_path / "disk"


# -- The drill ----------------------------------------------------------------------


@pytest.mark.parametrize("lost", [True, False], ids=["lost", "still there"])
def test_the_drill(line: Line, to: Path, lost: bool) -> None:
    """Work, back up, work on, lose it, restore, prove, work on: no number twice."""
    run("prove")
    file = back_up(to)
    kept, before = Box.objects.get().serial, JournalHead.objects.get().seq
    given = [line.pack() for _ in range(3)]
    run("prove")  # a head on record that lies behind the backup
    if lost:
        lose_the_database()
    said = run("restore", file)
    assert JournalHead.objects.get().seq == before + 1
    assert [box.serial for box in Box.objects.all()] == [kept]
    assert holds() == []
    later = [line.pack() for _ in range(3)]
    for name in ("number", "serial", "sscc"):
        old = {getattr(box, name) for box in given} | {kept}
        new = {getattr(box, name) for box in later}
        assert len(new) == 3
        assert not (old & new)
    assert "Everything holds." in run("prove")
    act = Operation.objects.get(name="restore")
    assert act.by.username == "command-line"
    assert file.name in act.link.outcome
    assert f"link {before} " in said[-1]


# -- How far the counters go on -----------------------------------------------------


def test_twice_from_one_file_gives_no_number_twice(line: Line, to: Path) -> None:
    file = back_up(to)
    first = line.pack()
    run("restore", file, "--skip", 50)
    second = line.pack()
    run("prove")
    run("restore", file, "--skip", 50)
    third = line.pack()
    assert len({first.serial, second.serial, third.serial}) == 3
    assert holds() == []
    assert find(str(third.serial))
    for lost in (first, second):
        with pytest.raises(Missing, match="made_after_backup"):
            find(str(lost.serial))


def test_the_right_file_after_the_wrong_one(line: Line, to: Path) -> None:
    """An older one was restored by mistake; then the newer one of the lost branch."""
    older = back_up(to)
    box = line.pack()
    run("prove")
    newer = back_up(to)
    run("restore", older, "--skip", 50)
    line.pack()
    run("prove")
    run("restore", newer, "--skip", 50)
    assert find(str(box.serial))
    assert holds() == []


# -- The act ------------------------------------------------------------------------


def test_it_is_one_act_and_the_backup_before_it_is_remembered(
    line: Line, to: Path
) -> None:
    line.pack()
    file = back_up(to)
    run("prove")
    line.pack()
    run("prove")
    left = heads.lines(heads.path())[-1]
    run("restore", file, "--skip", 7)
    [act] = Operation.objects.filter(name="restore")
    told = json.loads(act.link.outcome)
    assert told["left"] == [left]
    assert told["skipped"]["run"] == [1, 8]
    assert SkippedNumbers.objects.filter(operation=act).count() == len(told["skipped"])
    made = datetime.fromisoformat(told["made_at"])
    assert Workshop.objects.get().backup_at == made
    assert str(heads.current()[0]) in heads.lines(heads.path())


def test_a_job_that_waited_is_not_printed_again_by_itself(line: Line, to: Path) -> None:
    job = queue_a_label()
    factories.seal_set_up()
    run("restore", back_up(to))
    job.refresh_from_db()
    assert (job.state, job.unsure, job.trouble) == (
        PrintState.FAILED,
        True,
        "printer_unsure",
    )
    assert holds() == []


def queue_a_label() -> PrintJob:
    printers.make_printer("ipp://printer.example/ipp/print", printers.BAG_ROLL)
    onto = Onto(printer=Printer.objects.get().code)
    place = factories.make_place()
    print_labels(
        kind="place",
        numbers=[place.code],
        again=Again("", ""),
        onto=onto,
        sign=factories.sign(),
    )
    return PrintJob.objects.get()


# -- Who works on it meanwhile ------------------------------------------------------


def test_it_is_refused_while_somebody_is_connected(line: Line, to: Path) -> None:
    file = back_up(to)
    other = type(connections["default"])(dict(connection.settings_dict), "default")
    with other.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM kitting_box")
        cursor.fetchone()
    try:
        words = refused(file)
        assert "in use" in words or "are connected" in words
    finally:
        other.close()
    run("restore", file)


@server_only
def test_work_that_was_done_meanwhile_is_not_lost(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = back_up(to)
    plain = restoring._prove

    def worked(*of: Any, **so: Any) -> Any:
        name = connection.settings_dict["NAME"].removesuffix("_restoring")
        settings = {**connection.settings_dict, "NAME": name}
        other = type(connections["default"])(settings, "default")
        with other.cursor() as cursor:
            cursor.execute("UPDATE kitting_journalhead SET seq = seq + 1")
        other.close()
        return plain(*of, **so)

    monkeypatch.setattr(restoring, "_prove", worked)
    with pytest.raises(CommandError, match="worked in the database meanwhile"):
        run("restore", file)


# -- What is replaced ---------------------------------------------------------------


def test_the_replaced_database_is_kept_as_it_was(line: Line, to: Path) -> None:
    file = back_up(to)
    lost = line.pack().serial
    said = run("restore", file)
    [words] = [each for each in said if each.startswith("The database that was")]
    name = words.split()[-1]
    if ON_SQLITE:
        raw = sqlite3.connect(name)
        assert (lost,) in raw.execute("SELECT serial FROM kitting_box").fetchall()
        raw.close()
        return
    other = type(connections["default"])(
        {**connection.settings_dict, "NAME": name}, "default"
    )
    with other.cursor() as cursor:
        cursor.execute("SELECT serial FROM kitting_box")
        assert (lost,) in cursor.fetchall()
    other.close()
