"""The page that opens a run."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from kitting.disinfection.queries import doses
from kitting.disinfection.services.verdicts import close_run
from kitting.domain import margins
from kitting.domain.entries import Belt
from kitting.ledger import holds
from kitting.models import Link, Meter, Operation, Place, Run
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    text_of,
)
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db

OPEN = reverse("kitting:run-open")


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the views' clock stand a quarter of an hour after the factories' moment."""
    later = factories.NOW + timedelta(minutes=15)
    monkeypatch.setattr(timezone, "now", lambda: later)


@pytest.fixture
def operator(make_user):
    return make_user("operator", group="line operator")


@pytest.fixture
def client(operator, client_for):
    return client_for(operator)


@once_a_module
def band():
    return factories.make_revision(factories.make_part(name="Headband"))


def at(run: Run, act: str = "detail") -> str:
    return reverse(f"kitting:run-{act}", args=[run.number])


def key() -> str:
    return str(uuid.uuid4())


def act_count() -> int:
    return Operation.objects.count()


# -- Opening ------------------------------------------------------------------------


@once_a_module
def ready(band):
    """What a run can be opened with: line, protocol and meter."""
    factories.make_meter()
    return factories.make_place(PlaceKind.LINE), factories.make_protocol(band)


def opening(**changes) -> dict[str, str]:
    values = {
        "op_key": key(),
        "meter": str(_meter_pk()),
        "zone": "500",
        "speed": "1.5",
        "passes": "1",
        "through_u": "0",
        "decline": "0",
        "unit": "mW/cm²",
        "r_top_1": "4",
        "r_top_2": "4,12",
        "r_top_3": "3.98",
        **changes,
    }
    return {name: value for name, value in values.items() if value is not None}


def _meter_pk() -> int:
    return Meter.objects.order_by("pk").values_list("pk", flat=True)[0]


def test_a_run_is_opened_with_readings_at_several_points(client, ready) -> None:
    response = client.get(OPEN)
    assert_page(response)
    assert "calibration due 2026-12-31" in text_of(response)
    assert "UV-C injures eyes and skin" in text_of(response)
    response = client.post(OPEN, opening())
    run = Run.objects.get()
    assert (response.status_code, response["Location"]) == (302, at(run))
    assert (run.line, run.protocol) == ready
    assert (run.zone_um, run.belt_um_s, run.exposure_ms) == (500_000, 1_500, 333_333)
    found = run.readings.order_by("point").values_list("point", "side", "uw_cm2")
    assert list(found) == [(1, "top", 4_000), (2, "top", 4_120), (3, "top", 3_980)]


@pytest.mark.parametrize(
    ("unit", "text", "uw_cm2"),
    [
        # SI: 1 W/m² = 0.1 mW/cm² = 100 µW/cm².
        ("mW/cm²", "4.1234", 4_123),
        ("W/m²", "41,2", 4_120),
        ("µW/cm²", "4120", 4_120),
        # Binary fractions would make 4,099 and 1,099 of these.
        ("mW/cm²", "4.1", 4_100),
        ("mW/cm²", "1.1", 1_100),
    ],
)
def test_a_reading_is_scaled_exactly(
    client, ready, unit: str, text: str, uw_cm2: int
) -> None:
    only = {"r_top_2": None, "r_top_3": None, "anyway": "Tried out"}
    posted = opening(unit=unit, r_top_1=text, **only)
    assert client.post(f"{OPEN}?points=1", posted).status_code == 302
    assert Run.objects.get().readings.get().uw_cm2 == uw_cm2


