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
from pytest_django import DjangoAssertNumQueries

from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger import guards
from kitting.ledger import proof as proving
from kitting.ledger.operations import Act, perform
from kitting.ledger.proof import heads
from kitting.ledger.proof.faults import Tally
from kitting.lots.services.blanks import give_out_numbers
from kitting.lots.steps.bags import Change, change
from kitting.management.commands.prove import Command
from kitting.models import Bag, Counter, JournalHead, Link, RowSeal, Touched
from kitting.models.catalogue import Per
from kitting.packing.services import boxes, voiding
from tests import factories
from tests.databases import guards_away
from tests.factories import sign

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


# -- A database that holds ----------------------------------------------------------


def test_a_fresh_database_holds() -> None:
    assert proving.prove() == []


def test_a_used_up_bag_that_gets_its_pieces_back_holds() -> None:
    bag = factories.make_bag(pieces=6)
    size = factories.make_size(factories.make_recipe([(bag.lot.revision, 1, Per.SET)]))
    bench = factories.make_bench()
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    bag.refresh_from_db()
    assert bag.stage == BagStage.USED_UP
    voiding.cancel_box(box_id=started.box_id, reason="wrong size", sign=sign())
    assert factories.prove() == []


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

    perform("count", work, Counted, sign())
    assert proving.prove() == []


def test_the_first_act_seals_all_that_it_finds() -> None:
    assert not Link.objects.exists()
    part = factories.make_part(name="Headband", mass_mg=4_120)
    assert Touched.objects.filter(of="kitting_part", row=part.pk).exists()
    perform("note", lambda _act: Counted(0), Counted, sign())
    assert not Touched.objects.exists()
    copy = json.loads(RowSeal.objects.get(of="kitting_part", row=part.pk).text)
    assert (copy["name"], copy["mass_mg"], copy["id"]) == ("Headband", 4_120, part.pk)
    assert "open_hours" not in copy  # nothing stands in it
    assert proving.prove() == []


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
    found = [(fault.table, fault.words) for fault in proving.prove()]
    assert found == [("kitting_movement", f"The trigger {name} is missing.")]


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
    for counter in Counter.objects.all():
        seals = RowSeal.objects.filter(of=Counter._meta.db_table, row=counter.pk)
        Counter.objects.filter(pk=counter.pk).update(
            next=json.loads(seals.latest("pk").text)["next"]
        )
    Touched.objects.all().delete()


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
        factories.seal_set_up()
        run()
    assert len((folder / heads.FILE).read_text().splitlines()) == 3
    tally = Tally("recorded heads", "heads")
    heads.recorded(tally)
    assert (tally.count, tally.faults) == (3, [])


def test_many_heads_are_looked_up_at_once(
    folder: Path, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for _ in range(3):
        factories.make_lot()
    links = Link.objects.order_by("seq")
    lines = [f"{link.site}/{link.seq} {bytes(link.hash).hex()}\n" for link in links]
    assert len(lines) >= 3
    (folder / heads.FILE).write_text("".join(lines))
    tally = Tally("recorded heads", "heads")
    with django_assert_num_queries(1):
        heads.recorded(tally)
    assert (tally.count, tally.faults) == (len(lines), [])


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
    assert heads.lines(folder / heads.FILE) == []


def test_an_empty_journal_has_no_head_to_record(folder: Path) -> None:
    run()
    assert heads.lines(folder / heads.FILE) == []


# -- The command --------------------------------------------------------------------


def test_the_help_says_that_heads_are_recorded() -> None:
    assert heads.FILE in Command.help
