"""Pages of a run beyond readings: dosimeters, logged values, stops, carriers, pictures."""

from __future__ import annotations

import uuid
from datetime import timedelta
from xml.etree import ElementTree

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.disinfection import tags
from kitting.disinfection.queries.runs import points_of
from kitting.disinfection.services import runs
from kitting.disinfection.services.verdicts import close_run, give_up_run
from kitting.domain.entries import Belt
from kitting.lots.services import lots
from kitting.models import Carrier, Operation, Run, RunValue, Workshop
from kitting.models.catalogue import PlaceKind
from kitting.places.services import carriers
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
from tests.kitting.disinfection.test_run_open_page import opening
from tests.kitting.ledger import ledger_runs

pytestmark = pytest.mark.django_db

OPEN = reverse("kitting:run-open")
LATER = factories.NOW + timedelta(hours=3)


def ending(**posted: str) -> dict[str, str]:
    """What the form that closes a run is sent with."""
    return {"op_key": key(), "password": "a pass phrase", **posted}


@pytest.fixture(autouse=True)
def _later(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the views' clock stand three hours after the factories' moment."""
    monkeypatch.setattr(timezone, "now", lambda: LATER)


@pytest.fixture
def client(make_user, client_for) -> Client:
    return client_for(make_user("operator", group="line operator"))


@once_a_module
def band():
    return factories.make_revision(factories.make_part(name="Headband"))


@once_a_module
def bags(band):
    two = (lots.NewBag(pieces=100), lots.NewBag(pieces=80))
    return list(factories.accept(factories.make_lot(band, bags=two)).bags.all())


@once_a_module
def run(band) -> Run:
    belt = Belt(zone_um=500_000, belt_um_s=1_500, u_ppm=40_000, decline_ppm=20_000)
    readings = [(1, "top", 5_000), (2, "top", 4_000), (3, "top", 4_500)]
    return factories.open_run(
        factories.make_protocol(band), belt=belt, readings=readings
    )


@once_a_module
def oven(band) -> Run:
    return ledger_runs.open_oven(ledger_runs.make_heat_protocol(band))


def at(run: Run, act: str = "detail") -> str:
    return reverse(f"kitting:run-{act}", args=[run.number])


def key() -> str:
    return str(uuid.uuid4())


def close_as_opened(run: Run) -> None:
    values = list(run.readings.values_list("point", "side", "uw_cm2"))
    close_run(run_id=run.pk, readings=values, sign=factories.sign())


# -- Opening ------------------------------------------------------------------------


def test_uncertainty_and_decline_are_asked_for_and_kept(client, band) -> None:
    factories.make_meter()
    line = factories.make_place(PlaceKind.LINE)
    factories.make_protocol(band)
    missing = client.post(OPEN, opening(through_u="", decline=""))
    assert_problem(missing, "required")
    for field in ("through_u", "decline"):
        assert_problem(client.post(OPEN, opening(**{field: "-1"})), "figure_negative")
        assert client.post(OPEN, opening(**{field: "100"})).status_code == 422
    assert not Run.objects.exists()
    assert client.post(OPEN, opening(through_u="2,5", decline="1.5")).status_code == 302
    run = Run.objects.get()
    assert (run.belt_u_ppm, run.decline_ppm) == (25_000, 15_000)
    close_as_opened(run)
    form = client.get(OPEN, {"line": line.code}).context["form"]
    assert (form["through_u"].value(), form["decline"].value()) == ("2.5", "1.5")


def test_a_run_is_opened_for_a_dosimeter_and_closed_with_it(
    client, bags, hx, monkeypatch
) -> None:
    monkeypatch.setattr(timezone, "now", lambda: factories.NOW)
    factories.make_meter()
    factories.make_place(PlaceKind.LINE)
    factories.make_protocol(bags[0].lot.revision)
    path = f"{OPEN}?by=dosimeter"
    page = client.get(path)
    assert "a dosimeter goes on the line with the parts" in text_of(page)
    posted = opening(unit=None, r_top_1=None, r_top_2=None, r_top_3=None)
    assert client.post(path, posted).status_code == 302
    run = Run.objects.get()
    assert not run.readings.exists()
    assert "No readings were made at opening" in text_of(client.get(at(run)))
    factories.expose(run, bags[0])
    after = factories.after_passes(run)
    monkeypatch.setattr(timezone, "now", lambda: after)
    bare = client.post(at(run, "close"), ending(), headers=hx)
    assert_problem(bare, "side_not_read")
    assert_part(bare, "run-close", status=422)
    half = ending(d_side_1="top", d_dose_1="1200")
    assert_problem(client.post(at(run, "close"), half), "dosimeter_half_given")
    whole = {**half, "op_key": key(), "d_u_1": "10"}
    assert client.post(at(run, "close"), whole).status_code == 302
    run.refresh_from_db()
    assert run.stage == "released"
    text = text_of(client.get(at(run)))
    assert "Dosimeters that went through" in text
    assert "at least 1\u202f080 of the required 1\u202f000 mJ/cm²" in text


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"d_dose_1": "-1", "d_u_1": "10"}, "figure_negative"),
        ({"d_dose_1": "much", "d_u_1": "10"}, "figure_unreadable"),
        ({"d_dose_1": "99999999999", "d_u_1": "1"}, "dosimeter_dose_out_of_range"),
        ({"d_dose_1": "1", "d_u_1": "100"}, "uncertainty_out_of_range"),
        ({"d_side_1": "front", "d_dose_1": "1", "d_u_1": "1"}, "invalid_choice"),
        ({"d_u_1": "1"}, "dosimeter_half_given"),
    ],
)
def test_a_bad_dosimeter_closes_nothing(client, run: Run, row, code: str) -> None:
    posted = {
        **ending(),
        "unit": "mW/cm²",
        **{f"r_top_{point}": "4" for point in (1, 2, 3)},
        "d_side_1": "top",
        **row,
    }
    response = client.post(at(run, "close"), posted)
    assert_problem(response, code)
    assert '<details class="dosimeters" open>' in text_of(response)
    run.refresh_from_db()
    assert run.stage == "open"


# -- Heat and liquid --------------------------------------------------------------------


@pytest.mark.smoke
def test_a_run_by_heat_is_walked_from_opening_to_verdict(
    client, bags, hx, monkeypatch
) -> None:
    monkeypatch.setattr(timezone, "now", lambda: factories.NOW)
    Workshop.objects.update(idle_min=0)  # hours pass in which nobody does anything
    factories.make_meter(rel_u_ppm=10_000)
    factories.make_place(PlaceKind.LINE)
    ledger_runs.make_heat_protocol(bags[0].lot.revision)
    text = text_of(client.get(OPEN))
    assert "Thermometer or test strip" in text
    assert "30 min without a break at 70 °C" in text
    posted = {"op_key": key(), "meter": opening()["meter"]}
    assert client.post(OPEN, posted).status_code == 302
    run = Run.objects.get()
    factories.expose(run, bags[0])
    monkeypatch.setattr(timezone, "now", lambda: LATER)
    path = at(run, "values")
    assert_page(client.get(path))
    column = "\n".join(f"04:{at:02} 72,5" for at in range(0, 34, 3))
    logged = {"op_key": key(), "column": column}
    for _ in range(2):
        assert client.post(path, logged, headers=hx)["HX-Redirect"] == at(run, "detail")
    assert run.values.count() == 12
    text = text_of(client.get(at(run)))
    assert "long enough" in text
    assert "72.5 °C" in text
    assert "nothing is entered here" in text_of(client.get(at(run, "close")))
    assert client.post(at(run, "close"), ending()).status_code == 302
    run.refresh_from_db()
    text = text_of(client.get(at(run)))
    assert run.stage == "released"
    assert "It held for 33 min without a break; 30 min are required." in text


def test_a_run_by_heat_is_opened_with_a_meter_that_is_there(client, oven: Run) -> None:
    ledger_runs.log(oven, *ledger_runs.warm())
    client.post(at(oven, "close"), ending())
    path = f"{OPEN}?line={oven.line.code}"
    form = client.get(path).context["form"]
    assert form["meter"].value() == str(oven.meter_id)
    response = client.post(path, {"op_key": key(), "meter": "0"})
    assert_problem(response, "invalid_choice")
    assert "Thermometer or test strip</a>:" in text_of(response)
    assert Run.objects.count() == 1


def test_a_run_by_heat_that_fell_short_says_so(client, oven: Run) -> None:
    ledger_runs.log(oven, *ledger_runs.warm(25))
    assert "not long enough" in text_of(client.get(at(oven)))
    client.post(at(oven, "close"), ending())
    text = text_of(client.get(at(oven)))
    said = "It held for 25 min without a break; 30 min are required."
    assert f"{said} Its bags are at stage accepted again." in text


def test_one_value_is_logged_at_this_moment(client, oven: Run) -> None:
    posted = {"op_key": key(), "value": "71,25"}
    assert client.post(at(oven, "values"), posted).status_code == 302
    row = RunValue.objects.get()
    assert (row.at, row.value) == (LATER, 71_250)


@pytest.mark.parametrize(
    ("posted", "code"),
    [
        ({}, "values_missing"),
        ({"value": "hot"}, "figure_unreadable"),
        ({"value": "-3"}, "figure_negative"),
        ({"value": "301"}, "heat_out_of_range"),
        ({"column": "70"}, "value_line_unreadable"),
        ({"column": "04:05 70\n04:06 warm"}, "figure_unreadable"),
        ({"column": "04:05 70\n04:05 71"}, "value_twice"),
        ({"column": "07:01 70"}, "value_in_future"),
        ({"column": "2026-01-13 04:05 70"}, "value_before_run"),
        ({"column": "04:05 70", "op_key": ""}, "required"),
    ],
)
def test_bad_values_are_refused_and_none_is_kept(
    client, oven: Run, hx, posted, code: str
) -> None:
    sent = {"op_key": key(), **posted}
    response = client.post(at(oven, "values"), sent, headers=hx)
    assert_problem(response, code)
    assert_part(response, "run-values", status=422)
    assert not RunValue.objects.exists()


@pytest.mark.smoke
def test_a_run_by_light_or_closed_keeps_no_log(client, run: Run, oven: Run) -> None:
    assert "it is judged by readings" in text_of(client.get(at(run, "values")))
    posted = {"op_key": key(), "value": "70"}
    assert_problem(client.post(at(run, "values"), posted), "values_by_light")
    give_up_run(run_id=oven.pk, reason="Broke", sign=factories.sign())
    assert "is closed; it was failed" in text_of(client.get(at(oven, "values")))
    response = client.post(at(oven, "values"), posted)
    assert_problem(response, "run_closed", status=409)
    assert "Why: Broke" not in text_of(client.get(at(oven)))


# -- Stops and carriers -----------------------------------------------------------------


def test_who_may_not_run_a_line_stops_none(run: Run, outsider, client_for) -> None:
    for act in ("stop", "values"):
        assert_sent_to_sign_in(Client().post(at(run, act)))
        assert client_for(outsider).post(at(run, act)).status_code == 403


@pytest.mark.smoke
def test_a_line_that_stopped_is_recorded(client, run: Run, bags, hx) -> None:
    runs.put_on(run_id=run.pk, bag_id=bags[0].pk, sign=factories.sign())
    path = at(run, "stop")
    assert "1 bag on the line is set to accepted" in text_of(client.get(path))
    empty = client.post(path, {"op_key": key(), "reason": " "}, headers=hx)
    assert_problem(empty, "required")
    assert_part(empty, "run-stop", status=422)
    posted = {"op_key": key(), "reason": "The belt jammed"}
    for _ in range(2):
        assert client.post(path, posted)["Location"] == at(run)
    assert Operation.objects.filter(name="stop_line").count() == 1
    text = text_of(client.get(at(run)))
    assert "When the line stopped" in text
    assert "The belt jammed" in text
    close_as_opened(run)
    assert "is closed; it was" in text_of(client.get(path))
    late = client.post(path, {**posted, "op_key": key()})
    assert_problem(late, "run_closed", status=409)


@pytest.mark.smoke
def test_a_carrier_is_scanned_on_and_off(
    client, run: Run, bags, hx, monkeypatch
) -> None:
    made = carriers.make_carrier(name="Rack 1", sign=factories.sign())
    carrier = Carrier.objects.get(number=made.carrier)
    for bag in bags:
        carriers.load_bag(carrier_id=carrier.pk, bag_id=bag.pk, sign=factories.sign())
    scanned = {"op_key": key(), "read": carrier.number}
    response = client.post(at(run, "scan"), scanned, headers=hx)
    assert_part(response, "run-line")
    assert f"Carrier {carrier.number} is on the line with 2 bags." in text_of(response)
    early = client.post(at(run, "scan"), {**scanned, "op_key": key()}, headers=hx)
    assert_problem(early, "bag_off_too_early")
    meant = {"op_key": key(), "bag": carrier.number}
    assert_problem(client.post(at(run, "early"), meant), "not_a_bag_number")
    later = LATER + timedelta(hours=1)
    monkeypatch.setattr(timezone, "now", lambda: later)
    off = client.post(at(run, "scan"), {**scanned, "op_key": key()}, headers=hx)
    assert f"Carrier {carrier.number} is off the line with 2 bags." in text_of(off)


# -- Pictures ---------------------------------------------------------------------------


def drawn(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 -- our own drawing


def test_the_map_draws_every_point_in_order_and_marks_the_weakest(run: Run) -> None:
    svg = drawn(tags.irradiance_map(points_of(run.readings.all()), "top"))
    cells = [cell.get("class", "") for cell in svg.iter("g")]
    assert ["map-weakest" in cell for cell in cells] == [False, True, False]
    assert [cell.split()[1] for cell in cells] == [
        "map-shade-3",
        "map-shade-0",
        "map-shade-2",
    ]
    figures = [text.text for text in svg.iter("text")]
    assert figures == ["1", "5", "2", "4", "3", "4.5"]
    said = svg.get("aria-label", "")
    assert "3 points from 4 to 5 mW/cm², the weakest is point 2" in said


def test_the_map_counts_the_lower_of_two_readings() -> None:
    run = factories.open_run(
        factories.make_protocol(), readings=[(n, "top", 4_000) for n in range(1, 8)]
    )
    closing = [(n, "top", 4_000 - (n == 6)) for n in range(1, 8)]
    close_run(run_id=run.pk, readings=closing, sign=factories.sign())
    points = points_of(run.readings.all())
    svg = drawn(tags.irradiance_map(points, "top"))
    # Seven points stand in two rows of at most five.
    assert (svg.get("width"), svg.get("height")) == ("480", "128")
    assert "the weakest is point 6" in svg.get("aria-label", "")
    assert tags.irradiance_map(points, "bottom") == ""
    even = tags.irradiance_map(points[:3], "top")
    assert even.count("map-shade-3") == 3


def test_the_page_shows_map_bound_and_inverse_questions(client, run: Run) -> None:
    fit(run.line)
    text = text_of(client.get(at(run)))
    assert text.count('class="irradiance-map"') == 1
    assert "<strong>weakest</strong>" in text
    # 5 % and 4 % make 6.4032 %, and 2 % of decline.
    assert "8.5 %" in text  # rounded up
    # 250 s / (1 − 0.084032) = 272.935… s; 500 mm in that time.
    # The time is rounded up, the speed down.
    assert "273 s" in text
    assert "1.83 mm/s" in text
    assert "Lamps of the line" in text
    assert "Top 1" in text
