"""The pages of meters and lamps, and of planning, as people use them."""

from __future__ import annotations

import csv
import io
import uuid
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.models import Calibration, Hold, Lamp, LampHours, Meter, Operation
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.databases import once_a_module
from tests.kitting.disinfection.test_lamps import fit

pytestmark = pytest.mark.django_db

METERS = reverse("kitting:meters")
LAMPS = reverse("kitting:lamps")
PLANNING = reverse("kitting:planning")


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: factories.NOW)


@pytest.fixture
def officer(make_user, client_for) -> Client:
    return client_for(make_user("officer", group="quality officer"))


@pytest.fixture
def operator(make_user, client_for) -> Client:
    return client_for(make_user("operator", group="line operator"))


@once_a_module
def meter() -> Meter:
    return factories.make_meter()


@once_a_module
def lamp() -> Lamp:
    fit(factories.make_place(PlaceKind.LINE))
    return Lamp.objects.get()


def of_meter(meter: Meter, act: str = "detail") -> str:
    return reverse(f"kitting:meter-{act}", args=[meter.serial])


def of_lamp(lamp: Lamp, act: str) -> str:
    return reverse(f"kitting:lamp-{act}", args=[lamp.pk])


def key() -> str:
    return str(uuid.uuid4())


# -- Who may ------------------------------------------------------------------------


def test_every_page_asks_who_is_there(meter, lamp, outsider, client_for) -> None:
    seen = [METERS, LAMPS, PLANNING, of_meter(meter)]
    kept = [
        reverse("kitting:meter-new"),
        of_meter(meter, "wrong"),
        reverse("kitting:lamp-fit"),
        of_lamp(lamp, "hours"),
        of_lamp(lamp, "change"),
    ]
    for path in seen + kept:
        assert_sent_to_sign_in(Client().get(path))
        assert client_for(outsider).get(path).status_code == 403


def test_a_line_operator_reads_hours_and_keeps_nothing_else(
    operator, meter, lamp
) -> None:
    assert_page(operator.get(of_meter(meter)))
    assert "A new calibration" not in text_of(operator.get(of_meter(meter)))
    assert operator.post(of_meter(meter), calibration()).status_code == 403
    for path in (of_meter(meter, "wrong"), of_lamp(lamp, "change")):
        assert operator.get(path).status_code == 403
    assert_page(operator.get(of_lamp(lamp, "hours")))


@pytest.mark.parametrize(
    "path",
    ["/meters/none/", "/meters/none/wrong/", "/lamps/1/hours/", "/lamps/1/change/"],
)
def test_what_is_not_there_is_404(officer, make_user, client_for, path: str) -> None:
    manager = client_for(make_user("manager", group="manager"))
    assert manager.get(path).status_code == 404


# -- Meters ---------------------------------------------------------------------------


def test_the_list_says_which_meters_may_be_used(
    officer, django_assert_num_queries
) -> None:
    soon = factories.make_meter(due=factories.TODAY + timedelta(days=12))
    late = factories.make_meter(due=factories.TODAY - timedelta(days=1))
    Meter.objects.create(serial="NEW", name="Dosimeter")
    officer.get(METERS)
    with django_assert_num_queries(4):
        response = officer.get(METERS)
    text = text_of(response)
    assert "1 meter of 3 may be used today." in text
    assert f"{soon.serial} is due in 12 days." in text
    assert "yes, for 12 more days" in text
    assert "no: its calibration is past due" in text
    assert "no: never calibrated" in text
    answer = officer.get(METERS, {"as": "csv"})
    rows = list(csv.reader(io.StringIO(b"".join(answer).decode("utf-8-sig"))))
    assert rows[0][0] == "meter"
    assert {row[0]: row[2] for row in rows[1:]} == {
        soon.serial: "soon",
        late.serial: "overdue",
        "NEW": "never",
    }


def test_an_empty_list_says_so(officer) -> None:
    assert "No meter yet." in text_of(officer.get(METERS))


def test_a_warning_stands_where_runs_are_opened(operator) -> None:
    meter = factories.make_meter(due=factories.TODAY + timedelta(days=1))
    factories.make_protocol()
    factories.make_place(PlaceKind.LINE)
    text = text_of(operator.get(reverse("kitting:runs")))
    assert "its calibration is due in 1 day." in text
    text = text_of(operator.get(reverse("kitting:run-open")))
    assert f"{meter} is due on 2026-01-15, in 1 day." in text


