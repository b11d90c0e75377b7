"""``manage.py demo``: what it builds, and that it serves it."""

from __future__ import annotations

import hashlib
import io
import re
import sys
from collections import Counter
from datetime import date, time
from pathlib import Path
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
import zxingcpp
from django.conf import LazySettings
from django.core.management import call_command
from django.test import Client
from stdnum import ean

import lotward
from dispatch.complaints.queries.complaints import waiting
from dispatch.complaints.queries.trend import trend
from dispatch.drills.queries import Told
from dispatch.models import Complaint, Drill, Shipment
from kitting.domain.stages import GONE, IN_HOUSE, BagStage, BoxStage
from kitting.labels.kinds import KINDS
from kitting.ledger import proof as proving
from kitting.ledger.reach import held_boxes, standing_reach
from kitting.models import (
    Bag,
    Box,
    BoxLine,
    Check,
    Disposition,
    Hold,
    Lot,
    LotOrigin,
    OpenBag,
    Operation,
    Place,
    Print,
    Recipe,
    Run,
    Stock,
    Workshop,
)
from kitting.models.lots import LotStage
from kitting.packing.services.labels import label_pdf
from kitting.printing.services.prints import document_pdf
from lotward.demo import plan, room
from lotward.demo.build import build, summary
from lotward.demo.clock import days_until
from lotward.demo.people import PASSWORD, PEOPLE, shown
from lotward.management.commands import demo as command
from tests.backups import ON_SQLITE
from tests.demo import NAME, TODAY, Demo, build_alone

# -- What it holds ------------------------------------------------------------------


def test_it_has_the_size_of_two_weeks(demo: Demo) -> None:
    found = summary()
    assert 37 <= found.lots <= 41
    assert 105 <= found.bags <= 120
    assert found.runs == 9
    assert 80 <= found.boxes <= 85
    assert found.shipments == 16
    assert f"{found.boxes} boxes, {found.shipments} shipments" in demo.said
    assert found.head in demo.said


def test_lots_were_rejected_made_from_others_and_one_is_still_open(demo: Demo) -> None:
    verdicts = Counter(Lot.objects.values_list("verdict", flat=True))
    assert verdicts["rejected"] == 5
    fates = Counter(Disposition.objects.values_list("fate", flat=True))
    assert fates == {"concession": 3, "sorted": 1, "sent_back": 1}
    tightened = Check.objects.filter(severity="tightened")
    assert tightened.filter(lot__part__code="HB").count() == 5
    assert Lot.objects.filter(stage=LotStage.OPEN).count() == 1
    units = LotOrigin.objects.values_list("from_lot__part__unit", flat=True)
    assert set(units) == {"gram", "mm", "piece"}


def test_one_run_failed_and_its_bags_were_run_again(demo: Demo) -> None:
    assert Counter(Run.objects.values_list("stage", flat=True)) == {
        "released": 7,
        "failed": 1,
        "open": 1,
    }
    failed = Run.objects.get(stage="failed")
    again = Bag.objects.filter(run_bags__run=failed, cleared_run__isnull=False)
    assert again.exists()
    assert not BoxLine.objects.filter(run=failed).exists()


def test_boxes_of_three_sizes_hold_two_recipe_versions(demo: Demo) -> None:
    sizes = Counter(Box.objects.values_list("size__sets", flat=True))
    assert set(sizes) == {6, 24, 60}
    assert min(sizes.values()) >= 5
    versions = set(
        Box.objects.filter(recipe__product__code="FS1EN").values_list(
            "recipe__version", flat=True
        )
    )
    assert versions == {1, 2}
    in_force = Recipe.objects.filter(in_force=True, product__code="FS1EN")
    assert in_force.get().version == 2


def test_shipments_went_to_eight_consignees(demo: Demo) -> None:
    stages = Counter(Shipment.objects.values_list("stage", flat=True))
    assert stages == {"delivered": 12, "sent": 2, "open": 1, "cancelled": 1}
    sent = Shipment.objects.filter(sent_at__isnull=False)
    assert sent.values("consignee").distinct().count() == 8


