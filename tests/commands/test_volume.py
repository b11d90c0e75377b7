"""``manage.py volume``: many boxes in bulk, and a journal as the acts would write it."""

from __future__ import annotations

import gc
import io
import itertools
import os
import tracemalloc
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client, override_settings
from django.urls import reverse
from django.utils.timezone import localtime
from pytest_django.plugin import DjangoDbBlocker

from dispatch.models import Consignee, Shipment
from dispatch.trace.balance import balance_of
from dispatch.trace.queries import trace
from kitting.disinfection.proof import runs
from kitting.domain.stages import BoxStage
from kitting.ledger import proof
from kitting.ledger.proof import beside
from kitting.ledger.proof.chain import sealed_models
from kitting.ledger.proof.faults import Tally
from kitting.models import (
    Box,
    Hold,
    JournalHead,
    Lift,
    Link,
    Lot,
    Operation,
    RowSeal,
    Run,
    User,
)
from lotward.volume import founding, history
from lotward.volume.history import FEWEST
from tests.databases import guards_away
from tests.demo import TODAY, Demo, copy_of, working_on

T = TypeVar("T")

BOXES = 300
BY_SERVICES = {"load_catalogue", "record_evidence", "edit_draft", "sign_protocol"}
"""Acts that are not written in bulk."""


def fill(folder: Path, boxes: int, seed: int = 1) -> str:
    """What the command says of an empty database that it filled."""
    said = io.StringIO()
    words = ("--boxes", str(boxes), "--seed", str(seed), "--today", TODAY)
    with override_settings(DATA_DIR=folder), working_on(folder):
        call_command("volume", *words, stdout=said)
    return said.getvalue()


@pytest.fixture(scope="module")
def filled(
    migrated: Path,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
) -> Demo:
    folder = tmp_path_factory.mktemp("volume")
    copy_of(migrated, folder)
    with django_db_blocker.unblock():
        return Demo(folder / "lotward.sqlite3", fill(folder, BOXES))


@pytest.fixture
def volume(filled: Demo, django_db_blocker: DjangoDbBlocker) -> Iterator[Demo]:
    """The filled database, which no test changes for good."""
    folder = filled.file.parent
    with (
        django_db_blocker.unblock(),
        override_settings(DATA_DIR=folder),
        working_on(folder),
    ):
        yield filled


def test_it_is_a_workshop_of_three_years_and_proved(volume: Demo) -> None:
    found = proof.examine()
    assert found.faults == []
    counts = {tally.check: tally.count for tally in found.tallies}
    acts = Operation.objects.count()
    assert counts["chain"] == counts["keyed links"] == acts > 6 * BOXES
    assert counts["box numbers"] == Box.objects.count() == BOXES
    assert volume.said.startswith(f"{BOXES} boxes, {acts:,} acts, newest link")
    first, last = (
        Operation.objects.order_by("pk")[0].at,
        Operation.objects.latest("pk").at,
    )
    assert 3 * 364 <= (last - first).days <= 3 * 366
    assert str(localtime(last).date()) == TODAY
    assert Consignee.objects.count() == 500
    assert Shipment.objects.values("consignee").distinct().count() > 20


def test_work_is_open_and_holds_stand(volume: Demo) -> None:
    stages = set(Box.objects.values_list("stage", flat=True))
    assert stages == {"open", "closed", "labelled", "loaded", "sent"}
    assert Run.objects.filter(stage="open").exists()
    assert Lot.objects.filter(stage="open").exists()
    assert 0 < Lift.objects.count() < Hold.objects.count()


def test_lots_overlap_and_balance(volume: Demo) -> None:
    packed: dict[int, list[int]] = defaultdict(list)
    lines = Lot.objects.filter(part__code="HB", box_lines__isnull=False)
    for lot, box in lines.values_list("pk", "box_lines__box"):
        packed[lot].append(box)
    spans = sorted((min(boxes), max(boxes)) for boxes in packed.values())
    assert any(last > first for (_, last), (first, _) in itertools.pairwise(spans))
    for lot in Lot.objects.all():
        balance = balance_of(lot)
        assert balance.difference == 0
        assert balance.received > 0


def test_pages_find_what_is_in_it(volume: Demo) -> None:
    client = Client()
    person = User.objects.get(username="manager")
    client.force_login(person, backend="lotward.rights.RightsBackend")
    box = Box.objects.filter(stage=BoxStage.SENT)[0]
    lot = box.lines.all()[0].lot
    assert box.pk in {hit.pk for hit in Box.objects.filter(lines__lot=lot)}
    assert (
        len(trace(lot.number).boxes) == lot.box_lines.values("box").distinct().count()
    )
    for number in (lot.number, box.serial):
        page = client.get(reverse("dispatch:recall"), {"q": number})
        assert page.status_code == 200
        assert str(box.serial) in page.content.decode()