def test_a_cabinet_is_opened_with_a_time_and_both_sides(client, band) -> None:
    factories.make_meter()
    factories.make_place(PlaceKind.LINE)
    factories.make_protocol(
        band, process="uvc_cabinet", required_bottom_uj_cm2=1_000_000
    )
    sides = {"r_top_1": "5", "r_bottom_1": "4", "r_top_2": None, "r_top_3": None}
    posted = opening(zone=None, speed=None, time="250.5", passes="2", **sides)
    assert client.post(f"{OPEN}?points=1", posted).status_code == 302
    run = Run.objects.get()
    assert (run.exposure_ms, run.passes, run.zone_um) == (250_500, 2, None)
    assert run.readings.count() == 2


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"op_key": "none"}, "invalid"),
        ({"r_top_1": ""}, "required"),
        ({"r_top_1": "4²"}, "figure_unreadable"),
        ({"r_top_1": "1,234.5"}, "figure_unreadable"),
        ({"r_top_1": "NaN"}, "figure_unreadable"),
        ({"r_top_1": "-4"}, "figure_negative"),
        ({"r_top_1": " "}, "required"),
        ({"r_top_1": "9" * 4_000}, "max_length"),
        ({"r_top_1": "Ωμέγα\x00"}, "null_characters_not_allowed"),
        ({"r_top_1": "999999", "sure": "on"}, "irradiance_too_high"),
        ({"zone": "long"}, "figure_unreadable"),
        ({"zone": ""}, "required"),
        ({"zone": "0"}, "zone_not_positive"),
        ({"speed": "0"}, "belt_not_moving"),
        ({"zone": "999999999"}, "zone_too_long"),
        ({"speed": "0.001"}, "pass_too_long"),
        ({"passes": "0"}, "min_value"),
        ({"meter": "0"}, "invalid_choice"),
        ({"unit": "lux"}, "invalid_choice"),
    ],
)
def test_bad_input_opens_nothing(client, ready, changes, code: str) -> None:
    before = act_count()
    response = client.post(OPEN, opening(**changes))
    assert_problem(response, code)
    assert_page(response, status=422)
    assert (Run.objects.count(), act_count()) == (0, before)


@pytest.mark.parametrize("read", ["0.004", "400", "4000"])
def test_a_reading_in_a_swapped_unit_is_asked_about(client, ready, read: str) -> None:
    posted = opening(r_top_2=read)
    response = client.post(OPEN, posted)
    assert_problem(response, "reading_doubted")
    assert not Run.objects.exists()
    assert 'name="sure"' in text_of(response)
    assert "0.1 to 100 mW/cm² was expected" in text_of(response)
    sure = {**posted, "sure": "on", "anyway": "Tried out"}
    assert client.post(OPEN, sure).status_code == 302


def test_a_reading_is_held_against_the_last_run_of_the_line(
    client, ready, band
) -> None:
    line, protocol = ready
    factories.close_run(factories.open_run(protocol, line_id=line.pk))
    # W/m² read as mW/cm² is ten times out, though within what lamps give.
    posted = opening(r_top_1="40", r_top_2=None, r_top_3=None)
    response = client.post(OPEN, posted)
    assert_problem(response, "reading_doubted")
    assert "4 mW/cm² was expected" in text_of(response)
    posted["unit"] = "W/m²"
    assert client.post(OPEN, posted).status_code == 302
    assert Run.objects.latest("pk").readings.get().uw_cm2 == 4_000


def test_a_form_is_filled_in_from_the_last_run_but_for_its_readings(
    client, ready
) -> None:
    line, protocol = ready
    belt = Belt(zone_um=512_500, belt_um_s=1_250, passes=2)
    readings = [(1, "top", 4_000), (2, "top", 6_000)]
    last = factories.open_run(protocol, line_id=line.pk, belt=belt, readings=readings)
    close_run(run_id=last.pk, readings=readings, sign=factories.sign())
    response = client.get(OPEN, {"line": line.code})
    form = response.context["form"]
    assert (form["zone"].value(), form["speed"].value()) == ("512.5", "1.25")
    assert (form["passes"].value(), form["meter"].value()) == (2, str(last.meter_id))
    assert [point for point, _ in form.rows] == [1, 2]
    assert form["r_top_1"].value() is None
    # 6 mJ/cm² at 254 nm within 8 h (ICNIRP 2004): at 4 and 6 mW/cm² one second.
    assert "last run 4 mW/cm²: at most 1 s" in text_of(response)


def test_a_cabinet_is_filled_in_with_its_time(client, band) -> None:
    factories.make_meter()
    protocol = factories.make_protocol(band, process="uvc_cabinet")
    last = factories.open_run(protocol, belt=Belt(exposure_ms=250_500))
    factories.close_run(last)
    form = client.get(OPEN, {"line": last.line.code}).context["form"]
    assert form["time"].value() == "250.5"
    assert "zone" not in form.fields


def test_the_address_chooses_line_protocol_and_points(client, ready, band) -> None:
    second = factories.make_protocol(band)
    line = factories.make_place(PlaceKind.LINE)
    query = {"line": line.code, "protocol": second.pk, "points": "999"}
    choice = client.get(OPEN, query).context["choice"]
    assert (choice.line, choice.protocol, choice.points) == (line, second, 20)
    for points in ("0", "-1", "²", "9999", "x"):
        chosen = client.get(OPEN, {"points": points}).context["choice"]
        assert chosen.points in (1, 3)