def test_a_hold_has_reached_boxes_that_left_and_boxes_that_did_not(demo: Demo) -> None:
    hold = Hold.objects.get(lift=None)
    assert hold.lot is not None
    assert hold.reason == plan.HOLD_REASON
    held = held_boxes(standing_reach())
    stages = set(Box.objects.filter(pk__in=held).values_list("stage", flat=True))
    assert stages & set(GONE)
    assert stages & set(IN_HOUSE)
    # Nothing that it stops has left since.
    late = Shipment.objects.filter(sent_at__gt=hold.operation.at)
    assert late.exists()
    assert not late.filter(shipment_boxes__box__in=held).exists()


def test_a_recall_drill_was_over_within_the_hour(demo: Demo) -> None:
    drill = Drill.objects.get()
    told = Told(drill)
    assert told.seconds is not None
    assert 0 < told.seconds < 3_600
    assert (told.share, told.runs) == ("100", False)
    assert drill.list.boxes > 0
    assert {call.answered for call in drill.calls.all()} == {True, False}
    # It held nothing: what was lifted is what somebody looked at that day.
    lifted = Hold.objects.exclude(lift=None)
    assert [hold.reason for hold in lifted] == [plan.LOOKED_FOR]


def test_wards_said_what_they_think_and_one_still_waits(demo: Demo) -> None:
    assert Complaint.objects.count() == len(plan.COMPLAINTS)
    assert waiting() == 1
    assert trend().revisions


def test_the_last_day_leaves_something_to_do_at_every_screen(demo: Demo) -> None:
    lots = Lot.objects.filter(stage=LotStage.CLOSED, verdict="", part__needs_check=True)
    assert lots.exists()
    accepted = Bag.objects.filter(stage=BagStage.ACCEPTED)
    assert accepted.filter(lot__part__needs_clearing=True).count() >= 4
    reach = standing_reach()
    free = [
        bag
        for bag in Bag.objects.filter(stage=BagStage.CLEARED, open_at__isnull=True)
        if not reach.bag(bag)
    ]
    assert {"HB", "CH", "VI", "EL", "MA"} <= {bag.lot.part.code for bag in free}
    assert OpenBag.objects.exists()
    half = Box.objects.get(stage=BoxStage.OPEN)
    assert half.lines.exists()
    waiting = Box.objects.get(stage=BoxStage.CLOSED)
    assert waiting.bench_id != half.bench_id
    assert not waiting.prints.exists()
    held = held_boxes(reach)
    assert Box.objects.filter(stage=BoxStage.LABELLED).exclude(pk__in=held).count() > 5
    assert Shipment.objects.get(stage="open").shipment_boxes.filter(live=True).exists()
    assert Box.objects.filter(stage=BoxStage.VOIDED).count() == 2


def test_every_labelled_box_was_printed_as_a_demonstration(demo: Demo) -> None:
    labelled = Box.objects.exclude(label_seen_at=None)
    assert labelled.count() > 75
    assert not labelled.filter(prints__isnull=True).exists()
    assert Workshop.objects.get().demo


def test_every_place_has_a_label_and_every_kind_of_label_its_stock(demo: Demo) -> None:
    labelled = Print.objects.filter(kind="place")
    assert set(labelled.values_list("number", flat=True)) == set(
        Place.objects.values_list("code", flat=True)
    )
    assert set(labelled.values_list("copy", "printer")) == {(1, None)}
    sizes = {(stock.width_um, stock.height_um) for stock in Stock.objects.all()}
    for kind in KINDS.values():
        assert (kind.width_mm * 1000, kind.height_mm * 1000) in sizes
    pdf = document_pdf(bytes(labelled[0].pdf_sha))
    page = pypdfium2.PdfDocument(pdf)[0].render(scale=300 / 72).to_pil()
    read = {symbol.text for symbol in zxingcpp.read_barcodes(page)}
    assert read == set(Place.objects.values_list("code", flat=True))


