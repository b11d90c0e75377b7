"""The proof of a database that holds, what its command says, and recorded heads."""

from __future__ import annotations

import json
import stat
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from dispatch.domain import trace
from kitting.domain.stages import BagStage, BoxStage, MovementKind
from kitting.ledger import guards
from kitting.ledger import proof as proving
from kitting.ledger.operations import Act, perform
from kitting.ledger.proof import faults, heads, streams
from kitting.ledger.proof.faults import Tally
from kitting.lots.services.lots import give_out_numbers
from kitting.lots.steps.bags import Change, change
from kitting.management.commands.prove import Command
from kitting.models import Bag, Box, BoxLine, JournalHead, Link, Lot, Movement
from kitting.models.catalogue import Per
from kitting.packing.services import boxes, voiding
from tests import factories
from tests.conftest import guards_away
from tests.factories import sign
from tests.ledgers import History, make_history

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path) -> Path:
    """Heads of one test are no business of the next."""
    settings.DATA_DIR = tmp_path
    return tmp_path


def run(*options: str) -> str:
    out = StringIO()
    call_command("prove", *options, stdout=out)
    return out.getvalue()


def run_failing(*options: str) -> str:
    out = StringIO()
    with pytest.raises(SystemExit) as exit_:
        call_command("prove", *options, stdout=out)
    assert exit_.value.code == 1
    return out.getvalue()


def tamper(history: History) -> None:
    with guards_away():
        Box.objects.filter(pk=history.sent.pk).update(stage="labelled")


# -- A database that holds ----------------------------------------------------------


def test_a_fresh_database_holds() -> None:
    assert proving.prove() == []


def test_a_history_made_by_the_services_holds_and_every_check_sees_rows() -> None:
    make_history()
    heads.record(heads.current(), heads.path())
    proof = proving.examine()
    assert proof.faults == []
    assert [tally.check for tally in proof.tallies if not tally.count] == []


def test_a_used_up_bag_that_gets_its_pieces_back_holds() -> None:
    bag = factories.make_bag(pieces=6)
    size = factories.make_size(factories.make_recipe([(bag.lot.revision, 1, Per.SET)]))
    bench = factories.make_bench()
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    bag.refresh_from_db()
    assert bag.stage == BagStage.USED_UP
    voiding.call_off_box(box_id=started.box_id, reason="wrong size", sign=sign())
    assert proving.prove() == []


@dataclass(frozen=True)
class Counted:
    """Pieces that a count brought to light."""

    pieces: int


def test_pieces_that_a_count_brings_to_light_hold() -> None:
    lot = factories.make_lot()

    def work(act: Act) -> Counted:
        bag = Bag(number="B9", lot=lot, pieces=0, stage="")
        found = Change(MovementKind.FOUND, 5, sign=1, to=BagStage.ARRIVED)
        moved = change(bag, found)
        bag.save(force_insert=True)
        act.write(moved)
        return Counted(5)

    perform("count", sign=sign(), sent={}, gives=Counted, work=work)
    assert proving.prove() == []


def test_the_proof_counts_what_is_there() -> None:
    make_history()
    counts = {tally.check: tally.count for tally in proving.examine().tallies}
    assert counts["chain"] == Link.objects.count()
    assert counts["bags"] == Movement.objects.count()
    assert counts["lots"] == Lot.objects.count()
    assert counts["box recipes"] == Box.objects.count()
    assert counts["guards"] == len(guards.wanted_guards())


def test_nothing_is_written() -> None:
    make_history()
    with connection.execute_wrapper(_refuse_writes):
        assert proving.prove() == []


def _refuse_writes(execute: Any, sql: str, *rest: Any) -> Any:
    assert sql.lstrip().startswith(("SELECT", "DECLARE", "FETCH", "CLOSE")), sql
    return execute(sql, *rest)


