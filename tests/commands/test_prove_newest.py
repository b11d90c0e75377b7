"""``prove --newest``: what was done since the newest link on file, and what it finds."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db.models import F
from django.test import Client
from django.urls import reverse

from dispatch.models import Shipment
from kitting.domain.stages import BoxStage
from kitting.ledger.proof import heads, newest
from kitting.models import (
    Bag,
    Box,
    BoxLine,
    JournalHead,
    Link,
    Lot,
    Operation,
    Part,
    Workshop,
)
from tests import factories
from tests.backups import Line, make_line
from tests.databases import guards_away

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path) -> Path:
    settings.DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def line() -> Line:
    """A workshop that was proved, and that packed a box and sent it since."""
    made = make_line()
    run()
    whom = factories.make_consignee()
    factories.seal_set_up()
    factories.send(factories.make_shipment(made.pack(), consignee=whom))
    return made


def run(*options: str) -> str:
    out = StringIO()
    call_command("prove", *options, stdout=out)
    return out.getvalue()


def finds(*options: str) -> str:
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("prove", *options, stdout=out)
    return out.getvalue()


def test_it_reads_what_was_done_since_and_puts_its_end_on_file(line: Line) -> None:
    (since,) = newest.since()
    head = JournalHead.objects.get()
    said = run("--newest")
    assert f"Everything that was done since link 1/{since.seq} holds." in said
    links = head.seq - since.seq
    assert f"{'chain':18} {links:>12,} links: in order" in said
    assert f"{'box recipes':18} {1:>12,} boxes: in order" in said
    (now,) = newest.since()
    assert now == heads.current()[0]
    assert (now.seq, Workshop.objects.get().proved_seq) == (head.seq, since.seq)
    assert f"{'chain':18} {0:>12,} links: in order" in run("--newest")
    assert f"{'chain':18} {head.seq:>12,} links: in order" in run()


def test_without_a_proof_there_is_nothing_to_go_on_from() -> None:
    make_line()
    with pytest.raises(CommandError, match="run prove without --newest first"):
        run("--newest")


def _link() -> None:
    Operation.objects.filter(link__seq=JournalHead.objects.get().seq).update(name="x")


def _cut() -> None:
    Link.objects.latest("seq").delete()


def _row() -> None:
    Box.objects.filter(stage=BoxStage.SENT).update(packed_on="2020-01-01")


def _bag() -> None:
    Bag.objects.update(pieces=7)


def _lot() -> None:
    BoxLine.objects.filter(box__stage=BoxStage.SENT).update(pieces=5)


def _shipment() -> None:
    Shipment.objects.update(sets=9)


BENDS: list[tuple[Callable[[], None], str, str]] = [
    (_link, "chain", "does not follow from the link before it"),
    (_cut, "operations", "has no link"),
    (_row, "seals", "Its packed_on is not as act"),
    (_bag, "bags", "lead to another number of pieces"),
    (_lot, "lots", "does not balance"),
    (_shipment, "shipment counters", "It counts other sets."),
]


@pytest.mark.parametrize(("bend", "check", "words"), BENDS)
def test_what_the_newest_acts_left_is_compared(
    bend: Callable[[], None], check: str, words: str, line: Line
) -> None:
    with guards_away():
        bend()
    said = finds("--newest")
    assert words in said
    assert f"{check:18}" in "\n".join(
        row for row in said.splitlines() if "fault" in row
    )
    assert heads.lines(heads.path()) == [str(head) for head in newest.since()]
    assert newest.since()[0].seq == Workshop.objects.get().proved_seq


def test_what_no_act_did_is_found(line: Line) -> None:
    Part.objects.update(name="Another")
    assert "by no act" in finds("--newest")


def test_a_journal_that_was_cut_behind_the_newest_link_on_file_is_found(
    line: Line,
) -> None:
    run("--newest")
    with guards_away():
        last = Link.objects.latest("seq")
        before = Link.objects.get(seq=last.seq - 1)
        last.delete()
        JournalHead.objects.update(seq=before.seq, hash=before.hash)
    said = finds("--newest")
    assert "was on record and has gone or changed" in said
    assert "chain" not in said  # there is nothing to go on from


def test_what_is_older_is_for_the_whole_proof(line: Line) -> None:
    run("--newest")
    old = Lot.objects.order_by("pk")[0]
    with guards_away():
        Lot.objects.filter(pk=old.pk).update(source="Elsewhere")
    run("--newest")
    assert "Its source is not as act" in finds()


def test_a_paper_is_compared_as_well(line: Line) -> None:
    (now,) = heads.current()
    run("--newest", "--expect", now.on_paper)
    other = f"1/{now.seq}:{'0' * 16}"
    assert "is another than the one on paper" in finds("--newest", "--expect", other)


def test_the_day_says_when_it_held_and_when_it_did_not(line: Line) -> None:
    client = Client()
    backend = "lotward.rights.RightsBackend"
    client.force_login(factories.make_person("packer"), backend=backend)
    factories.seal_set_up()

    def day() -> str:
        return client.get(reverse("kitting:day")).content.decode()

    assert "last checked" not in day()
    run("--newest")
    assert "The newest acts were last checked on" in day()
    assert "does not hold" not in day()
    line.pack()
    Bag.objects.update(pieces=F("pieces") + 1)
    finds("--newest", "--no-record")
    assert "does not hold" not in day()
    finds("--newest")
    assert "found that the record does not hold" in day()
    Bag.objects.update(pieces=F("pieces") - 1)
    run("--newest")
    assert "does not hold" in day()  # Only the whole shows that all is well again.
    run()
    assert "does not hold" not in day()