def test_the_page_says_what_is_missing_for_a_run(client, band) -> None:
    assert "no line yet" in text_of(client.get(OPEN))
    line = factories.make_place(PlaceKind.LINE)
    assert "No protocol is in force." in text_of(client.get(OPEN))
    protocol = factories.make_protocol(band, in_force_until=date(2026, 1, 13))
    assert "No protocol is in force." in text_of(client.get(OPEN))
    protocol.in_force_until = None
    protocol.save()
    factories.make_meter(due=date(2026, 1, 13))
    assert "No meter is in calibration for this protocol." in text_of(client.get(OPEN))
    assert client.post(OPEN, {"op_key": key()}).status_code == 200
    factories.open_run(protocol, line_id=line.pk)
    Place.objects.filter(kind=PlaceKind.LINE, runs__isnull=True).delete()
    assert "Every line has an open run." in text_of(client.get(OPEN))
    assert Run.objects.count() == 1


def test_a_held_or_unsigned_protocol_is_not_offered(client, ready) -> None:
    protocol = ready[1]
    factories.make_protocol(signed_by="")
    assert client.get(OPEN).context["protocols"] == [protocol]
    holds.place_hold(
        target="protocol", value=protocol.pk, reason="Doubt", sign=factories.sign()
    )
    assert client.get(OPEN).context["protocols"] == []


@pytest.mark.smoke
def test_opening_on_a_line_that_has_a_run_is_a_conflict(client, ready, hx) -> None:
    line, protocol = ready
    factories.open_run(protocol, line_id=line.pk)
    posted = opening(r_top_2=None, r_top_3=None)
    response = client.post(f"{OPEN}?line={line.code}", posted, headers=hx)
    assert_problem(response, "line_has_a_run", status=409)
    assert_part(response, "run-open", status=409)


@pytest.mark.smoke
def test_the_same_form_sent_twice_opens_one_run(client, ready, hx) -> None:
    line = ready[0]
    path, posted = f"{OPEN}?line={line.code}&points=3", opening()
    first = client.post(path, posted, headers=hx)
    again = client.post(path, posted, headers=hx)
    assert first["HX-Redirect"] == again["HX-Redirect"] == at(Run.objects.get())


# -- A run that would fail, and the length of the zone ------------------------------


def test_a_run_that_its_own_readings_fail_is_asked_about(client, ready) -> None:
    weak = opening(r_top_1="0.2", r_top_2="0.2", r_top_3="0.2", sure="on")
    asked = client.post(OPEN, weak)
    assert_problem(asked, "run_would_fail")
    assert "the run would fail" in text_of(asked)
    assert 'type="hidden" name="anyway"' not in text_of(asked)
    assert Run.objects.count() == 0
    client.post(OPEN, {**weak, "op_key": key(), "anyway": "Lamps are warming up"})
    assert Run.objects.count() == 1
    assert "Lamps are warming up" in Link.objects.latest("seq").outcome


def test_a_reason_without_a_doubt_is_not_kept(client, ready) -> None:
    client.post(OPEN, opening(anyway="Because"))
    assert "Because" not in Link.objects.latest("seq").outcome


def test_the_zone_may_have_an_uncertainty_of_its_own(client, ready) -> None:
    client.post(OPEN, opening(zone_u="20", through_u="3"))
    run = Run.objects.get()
    # 20 of 500 mm are 4 %; with the 3 % of the speed that makes 5 %.
    assert (run.zone_u_ppm, run.belt_u_ppm, run.path_u_ppm) == (40_000, 30_000, 50_000)
    (side,) = doses.expected_doses(run)
    share = margins.combined_ppm(run.rel_u_ppm, 50_000)
    assert side.low_uj_cm2 == margins.low(3_980 * 333_333, share, 1000)
    closing = [(point, "top", 4_000) for point in (1, 2, 3)]
    close_run(run_id=run.pk, readings=closing, sign=factories.sign())
    again = {"line": run.line.code, "protocol": run.protocol_id}
    assert client.get(OPEN, again).context["form"]["zone_u"].value() == "20"


@pytest.mark.parametrize("zone_u", ["500", "501"])
def test_a_zone_as_uncertain_as_it_is_long_is_refused(zone_u, client, ready) -> None:
    assert_problem(client.post(OPEN, opening(zone_u=zone_u)), "zone_u_out_of_range")
    assert Run.objects.count() == 0
