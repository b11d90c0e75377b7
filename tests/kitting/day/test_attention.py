"""What somebody must see to stands on the page of the day."""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from kitting.checking.services import checks, switching
from kitting.day.queries.attention import Spoiled, stopped_sources, to_see_to
from kitting.disinfection.services import lamps, meters
from kitting.disinfection.services.meters import record_calibration
from kitting.domain.pins import BADGE_TRIES
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.models import Badge, Hold, Lamp, Meter, Touched, Workshop
from kitting.models.catalogue import PlaceKind
from kitting.people.services.badges import issue_badges
from tests import factories
from tests.factories import TODAY, sign, sign_by_another

pytestmark = pytest.mark.django_db


def reject(revision: Any, times: int) -> None:
    for _ in range(times):
        lot = factories.make_lot(revision)
        checks.give_verdict(
            lot_id=lot.pk, accept=False, found=1, reason="Cracked", sign=sign()
        )


def make_lamp(hours: int, rated: int | None = 9_000) -> Lamp:
    line = factories.make_place(PlaceKind.LINE)
    lamps.fit_lamp(
        line_id=line.pk,
        name=f"Lamp with {hours} h",
        on=date(2026, 1, 2),
        rated_hours=rated,
        sign=sign(),
    )
    lamp = Lamp.objects.get(line=line)
    lamps.read_hours(lamp_id=lamp.pk, on=TODAY, hours=hours, sign=sign())
    return lamp


def find_wrong(meter: Meter) -> None:
    meters.find_wrong(
        meter_id=meter.pk, found_on=TODAY, good_id=None, reason="Cracked", sign=sign()
    )


def page_of(client_for: Any, role: str = "packer") -> str:
    client: Client = client_for(factories.make_person(role))
    return " ".join(client.get("/").content.decode().split())


def test_a_quiet_day_has_nothing_to_see_to(client_for: Any) -> None:
    factories.make_meter(due=date(2027, 1, 1))
    make_lamp(100)
    assert not to_see_to(TODAY, standing_reach())
    assert "To see to" not in page_of(client_for)


@pytest.mark.smoke
def test_a_stopped_source_is_named_until_it_may_go_on(client_for: Any) -> None:
    revision = factories.sampled_revision(name="Headband")
    reject(revision, 6)  # two of five to tightened inspection, of which five stop it
    assert not to_see_to(TODAY, standing_reach())
    reject(revision, 1)
    [line] = to_see_to(TODAY, standing_reach()).sources
    assert (line.part, line.source) == (revision.part, "Print bench")
    text = page_of(client_for)
    assert "Headband from Print bench</a>: <span" in text
    assert "inspection is stopped" in text
    switching.resume_source(
        part_id=revision.part_id, source="Print bench", reason="New nozzle", sign=sign()
    )
    assert not to_see_to(TODAY, standing_reach())


def test_two_stopped_sources_ask_no_more_than_one() -> None:
    asked = []
    for stopped in (1, 2):
        reject(factories.sampled_revision(), 7)
        with CaptureQueriesContext(connection) as queries:
            assert len(stopped_sources()) == stopped
        asked.append(len(queries))
    assert asked[0] == asked[1]


def test_a_stop_says_nothing_of_a_part_that_is_not_sampled_any_more() -> None:
    revision = factories.sampled_revision()
    reject(revision, 7)
    part = revision.part
    part.sampled = False
    part.save(update_fields=["sampled"])
    assert not to_see_to(TODAY, standing_reach()).sources


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (31, None),
        (30, "due in 30 days"),
        (1, "due in 1 day."),
        (0, "due in 0 days"),
        (-1, "its calibration is past due"),
    ],
)
def test_a_meter_is_spoken_of_before_it_is_due(
    days: int, words: str | None, client_for: Any
) -> None:
    today = timezone.now().date()  # the page reads the real clock
    meter = factories.make_meter(due=today + timedelta(days=days))
    text = page_of(client_for)
    assert (f'/meters/{meter.serial}/"' in text) == (words is not None)
    assert words is None or words in text