def test_its_acts_write_what_those_of_the_demo_write(volume: Demo, built: Demo) -> None:
    ours = shapes()
    with working_on(built.file.parent):
        theirs = shapes()
    in_bulk = ours.keys() - BY_SERVICES
    assert in_bulk >= {"take_in", "close_run", "start_box", "send_shipment"}
    for name in in_bulk:
        assert ours[name] <= theirs[name], name


def shapes() -> dict[str, set[frozenset[str]]]:
    """By the name of an act: which tables it wrote, and rows of which it sealed."""
    wrote: dict[int, set[str]] = defaultdict(set)
    for model in sealed_models():
        for operation in model._default_manager.values_list("operation_id", flat=True):
            wrote[operation].add(model._meta.label)
    for operation, table in RowSeal.objects.values_list("operation_id", "of"):
        wrote[operation].add(table)
    names = Operation.objects.values_list("pk", "name")
    found: dict[str, set[frozenset[str]]] = defaultdict(set)
    for pk, name in names:
        found[name].add(frozenset(wrote[pk]))
    return found


def test_a_bend_in_it_is_found_and_named(volume: Demo) -> None:
    box = Box.objects.filter(stage=BoxStage.SENT)[7]
    link = Link.objects.get(seq=1000)
    with transaction.atomic():
        with guards_away():
            Box.objects.filter(pk=box.pk).update(packed_on="2024-01-01")
            Operation.objects.filter(pk=link.operation_id).update(by_name="Nobody")
        found = {(f.check, f.table, f.pk) for f in proof.prove()}
        transaction.set_rollback(True)
    assert ("seals", "kitting_box", box.pk) in found
    assert ("chain", "kitting_link", link.pk) in found


def test_a_long_journal_is_proved_by_two_processes(
    volume: Demo, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    here = []
    tally = proof._tally

    def noted(name: str, *check: Any) -> Tally:
        here.append(name)
        return tally(name, *check)

    copy_of(volume.file, tmp_path)
    with working_on(tmp_path):
        link = Link.objects.get(seq=1000)
        with guards_away():
            Operation.objects.filter(pk=link.operation_id).update(name="nothing")
        alone = proof.examine()
        monkeypatch.setattr(proof, "_tally", noted)
        monkeypatch.setattr(beside, "LONG", 1)
        monkeypatch.setattr(os, "cpu_count", lambda: 2)
        assert proof.examine() == alone
    assert set(here) == {name for name, *_check in proof.CHECKS} - set(proof.BESIDE)
    (fault,) = alone.faults
    assert (fault.check, fault.table, fault.pk) == ("chain", "kitting_link", link.pk)
    assert "(nothing)" in fault.words


@pytest.mark.long
def test_a_proof_takes_no_more_memory_for_more_boxes(
    volume: Demo, migrated: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As many boxes a day, in four times as many days."""
    monkeypatch.setattr(proof.chain, "AT_ONCE", 200)
    monkeypatch.setattr(proof, "_tally", after_collecting(proof._tally))
    monkeypatch.setattr(runs, "_ended", after_collecting(runs._ended))
    peaks = []
    for boxes, days in ((1_500, history.DAYS // 4), (6_000, history.DAYS)):
        folder = tmp_path / str(boxes)
        copy_of(migrated, folder)
        with monkeypatch.context() as patch:
            patch.setattr(history, "DAYS", days)
            fill(folder, boxes)
        with override_settings(DATA_DIR=folder), working_on(folder):
            peaks.append(peak_of_a_proof())
    assert peaks[1] < 1.2 * peaks[0]


def after_collecting(real: Callable[..., T]) -> Callable[..., T]:
    """Rows that name each other go when Python collects: how often must not count."""

    def collected(*given: Any) -> T:
        gc.collect()
        return real(*given)

    return collected


def peak_of_a_proof() -> int:
    """Bytes that Python had at most; what SQLite keeps is bounded by its cache."""
    assert proof.prove() == []  # What is read once and kept.
    tracemalloc.start()
    assert proof.prove() == []
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_a_database_with_a_journal_is_left_alone(volume: Demo) -> None:
    before = JournalHead.objects.get().hash
    with pytest.raises(CommandError, match="holds a journal already"):
        call_command("volume", "--boxes", str(BOXES))
    assert JournalHead.objects.get().hash == before


def test_too_few_boxes_and_no_day_are_refused(volume: Demo) -> None:
    with pytest.raises(CommandError, match=f"ask for {FEWEST} or more"):
        call_command("volume", "--boxes", str(FEWEST - 1))


def test_the_same_seed_gives_the_same_journal(
    migrated: Path,
    tmp_path: Path,
    django_db_blocker: DjangoDbBlocker,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(founding, "CONSIGNEES", 20)
    said = {}
    with django_db_blocker.unblock():
        for name, seed in (("one", 1), ("again", 1), ("other", 2)):
            copy_of(migrated, tmp_path / name)
            said[name] = fill(tmp_path / name, FEWEST, seed)
    assert said["again"] == said["one"] != said["other"]
