"""The proof of a whole history: that it holds, what is counted and what is said of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from dispatch.domain import trace
from kitting.domain.stages import BoxStage, MovementKind
from kitting.ledger import guards
from kitting.ledger import proof as proving
from kitting.ledger.proof import faults, heads, streams
from kitting.models import Bag, Box, BoxLine, Link, Lot, Movement, Workshop
from tests.commands.test_prove import run, run_failing
from tests.databases import guards_away
from tests.ledgers import History

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path) -> Path:
    """Heads of one test are no business of the next."""
    settings.DATA_DIR = tmp_path
    return tmp_path


def tamper(history: History) -> None:
    with guards_away():
        Box.objects.filter(pk=history.sent.pk).update(stage="labelled")


def test_a_history_made_by_the_services_holds_and_every_check_sees_rows(
    history: History,
) -> None:
    heads.record(heads.current(), heads.path())
    proof = proving.examine()
    assert proof.faults == []
    unseen = {tally.check for tally in proof.tallies if not tally.count}
    assert unseen == {"keyed links", "file of heads", "heads on paper"}  # outside of it


def test_the_proof_counts_what_is_there(history: History) -> None:
    counts = {tally.check: tally.count for tally in proving.examine().tallies}
    assert counts["chain"] == Link.objects.count()
    assert counts["bags"] == Movement.objects.count()
    assert counts["lots"] == Lot.objects.count()
    assert counts["box recipes"] == Box.objects.count()
    assert counts["schema"] > len(guards.wanted_guards())


def test_nothing_is_written(history: History) -> None:
    with connection.execute_wrapper(_refuse_writes):
        assert proving.prove() == []


def _refuse_writes(execute: Any, sql: str, *rest: Any) -> Any:
    assert sql.lstrip().startswith(
        ("SELECT", "WITH RECURSIVE", "DECLARE", "FETCH", "CLOSE")
    ), sql
    return execute(sql, *rest)


def test_a_long_history_is_read_in_batches_and_holds(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Batches of three rows: no check may lean on what a batch holds together."""
    whole = [(tally.check, tally.count) for tally in proving.examine().tallies]
    monkeypatch.setattr(streams, "BATCH", 3)
    monkeypatch.setattr(streams.batched, "__defaults__", (3,))
    proof = proving.examine()
    assert proof.faults == []
    assert [(tally.check, tally.count) for tally in proof.tallies] == whole


# The oracle: dispatch.domain.trace.balance adds up rows in Python; the check adds up
# the same rows in SQL, by sums of its own.
def _balance(lot: Lot) -> trace.Balance:
    return trace.balance(
        lot.pk,
        [
            trace.Move(
                m.lot_id, m.bag_id, m.box_id, MovementKind(m.kind), m.pieces, m.delta
            )
            for m in Movement.objects.all()
        ],
        [trace.BagCount(bag.pk, bag.lot_id, bag.pieces) for bag in Bag.objects.all()],
        [
            trace.Line(row.box_id, row.bag_id, row.lot_id, row.run_id, row.pieces)
            for row in BoxLine.objects.all()
        ],
        {box.pk: BoxStage(box.stage) for box in Box.objects.all()},
    )


def test_lots_balance_as_the_oracle_says(history: History) -> None:
    assert {_balance(lot).difference for lot in Lot.objects.all()} == {0}
    with guards_away():
        bag = history.visor_lot.bags.get()
        Bag.objects.filter(pk=bag.pk).update(pieces=bag.pieces + 7)
        BoxLine.objects.filter(box=history.sent, lot=history.band_lot).update(pieces=1)
    found = {
        fault.pk: int(fault.expected) - int(fault.found)
        for fault in proving.prove()
        if fault.check == "lots"
    }
    assert found == {history.visor_lot.pk: -7, history.band_lot.pk: 5}
    for lot in (history.visor_lot, history.band_lot):
        assert _balance(lot).difference == found[lot.pk]


def test_no_head_is_recorded_of_a_journal_at_fault(
    history: History, folder: Path
) -> None:
    tamper(history)
    run_failing()
    assert not (folder / heads.FILE).exists()


def test_the_command_says_what_it_counted(history: History) -> None:
    every = run().splitlines()
    (note,) = notes = [line for line in every if line.startswith("    ")]
    assert "There is no key here" in note
    lines = [line for line in every if line not in notes]
    assert len(lines) == len(proving.CHECKS) + 1
    assert lines[-1] == "Everything holds."
    assert all(line.endswith(": in order") for line in lines[:-1])
    assert any(f" {Link.objects.count()} links: in order" in line for line in lines)


def test_the_command_names_a_workshop_that_is_gone(history: History) -> None:
    with guards_away():
        Workshop.objects.all()._raw_delete("default")
    assert "kitting_workshop 1: It is gone" in run_failing()


def test_the_command_lists_the_rows_at_fault_and_fails(history: History) -> None:
    tamper(history)
    text = run_failing()
    assert (
        f"    kitting_box {history.sent.pk}: The events lead to another stage." in text
    )
    assert "Expected sent, found labelled." in text
    assert "Everything holds." not in text


def test_json_is_one_object_with_the_same_faults(history: History) -> None:
    assert json.loads(run("--json"))["holds"] is True
    tamper(history)
    told = json.loads(run_failing("--json"))
    assert told["holds"] is False
    listed = [fault for check in told["checks"] for fault in check["faults"]]
    assert [fault["pk"] for fault in listed if fault["check"] == "box stages"] == [
        history.sent.pk
    ]


def test_faults_beyond_the_most_are_counted_only(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(faults, "MOST_FAULTS", 1)
    with guards_away():
        Lot.objects.update(verdict="rejected")
    others = Lot.objects.exclude(pk=history.band_lot.pk).count()
    assert others > 10
    text = run_failing()
    assert f"and {others - 1} more." in text
    assert f"{others} faults found." in text
