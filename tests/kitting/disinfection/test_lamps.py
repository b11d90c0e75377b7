"""Lamps: fitted, their hours read, changed."""

from __future__ import annotations

from datetime import date

import pytest

from kitting.disinfection.queries.lamps import lamps as shown
from kitting.disinfection.services import lamps
from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.models import Lamp, LampHours
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.factories import TODAY, sign
from tests.kitting.disinfection.run_acts import assert_refuses

pytestmark = pytest.mark.django_db

TOMORROW = date(2026, 1, 15)


@pytest.fixture
def line():
    return factories.make_place(PlaceKind.LINE)


def fit(line, **changes) -> lamps.Fitted:
    values = {
        "name": "Top 1",
        "on": date(2026, 1, 2),
        "rated_hours": 9_000,
        "sign": sign(),
        **changes,
    }
    return lamps.fit_lamp(line_id=line.pk, **values)


def read(lamp: Lamp, hours: int, on: date = TODAY) -> lamps.HoursRead:
    return lamps.read_hours(lamp_id=lamp.pk, on=on, hours=hours, sign=sign())


def change(lamp: Lamp, **changes) -> lamps.Fitted:
    values = {"on": TODAY, "rated_hours": 8_000, "sign": sign(), **changes}
    return lamps.change_lamp(lamp_id=lamp.pk, **values)


@pytest.fixture
def lamp(line) -> Lamp:
    fit(line)
    return Lamp.objects.get()


def test_a_lamp_is_fitted_and_its_hours_are_read(line, lamp: Lamp) -> None:
    assert (lamp.line, lamp.name, lamp.rated_hours) == (line, "Top 1", 9_000)
    assert read(lamp, 100, date(2026, 1, 10)) == lamps.HoursRead("Top 1", 100)
    read(lamp, 9_000)
    (row,) = shown(line.pk)
    assert (row.lamp, row.over) == (lamp, True)
    assert row.read is not None
    assert (row.read.hours, row.read.on) == (9_000, TODAY)


def test_a_lamp_under_its_rating_or_not_read_is_not_over(line, lamp: Lamp) -> None:
    assert not shown(line.pk)[0].over
    read(lamp, 8_999)
    assert not shown(line.pk)[0].over
    fit(line, name="Top 2", rated_hours=None)
    assert [row.over for row in shown(line.pk)] == [False, False]


def test_a_changed_lamp_begins_anew(line, lamp: Lamp) -> None:
    read(lamp, 9_100)
    assert change(lamp) == lamps.Fitted("Top 1", line.name)
    lamp.refresh_from_db()
    assert lamp.taken_out_on == TODAY
    (row,) = shown(line.pk)
    assert (row.lamp.name, row.lamp.fitted_on, row.read) == ("Top 1", TODAY, None)
    assert [row.lamp.rated_hours for row in shown(burning=False)] == [8_000, 9_000]
    assert_refuses("lamp_taken_out", WrongStage, read, lamp=lamp, hours=9_200)
    assert_refuses("lamp_taken_out", WrongStage, change, lamp=lamp)


def test_lamps_are_shown_of_their_own_line(line, lamp: Lamp) -> None:
    other = factories.make_place(PlaceKind.LINE)
    fit(other)
    assert [row.lamp for row in shown(line.pk)] == [lamp]
    assert len(shown()) == 2


@pytest.mark.parametrize(
    ("changes", "kind", "code"),
    [
        ({"name": " "}, Refused, "lamp_name_missing"),
        ({"name": "x" * 61}, Refused, "entry_too_long"),
        ({"name": " Top 1 "}, Conflict, "lamp_is_there"),
        ({"name": "Top 2", "on": TOMORROW}, Refused, "lamp_in_future"),
        ({"name": "Top 2", "rated_hours": 0}, Refused, "lamp_hours_out_of_range"),
        ({"name": "Top 2", "rated_hours": 200_001}, Refused, "lamp_hours_out_of_range"),
    ],
)
def test_an_odd_lamp_is_not_fitted(line, lamp: Lamp, changes, kind, code: str) -> None:
    assert_refuses(code, kind, fit, line=line, **changes)
    assert Lamp.objects.get() == lamp


def test_a_lamp_is_fitted_to_a_line_and_nothing_else() -> None:
    shelf = factories.make_place()
    assert_refuses("row_missing", Missing, fit, line=shelf)


@pytest.mark.parametrize(
    ("hours", "on", "code"),
    [
        (10, TOMORROW, "lamp_in_future"),
        (10, date(2026, 1, 1), "lamp_before_fitting"),
        (-1, TODAY, "lamp_hours_out_of_range"),
        (200_001, TODAY, "lamp_hours_out_of_range"),
        (99, TODAY, "lamp_hours_fall"),
        (120, date(2026, 1, 9), "lamp_read_earlier"),
    ],
)
def test_odd_hours_are_refused(lamp: Lamp, hours: int, on: date, code: str) -> None:
    read(lamp, 100, date(2026, 1, 10))
    assert_refuses(code, Refused, read, lamp=lamp, hours=hours, on=on)
    assert LampHours.objects.count() == 1


@pytest.mark.parametrize(
    ("on", "code"),
    [(TOMORROW, "lamp_in_future"), (date(2026, 1, 1), "lamp_before_fitting")],
)
def test_an_odd_change_changes_nothing(lamp: Lamp, on: date, code: str) -> None:
    assert_refuses(code, Refused, change, lamp=lamp, on=on)
    assert_refuses("row_missing", Missing, lamps.change_lamp, lamp_id=0, on=on,
                   rated_hours=None, sign=sign())  # fmt: skip
    lamp.refresh_from_db()
    assert lamp.taken_out_on is None


def test_the_same_form_sent_twice_changes_a_lamp_once(lamp: Lamp) -> None:
    key = sign()
    assert change(lamp, sign=key) == change(lamp, sign=key)
    assert Lamp.objects.count() == 2
