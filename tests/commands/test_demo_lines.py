"""The lines of the demo: its lamps, its run by heat, its run by dosimeters."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from functools import cache
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from kitting.day.queries.attention import to_see_to
from kitting.disinfection.queries import doses as run_doses
from kitting.disinfection.queries.lamps import lamps
from kitting.ledger.clock import day_of
from kitting.ledger.reach import standing_reach
from kitting.models import Bag, BoxLine, Lamp, Protocol, Run, Workshop
from lotward.demo import plan
from lotward.demo.clock import days_until, moment_of
from lotward.demo.people import PASSWORD
from tests.conftest import at_a_copy
from tests.demo import TODAY, Demo

LONDON = ZoneInfo("Europe/London")
DAYS = days_until(moment_of(date.fromisoformat(TODAY), LONDON), LONDON)
HOME = {"HTTP_HOST": "localhost", "REMOTE_ADDR": "127.0.0.1"}


@pytest.fixture(scope="module")
def demo(
    built: Demo,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
) -> Iterator[Demo]:
    """A copy for the whole module, of which pages are read and nothing is changed."""
    with at_a_copy(
        built, tmp_path_factory.mktemp("lines"), django_db_blocker
    ) as copied:
        signed_in.cache_clear()
        yield copied


@cache
def signed_in(user: str) -> Client:
    client = Client(**HOME)
    client.post("/sign-in/", {"username": user, "password": PASSWORD})
    return client


def page(user: str, address: str) -> str:
    response = signed_in(user).get(address)
    assert response.status_code == 200
    return re.sub(r"\s+", " ", response.content.decode())


def test_elastics_were_warmed_under_a_protocol_of_their_own(demo: Demo) -> None:
    run = Run.objects.get(protocol__process="heat")
    assert (run.stage, run.line.name) == ("released", "Warm cabinet 3")
    assert run.protocol.evidence_rows.get().evidence.code == "EV-WARM"
    assert run.meter.serial == plan.THERMOMETER
    held = run_doses.held(run)
    assert held is not None
    # From 71.4 °C at 10 minutes to the last value at 45: 35 minutes, 30 are required.
    assert (held.hold.seconds, held.required_s) == (2_100, 1_800)
    tray = Bag.objects.get(run_bags__run=run)
    assert tray.cleared_run == run
    assert BoxLine.objects.filter(run=run).exists()
    text = page("line", reverse("kitting:run-detail", args=[run.number]))
    assert "Warm cabinet 3" in text


def test_one_run_was_judged_by_what_was_carried_through(demo: Demo) -> None:
    run = Run.objects.get(dosimeters__isnull=False, dosimeters__nth=1)
    assert run.stage == "released"
    assert not run.readings.exists()
    doses = {row.side: row.dose_uj_cm2 for row in run.verdicts.all()}
    assert doses == {"top": 1_370_000, "bottom": 1_345_000}
    text = page("line", reverse("kitting:run-detail", args=[run.number]))
    assert "1 340" in text.replace("\u202f", " ")


def test_lamps_burn_on_the_lines_and_two_were_changed_when_a_run_failed(
    demo: Demo,
) -> None:
    burning = lamps()
    assert [(row.lamp.line.code, row.lamp.name) for row in burning] == [
        ("LINE-1", "Bottom 1"),
        ("LINE-1", "Bottom 2"),
        ("LINE-1", "Top 1"),
        ("LINE-1", "Top 2"),
        ("LINE-2", "Back"),
        ("LINE-2", "Door"),
    ]
    changed = Lamp.objects.exclude(taken_out_on=None)
    assert {lamp.name for lamp in changed} == set(plan.GONE_LAMPS)
    failed = Run.objects.get(stage="failed")
    assert failed.closed_at is not None
    day = day_of(Workshop.objects.get(), failed.closed_at)
    assert {lamp.taken_out_on for lamp in changed} == {DAYS.day(plan.NEW_LAMPS_ON)}
    assert DAYS.day(plan.NEW_LAMPS_ON - 1) == day
    assert [row.lamp.name for row in burning if row.soon or row.over] == ["Bottom 1"]
    assert "Bottom 1" in page("quality", reverse("kitting:lamps"))


def test_the_day_says_what_somebody_must_see_to(demo: Demo) -> None:
    seen = to_see_to(DAYS.newest, standing_reach())
    assert [line.meter.serial for line in seen.meters] == ["RM-0388"]
    assert [line.lamp.name for line in seen.lamps] == ["Bottom 1"]
    assert "To see to" in page("checker", "/")


@pytest.mark.parametrize("user", ["checker", "line", "quality"])
def test_the_pages_of_disinfection_and_inspection_have_something_true_to_say(
    demo: Demo, user: str
) -> None:
    names = ("runs", "protocols", "evidence", "meters", "lamps", "inspection", "places")
    for name in names:
        text = page(user, reverse(f"kitting:{name}"))
        assert 'class="nothing"' not in text, name
        assert text.count("<tr") > 2, name


def test_every_signed_protocol_stands_on_evidence_that_claims_nothing(
    demo: Demo,
) -> None:
    for protocol in Protocol.objects.all():
        rows = list(protocol.evidence_rows.select_related("evidence"))
        assert rows, protocol
        for row in rows:
            assert "it proves nothing" in row.evidence.result