@pytest.mark.smoke
def test_a_meter_is_added_and_calibrated(officer, hx) -> None:
    path = reverse("kitting:meter-new")
    assert_page(officer.get(path))
    posted = {"op_key": key(), "name": "Radiometer", "serial": "RM/7 A"}
    response = officer.post(path, posted, headers=hx)
    meter = Meter.objects.get()
    assert response["HX-Redirect"] == of_meter(meter)
    assert "never calibrated" in text_of(officer.get(of_meter(meter)))
    sent = calibration(low_nm="220", high_nm="280")
    for _ in range(2):
        assert officer.post(of_meter(meter), sent)["Location"] == of_meter(meter)
    row = Calibration.objects.get()
    assert (row.rel_u_ppm, row.low_nm, row.high_nm) == (65_000, 220, 280)
    text = text_of(officer.get(of_meter(meter)))
    assert "220–280 nm" in text
    assert "6.5 %" in text


def calibration(**changes) -> dict[str, str]:
    return {
        "op_key": key(),
        "on": "2026-01-13",
        "due": "2027-01-13",
        "u": "6,5",
        **changes,
    }


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"on": "2026-01-15"}, "calibration_in_future"),
        ({"due": "2026-01-12"}, "calibration_dates"),
        ({"on": "13.1.26"}, "invalid"),
        ({"u": ""}, "required"),
        ({"u": "-1"}, "figure_negative"),
        ({"u": "100"}, "uncertainty_out_of_range"),
        ({"u": "six"}, "figure_unreadable"),
        ({"low_nm": "220"}, "calibration_range_half_given"),
        ({"low_nm": "280", "high_nm": "220"}, "calibration_range"),
        ({"low_nm": "0", "high_nm": "220"}, "min_value"),
        ({"low_nm": "254.5", "high_nm": "280"}, "invalid"),
    ],
)
def test_a_bad_calibration_records_nothing(
    officer, meter, hx, changes, code: str
) -> None:
    before = Operation.objects.count()
    response = officer.post(of_meter(meter), calibration(**changes), headers=hx)
    assert_problem(response, code)
    assert_part(response, "meter-detail", status=422)
    assert Operation.objects.count() == before


@pytest.mark.smoke
def test_two_meters_have_two_serial_numbers(officer, meter) -> None:
    posted = {"op_key": key(), "name": "Twin", "serial": meter.serial}
    response = officer.post(reverse("kitting:meter-new"), posted)
    assert_problem(response, "meter_exists", status=409)


@pytest.mark.smoke
def test_a_wrong_meter_is_recorded_and_says_what_it_reaches(officer, meter, hx) -> None:
    run = factories.open_run(factories.make_protocol(), meter)
    path = of_meter(meter, "wrong")
    response = officer.get(path)
    assert_page(response)
    good = meter.calibrations.get()
    posted = {
        "op_key": key(),
        "found_on": "2026-01-14",
        "good": str(good.pk),
        "reason": "Window cracked",
    }
    wrong = officer.post(path, {**posted, "reason": ""}, headers=hx)
    assert_problem(wrong, "required")
    assert_part(wrong, "meter-wrong", status=422)
    future = officer.post(path, {**posted, "op_key": key(), "found_on": "2026-01-15"})
    assert_problem(future, "fault_in_future")
    assert not Hold.objects.exists()
    for _ in range(2):
        response = officer.post(path, posted, follow=True)
        assert "1 run measured with" in text_of(response)
    stopped = "Bags with pieces that this stops: 0; boxes that are here: 0, that have"
    assert f"is on hold. {stopped} left: 0." in text_of(response)
    assert Hold.objects.get().run == run
    text = text_of(officer.get(of_meter(meter)))
    assert "No: it was found wrong on" in text
    assert "Window cracked" in text
    assert "it was found to read wrong" in text_of(officer.get(reverse("kitting:runs")))


def test_a_meter_that_was_never_good_is_chosen_by_its_word(officer, meter) -> None:
    factories.open_run(factories.make_protocol(), meter)
    posted = {
        "op_key": key(),
        "found_on": "2026-01-14",
        "good": "none",
        "reason": "It was never adjusted",
    }
    assert officer.post(of_meter(meter, "wrong"), posted).status_code == 302
    assert Hold.objects.count() == 1