def test_a_long_history_is_read_in_batches_and_holds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Batches of three rows: no check may lean on what a batch holds together."""
    make_history()
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


def test_lots_balance_as_the_oracle_says() -> None:
    history = make_history()
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


# -- Guards -------------------------------------------------------------------------


def drop_one_guard() -> str:
    name = f"{guards.PREFIX}kitting_movement_"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f'DROP TRIGGER "{name}row" ON kitting_movement')
            return f"{name}row"
        cursor.execute(f'DROP TRIGGER "{name}update"')
        return f"{name}update"


def test_a_guard_that_is_gone_is_named() -> None:
    name = drop_one_guard()
    found = [(fault.check, fault.table) for fault in proving.prove()]
    assert found == [("guards", name)]


# -- Heads --------------------------------------------------------------------------


def cut_off_the_last_act() -> None:
    """What somebody with the database in hand would do, and tidily."""
    last = Link.objects.order_by("seq").last()
    before = Link.objects.get(seq=last.seq - 1)
    with connection.cursor() as cursor:
        for model in guards.guarded_models():
            column = "operation_id" if model is not type(last.operation) else "id"
            table = model._meta.db_table
            cursor.execute(
                f'DELETE FROM "{table}" WHERE {column} = %s', [last.operation_id]
            )
    JournalHead.objects.update(seq=before.seq, hash=before.hash)


def test_a_cut_off_tail_holds_but_for_the_recorded_head() -> None:
    factories.make_lot()
    give_out_numbers(count=3, sign=sign())
    run()
    with transaction.atomic():
        with guards_away():
            cut_off_the_last_act()
        found = proving.prove()
        transaction.set_rollback(True)
    assert [(fault.check, fault.found) for fault in found] == [
        ("recorded heads", "none")
    ]


def test_a_head_is_recorded_once_for_its_owners_eyes_only(folder: Path) -> None:
    factories.make_lot()
    run()
    run()
    file = folder / heads.FILE
    head = JournalHead.objects.get()
    assert file.read_text() == f"1/{head.seq} {bytes(head.hash).hex()}\n"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_heads_pile_up_and_each_is_looked_up(folder: Path) -> None:
    for _ in range(3):
        factories.make_lot()
        run()
    assert len((folder / heads.FILE).read_text().splitlines()) == 3
    tally = Tally("recorded heads", "heads")
    heads.recorded(tally)
    assert (tally.count, tally.faults) == (3, [])


def test_a_rewritten_journal_does_not_fit_the_recorded_head(folder: Path) -> None:
    factories.make_lot()
    (folder / heads.FILE).write_text(f"1/1 {'00' * 32}\n")
    assert [fault.check for fault in proving.prove()] == ["recorded heads"]


def test_a_line_that_cannot_be_read_is_a_fault(folder: Path) -> None:
    (folder / heads.FILE).write_text("one two three\n\n")
    (found,) = proving.prove()
    assert (found.table, found.found) == (heads.FILE, "one two three")


def test_no_head_is_recorded_where_it_is_not_wanted(folder: Path) -> None:
    factories.make_lot()
    run("--no-record")
    assert not (folder / heads.FILE).exists()


def test_no_head_is_recorded_of_a_journal_at_fault(folder: Path) -> None:
    tamper(make_history())
    run_failing()
    assert not (folder / heads.FILE).exists()


def test_an_empty_journal_has_no_head_to_record(folder: Path) -> None:
    run()
    assert not (folder / heads.FILE).exists()


# -- The command --------------------------------------------------------------------


def test_the_command_says_what_it_counted() -> None:
    make_history()
    lines = run().splitlines()
    assert len(lines) == len(proving.CHECKS) + 1
    assert lines[-1] == "Everything holds."
    assert all(line.endswith(": in order") for line in lines[:-1])
    assert any(f" {Link.objects.count()} links: in order" in line for line in lines)


def test_the_command_lists_the_rows_at_fault_and_fails() -> None:
    history = make_history()
    tamper(history)
    text = run_failing()
    assert (
        f"    kitting_box {history.sent.pk}: The events lead to another stage." in text
    )
    assert "Expected sent, found labelled." in text
    assert "Everything holds." not in text


def test_json_is_one_object_with_the_same_faults() -> None:
    history = make_history()
    assert json.loads(run("--json"))["holds"] is True
    tamper(history)
    told = json.loads(run_failing("--json"))
    assert told["holds"] is False
    listed = [fault for check in told["checks"] for fault in check["faults"]]
    assert [fault["pk"] for fault in listed if fault["check"] == "box stages"] == [
        history.sent.pk
    ]


def test_the_help_says_that_heads_are_recorded() -> None:
    assert heads.FILE in Command.help


def test_faults_beyond_the_most_are_counted_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(faults, "MOST_FAULTS", 1)
    history = make_history()
    with guards_away():
        Lot.objects.update(verdict="rejected")
    others = Lot.objects.exclude(pk=history.band_lot.pk).count()
    assert others == 15
    text = run_failing()
    assert f"and {others - 1} more." in text
    assert f"{others} faults found." in text