@pytest.mark.smoke
def test_runs_that_a_wrong_meter_spoiled_are_counted_until_their_hold_is_lifted(
    client_for: Any,
) -> None:
    wrong, good = factories.make_meter(), factories.make_meter()
    for meter in (wrong, wrong, good):
        factories.open_run(factories.make_protocol(), meter)
    held = factories.open_run(factories.make_protocol(), good)
    holds.place_hold(target="run", value=held.pk, reason="A drill", sign=sign())
    find_wrong(wrong)
    assert to_see_to(TODAY, standing_reach()).spoiled == [Spoiled(wrong.serial, 2)]
    text = page_of(client_for)
    assert "2 runs measured with it are on hold." in text
    assert "not use it until it is calibrated" in text
    row = Hold.objects.filter(run__meter=wrong).latest("pk")
    holds.lift_hold(hold_id=row.pk, reason="Dosimeter", sign=sign_by_another())
    assert to_see_to(TODAY, standing_reach()).spoiled == [Spoiled(wrong.serial, 1)]
    record_calibration(
        meter_id=wrong.pk,
        on=TODAY,
        due=date(2027, 1, 1),
        rel_u_ppm=50_000,
        sign=sign(),
    )
    seen = to_see_to(TODAY, standing_reach())
    assert not seen.meters  # it may be used again; the run is on hold all the same
    assert seen.spoiled == [Spoiled(wrong.serial, 1)]


@pytest.mark.parametrize(
    ("hours", "rated", "named"),
    [
        (8_549, 9_000, False),
        (8_550, 9_000, True),
        (9_000, 9_000, True),
        (12_000, 9_000, True),
        (12_000, None, False),
    ],
)
def test_a_lamp_near_the_end_of_its_hours_is_named(
    hours: int, rated: int | None, named: bool, client_for: Any
) -> None:
    lamp = make_lamp(hours, rated)
    assert [line.lamp for line in to_see_to(TODAY, standing_reach()).lamps] == [
        lamp
    ] * named
    used = f"{hours:,} h in use".replace(",", " ")
    said = f"{lamp.name}</a>, {lamp.line.name}: {used}"
    assert (said in page_of(client_for).replace("\u202f", " ")) == named


def test_a_lamp_that_was_taken_out_is_nobodys_business() -> None:
    lamp = make_lamp(9_500)
    lamps.change_lamp(lamp_id=lamp.pk, on=TODAY, rated_hours=9_000, sign=sign())
    assert not to_see_to(TODAY, standing_reach()).lamps


def test_lamps_over_their_hours_come_first() -> None:
    near, over = make_lamp(8_600), make_lamp(9_100)
    assert [line.lamp for line in to_see_to(TODAY, standing_reach()).lamps] == [
        over,
        near,
    ]


# -- Backups ------------------------------------------------------------------------

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
LATE = "The newest backup is of"
NONE = "There is no backup of this workshop yet."


@pytest.mark.smoke
def test_a_manager_hears_that_there_is_no_backup_and_when_it_is_late(
    client_for: Any, settings: Any
) -> None:
    settings.BACKUP_HOURS = 26
    manager = client_for(factories.make_person("manager"))

    def told(ago: timedelta | None) -> str:
        made = None if ago is None else timezone.now() - ago
        Workshop.objects.update(backup_at=made)
        page = " ".join(manager.get("/").content.decode().split())
        return LATE if LATE in page else NONE if NONE in page else ""

    assert told(None) == NONE
    assert told(25 * HOUR) == ""
    assert told(27 * HOUR) == LATE
    assert told(-2 * HOUR) == LATE  # the clock was set back since
    settings.BACKUP_HOURS = 48
    assert told(27 * HOUR) == ""


@pytest.mark.smoke
def test_a_manager_hears_at_once_of_passwords_and_pins_that_were_tried(
    client_for: Any,
) -> None:
    """21 CFR 11.300(d): attempts at unauthorised use are reported at once."""
    robin = factories.make_person("packer")
    issue_badges(user_ids=[robin.pk], sign=sign())
    manager = client_for(factories.make_person("manager"))

    def told(client: Client) -> list[str]:
        page = " ".join(client.get("/").content.decode().split())
        return re.findall(r"(?:Passwords for|The PIN of) [^.]*wrong too often", page)

    typed = {"username": "<Robin>", "password": "wrong"}
    for _ in range(4):
        assert Client().post("/sign-in/", typed).status_code == 422
    assert told(manager) == []
    assert Client().post("/sign-in/", typed).status_code == 429
    (said,) = told(manager)
    assert "&lt;Robin&gt;" in said
    assert told(client_for(factories.make_person("quality officer"))) == []
    assert not Touched.objects.filter(of="kitting_workshop").exists()
    Workshop.objects.update(guessed_at=timezone.now() - 4 * DAY)
    assert told(manager) == []
    Badge.objects.update(pin_tries=BADGE_TRIES)
    assert told(manager) == [f"The PIN of {robin} was wrong too often"]


@pytest.mark.smoke
def test_who_does_not_manage_hears_nothing_of_backups(client_for: Any) -> None:
    assert Workshop.objects.get().backup_at is None
    page = page_of(client_for, "quality officer")
    assert NONE not in page
    assert LATE not in page