# -- Lamps ----------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_lamp_is_fitted_read_and_changed(officer, operator, hx) -> None:
    line = factories.make_place(PlaceKind.LINE)
    assert "No lamp is on record." in text_of(officer.get(LAMPS))
    fitted = {
        "op_key": key(),
        "line": str(line.pk),
        "name": "Top 3",
        "on": "2026-01-02",
        "rated_hours": "9000",
    }
    path = reverse("kitting:lamp-fit")
    assert_page(officer.get(path))
    assert officer.post(path, fitted, headers=hx)["HX-Redirect"] == LAMPS
    lamp = Lamp.objects.get()
    read = {"op_key": key(), "on": "2026-01-14", "hours": "9100"}
    for _ in range(2):
        assert operator.post(of_lamp(lamp, "hours"), read)["Location"] == LAMPS
    assert LampHours.objects.get().hours == 9_100
    text = text_of(officer.get(LAMPS))
    assert "1 is over its rated hours." in text
    assert "9\u202f100 h (over its rated hours)" in text
    changed = {"op_key": key(), "on": "2026-01-14", "rated_hours": ""}
    assert_page(officer.get(of_lamp(lamp, "change")))
    assert officer.post(of_lamp(lamp, "change"), changed).status_code == 302
    text = text_of(officer.get(LAMPS))
    assert "1 lamp is in use on the lines." in text
    assert "Removed" in text
    assert "not read yet" in text


@pytest.mark.parametrize(
    ("act", "posted", "code", "status"),
    [
        ("hours", {"on": "2026-01-15", "hours": "1"}, "lamp_in_future", 422),
        ("hours", {"on": "2026-01-14", "hours": "-1"}, "min_value", 422),
        ("hours", {"on": "2026-01-14", "hours": "9.5"}, "invalid", 422),
        ("change", {"on": "2026-01-01"}, "lamp_before_fitting", 422),
    ],
)
def test_bad_input_about_a_lamp_is_refused(
    make_user, client_for, lamp, hx, act, posted, code, status
) -> None:
    manager = client_for(make_user("manager", group="manager"))
    sent = {"op_key": key(), **posted}
    response = manager.post(of_lamp(lamp, act), sent, headers=hx)
    assert_problem(response, code, status=status)
    assert_part(response, "lamp-act", status=status)


@pytest.mark.smoke
def test_a_lamp_is_not_fitted_twice(officer, lamp) -> None:
    posted = {
        "op_key": key(),
        "line": str(lamp.line_id),
        "name": lamp.name,
        "on": "2026-01-14",
    }
    response = officer.post(reverse("kitting:lamp-fit"), posted)
    assert_problem(response, "lamp_is_there", status=409)


# -- Planning ---------------------------------------------------------------------------


def test_planning_is_marked_as_planning(operator) -> None:
    text = text_of(operator.get(PLANNING))
    assert "Planning only." in text
    assert "UV-C injures eyes and skin" in text


def test_planning_gives_the_irradiance_of_the_worked_case(operator) -> None:
    """IUVA's formula (Keitz): 10 W over 0.8 m give 0.29448 mW/cm² at 0.5 m."""
    factories.make_protocol()
    asked = {"power": "10", "length": "800", "distance": "500"}
    response = operator.get(PLANNING, asked)
    assert response.context["chosen"].uw_cm2 == 294
    by_distance = {row.distance_um: row.uw_cm2 for row in response.context["rows"]}
    # 0.91865 W/m² at 1 m; 0.24678 W/m² at 2 m.
    assert (by_distance[1_000_000], by_distance[2_000_000]) == (91, 24)
    text = text_of(response)
    assert "0.294 mW/cm²" in text
    # 6 mJ/cm² at 254 nm within 8 h (ICNIRP 2004): 6000 / 294 = 20.4 s.
    assert "at most 20 s" in text
    # 1000 mJ/cm² at 0.294 mW/cm²: 3401.36 s, rounded up to three digits.
    assert "3\u202f410 s" in text


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"power": "0"}, "lamp_figure_not_positive"),
        ({"length": "0"}, "lamp_figure_not_positive"),
        ({"distance": "0"}, "lamp_figure_not_positive"),
        ({"power": "-10"}, "figure_negative"),
        ({"length": ""}, "required"),
        ({"power": "999999999", "distance": "0.01"}, "irradiance_too_high"),
    ],
)
def test_absurd_plans_are_refused(operator, changes, code: str) -> None:
    asked = {"power": "10", "length": "800", "distance": "500", **changes}
    response = operator.get(PLANNING, asked)
    assert_problem(response, code)
    assert "rows" not in response.context


def test_a_lamp_too_far_away_to_count_has_no_times(operator) -> None:
    factories.make_protocol()
    asked = {"power": "0.001", "length": "1", "distance": "99999999"}
    response = operator.get(PLANNING, asked)
    assert response.context["times"] == []
    assert "dark" in text_of(response)