def test_a_label_of_each_size_reads_back_and_is_what_was_logged(demo: Demo) -> None:
    printed = {
        (box.size_id): box
        for box in Box.objects.exclude(label_seen_at=None).select_related("size")
    }
    assert len(printed) == 6
    for box in printed.values():
        pdf = label_pdf(box_id=box.pk, copy=1)
        page = pypdfium2.PdfDocument(pdf)[0].render(scale=300 / 72).to_pil()
        read = {symbol.text for symbol in zxingcpp.read_barcodes(page)}
        assert len(read) == 2
        text = "".join(sorted(read))
        assert f"(00){box.sscc}" in text
        assert f"(01){box.size.gtin}" in text
        assert f"(21){box.serial}" in text
        # The check digit of an SSCC is computed as that of a GTIN (python-stdnum).
        assert ean.calc_check_digit(str(box.sscc)[:-1]) == str(box.sscc)[-1]
        logged = Print.objects.get(box=box)
        assert bytes(logged.pdf_sha) == hashlib.sha256(pdf).digest()


def test_acts_are_signed_by_roles_in_working_hours_and_in_order(demo: Demo) -> None:
    acts = list(Operation.objects.order_by("pk").values_list("at", "by_name"))
    times = [at for at, _name in acts]
    assert times == sorted(times)
    days = days_until(times[-1], ZoneInfo("Europe/London"))
    assert days.newest.isoformat() == TODAY
    assert {at.date() for at in times} == {days.day(n) for n in range(plan.LAST + 1)}
    assert all(time(6, 30) <= at.time() < time(18) for at in times)
    assert {name for _at, name in acts} == set(map(shown, PEOPLE))


def test_nothing_in_it_is_impossible(demo: Demo) -> None:
    proof = proving.examine()
    assert [str(fault) for fault in proof.faults] == []
    assert sum(tally.count for tally in proof.tallies) > 3_000


# -- Built by the command, and served ------------------------------------------------


def test_the_command_builds_it_in_a_folder_of_its_own_and_serves_it(
    built: Demo,
) -> None:
    assert "Harrow Lane" in built.served["page"]
    assert built.served["workers"] == 1
    assert built.served["workers_left"] == 0
    assert f"http://127.0.0.1:{built.served['port']}/" in built.said
    assert PASSWORD in built.said
    assert built.file.parent.name == room.FOLDER
    # The workshop's own database is never opened, and none is made.
    assert not (built.file.parent.parent / NAME).exists()


def test_the_first_page_of_a_manager_is_the_day_that_it_is_there(demo: Demo) -> None:
    manager = Client(headers={"host": "localhost"})
    to = {"username": "manager", "password": PASSWORD}
    shown = manager.post("/sign-in/", to, follow=True).content.decode()
    assert f"Wednesday, {TODAY}" in re.sub("<[^>]+>", "", shown)


@pytest.mark.long
def test_another_build_has_the_same_journal(built: Demo, tmp_path: Path) -> None:
    newest = re.search("Journal: [0-9]+ acts, newest link [0-9a-f]{64}\n", built.said)
    assert newest
    assert newest[0] in build_alone(tmp_path)


@pytest.mark.skipif(ON_SQLITE, reason="the builds of the tests above are SQLite's")
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("boxes", "shipments"),
    [(16, 7), pytest.param(plan.BOXES, 16, marks=pytest.mark.long)],
    ids=["some", "whole"],
)
def test_it_is_built_on_a_database_server_as_well(
    monkeypatch: pytest.MonkeyPatch, boxes: int, shipments: int
) -> None:
    """Each act commits, as in a workshop: in one transaction of thousands of savepoints
    a busy server grows slower with every one of them."""
    monkeypatch.setattr(plan, "BOXES", boxes)
    found = build(today=date.fromisoformat(TODAY))
    assert (found.lots, found.runs, found.boxes) == (39, 9, boxes)
    assert found.shipments == shipments
    assert [str(fault) for fault in proving.examine().faults] == []


def test_it_says_how_to_serve_where_gunicorn_cannot(
    demo: Demo, monkeypatch: pytest.MonkeyPatch, settings: LazySettings
) -> None:
    found = summary()
    monkeypatch.setattr(command, "build", lambda say, today: found)
    monkeypatch.setattr(command, "call_command", lambda name, **kw: None)  # migrate
    monkeypatch.delitem(sys.modules, "lotward.server")
    monkeypatch.delattr(lotward, "server")
    monkeypatch.setitem(sys.modules, "gunicorn.app.base", None)
    said = io.StringIO()
    call_command("demo", "--port", "8123", stdout=said)
    assert "manage.py runserver 127.0.0.1:8123" in said.getvalue()
