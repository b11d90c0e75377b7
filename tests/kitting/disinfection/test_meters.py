"""Meters: which may measure a run, and what a wrong one puts on hold."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest

from kitting.disinfection.queries import meters as queries
from kitting.disinfection.services import meters, runs
from kitting.disinfection.services.verdicts import close_run
from kitting.domain.entries import Belt
from kitting.domain.errors import Conflict, Missing, OnHold, OperationKeyReused, Refused
from kitting.ledger.reach import held_boxes, standing_reach
from kitting.models import Box, Calibration, Hold, Meter, MeterFault, Run
from kitting.models.catalogue import PlaceKind
from kitting.packing.services import boxes
from tests import factories
from tests.factories import NOW, TODAY, sign
from tests.kitting.disinfection.run_acts import (
    accepted_bags,
    assert_refuses,
    fresh,
    put_on,
)
from tests.kitting.ledger import ledger_runs

pytestmark = pytest.mark.django_db


def calibrate(meter: Meter, **changes) -> meters.Calibrated:
    values = {
        "on": date(2026, 1, 10),
        "due": date(2027, 1, 10),
        "rel_u_ppm": 50_000,
        "low_nm": 220,
        "high_nm": 280,
        "sign": sign(),
        **changes,
    }
    return meters.record_calibration(meter_id=meter.pk, **values)


def find_wrong(meter: Meter, **changes) -> meters.FoundWrong:
    values = {
        "found_on": TODAY,
        "good_id": meter.calibrations.order_by("on").values_list("pk", flat=True)[0],
        "reason": "Window cracked",
        "sign": sign(),
        **changes,
    }
    return meters.find_wrong(meter_id=meter.pk, **values)


def open_values(meter: Meter, protocol=None) -> dict:
    return {
        "line_id": factories.make_place(PlaceKind.LINE).pk,
        "protocol_id": (protocol or factories.make_protocol()).pk,
        "meter_id": meter.pk,
        "belt": Belt(zone_um=500_000, belt_um_s=1_500),
        "readings": [(1, "top", 4_000)],
        "sign": sign(),
    }


# -- Adding and calibrating -----------------------------------------------------------


def test_a_meter_is_added_once() -> None:
    key = sign()
    assert (
        meters.add_meter(serial=" RM 1 ", name="Radiometer", sign=key).meter == "RM 1"
    )
    assert (
        meters.add_meter(serial=" RM 1 ", name="Radiometer", sign=key).meter == "RM 1"
    )
    twin = {"serial": "RM 1", "name": "Another"}
    assert_refuses("meter_exists", Conflict, meters.add_meter, **twin, sign=sign())
    assert [meter.name for meter in Meter.objects.all()] == ["Radiometer"]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ({"serial": " ", "name": "R"}, "meter_words_missing"),
        ({"serial": "1", "name": ""}, "meter_words_missing"),
        ({"serial": "1" * 31, "name": "R"}, "entry_too_long"),
        ({"serial": "1", "name": "R" * 61}, "entry_too_long"),
    ],
)
def test_a_meter_has_a_serial_number_and_a_name(words, code: str) -> None:
    assert_refuses(code, Refused, meters.add_meter, **words, sign=sign())


@pytest.mark.parametrize(
    ("low", "high", "code"),
    [
        (220, None, "calibration_range_half_given"),
        (None, 280, "calibration_range_half_given"),
        (280, 220, "calibration_range"),
        (99, 280, "calibration_range"),
        (220, 3_001, "calibration_range"),
    ],
)
def test_an_odd_spectral_range_is_refused(low, high, code: str) -> None:
    meter = factories.make_meter()
    assert_refuses(code, Refused, calibrate, meter=meter, low_nm=low, high_nm=high)


def test_a_meter_opens_a_run_only_in_the_spectrum_that_it_sees() -> None:
    meter = factories.make_meter()
    protocol = factories.make_protocol(low_nm=250, high_nm=258)
    values = open_values(meter, protocol)
    assert_refuses("meter_range_unknown", Refused, runs.open_run, **values)
    # A meter for 315 to 400 nm (UV-A) does not see 254 nm.
    calibrate(meter, on=date(2026, 1, 11), low_nm=315, high_nm=400)
    assert_refuses("meter_blind", Refused, runs.open_run, **values)
    calibrate(meter, on=date(2026, 1, 12), low_nm=251, high_nm=280)
    assert_refuses("meter_blind", Refused, runs.open_run, **values)
    calibrate(meter, on=date(2026, 1, 13), low_nm=220, high_nm=257)
    assert_refuses("meter_blind", Refused, runs.open_run, **values)
    calibrate(meter, on=TODAY, low_nm=250, high_nm=258)
    assert runs.open_run(**values).run == Run.objects.get().number


def test_a_run_is_not_closed_with_a_meter_that_went_blind_or_wrong() -> None:
    meter = factories.make_meter()
    calibrate(meter)
    run = factories.open_run(factories.make_protocol(low_nm=250, high_nm=258), meter)
    values = {"run_id": run.pk, "readings": [(1, "top", 4_000)]}
    calibrate(meter, on=date(2026, 1, 13), low_nm=315, high_nm=400)
    assert_refuses("meter_blind", Refused, close_run, **values, sign=sign())
    calibrate(meter, on=TODAY)
    find_wrong(meter)
    assert_refuses("meter_found_wrong", Refused, close_run, **values, sign=sign())


# -- Found wrong ----------------------------------------------------------------------


def cleared(meter: Meter) -> tuple[Run, Box]:
    """A run that was released, and a box packed from what it cleared."""
    (bag,) = accepted_bags()
    run = factories.open_run(factories.make_protocol(bag.lot.revision), meter)
    factories.expose(run, bag)
    factories.close_run(run)
    recipe = factories.make_recipe([(bag.lot.revision, 1, "set")])
    size, bench = factories.make_size(recipe), factories.make_bench()
    box = factories.make_open_box(size, bench, fresh(bag))
    boxes.close_box(box_id=box.pk, sign=sign())
    return run, box


def test_a_wrong_meter_holds_every_run_since_its_last_good_calibration() -> None:
    meter, other = factories.make_meter(), factories.make_meter()
    protocol = factories.make_protocol()
    before = factories.open_run(protocol, meter, sign=sign(now=NOW - timedelta(days=5)))
    calibrate(meter)
    run, box = cleared(meter)
    failed = factories.close_run(factories.open_run(protocol, meter), 10)
    still_open = factories.open_run(protocol, meter)
    untouched = factories.open_run(protocol, other)
    good = meter.calibrations.get(on=date(2026, 1, 10))
    found = find_wrong(meter, good_id=good.pk)
    assert found == meters.FoundWrong(meter.serial, 3, 1, 1, 0)
    held = {hold.run_id: hold for hold in Hold.objects.all()}
    assert set(held) == {run.pk, failed.pk, still_open.pk}
    assert not {before.pk, untouched.pk} & set(held)
    assert held[run.pk].reason == (
        f"Meter {meter.serial} found wrong on 2026-01-14: Window cracked"
    )
    fault = MeterFault.objects.get()
    assert {hold.operation_id for hold in held.values()} == {fault.operation_id}
    # What was cleared is stopped, and so is the open run.
    assert set(held_boxes(standing_reach())) == {box.pk}
    (bag,) = accepted_bags()
    with pytest.raises(OnHold):
        runs.put_on(run_id=still_open.pk, bag_id=bag.pk, sign=sign())


def fresh_box(box: Box) -> Box:
    box.refresh_from_db()
    return box


def test_boxes_that_have_left_are_counted_apart() -> None:
    meter = factories.make_meter()
    _, here = cleared(meter)
    _, gone = cleared(meter)
    Box.objects.filter(pk=gone.pk).update(stage="sent")
    found = find_wrong(meter)
    assert (found.runs, found.boxes_here, found.boxes_gone) == (2, 1, 1)
    assert fresh_box(here).stage == "closed"


def test_a_run_on_the_day_of_the_calibration_is_held_and_the_day_before_is_not() -> (
    None
):
    meter = factories.make_meter()
    protocol = factories.make_protocol(in_force_from=date(2025, 1, 1))
    good = meter.calibrations.get()
    # The factories' workshop goes by UTC; the calibration was on 2026-01-01.
    first = factories.open_run(
        protocol, meter, sign=sign(now=NOW.replace(month=1, day=1, hour=0))
    )
    assert find_wrong(meter, good_id=good.pk).runs == 1
    assert Hold.objects.get().run == first
    late = factories.make_meter(due=date(2026, 12, 31))
    calibrate(late, on=date(2025, 1, 1), due=date(2026, 12, 31))
    day_before = NOW.replace(year=2025, month=12, day=31, hour=23)
    factories.open_run(protocol, late, sign=sign(now=day_before))
    newest = late.calibrations.get(on=date(2026, 1, 1))
    assert find_wrong(late, good_id=newest.pk).runs == 0


def test_a_meter_that_was_never_good_holds_all_its_runs() -> None:
    meter = factories.make_meter()
    factories.open_run(
        factories.make_protocol(), meter, sign=sign(now=NOW - timedelta(days=13))
    )
    assert find_wrong(meter, good_id=None).runs == 1


def test_a_wrong_meter_is_not_used_before_it_is_calibrated_anew() -> None:
    meter = factories.make_meter()
    find_wrong(meter, found_on=date(2026, 1, 13))
    values = open_values(meter)
    assert_refuses("meter_found_wrong", Refused, runs.open_run, **values)
    # A certificate from before the day it was found wrong does not mend it.
    calibrate(meter, on=date(2026, 1, 12))
    assert_refuses("meter_found_wrong", Refused, runs.open_run, **values)
    calibrate(meter, on=date(2026, 1, 13))
    assert runs.open_run(**values).run


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"reason": " "}, "reason_missing"),
        ({"reason": "x" * 121}, "entry_too_long"),
        ({"found_on": date(2026, 1, 15)}, "fault_in_future"),
        ({"found_on": date(2025, 12, 31)}, "fault_before_calibration"),
    ],
)
def test_an_odd_finding_holds_nothing(changes, code: str) -> None:
    meter = factories.make_meter()
    factories.open_run(factories.make_protocol(), meter)
    assert_refuses(code, Refused, find_wrong, meter=meter, **changes)
    assert not Hold.objects.exists()


def test_a_finding_names_a_meter_and_its_own_calibration() -> None:
    meter, other = factories.make_meter(), factories.make_meter()
    foreign = other.calibrations.get().pk
    assert_refuses("row_missing", Missing, find_wrong, meter=meter, good_id=foreign)
    values = {"found_on": TODAY, "good_id": None, "reason": "x", "sign": sign()}
    assert_refuses("row_missing", Missing, meters.find_wrong, meter_id=0, **values)


def test_the_same_finding_sent_twice_holds_once() -> None:
    meter = factories.make_meter()
    factories.open_run(factories.make_protocol(), meter)
    key = uuid.uuid4()
    first = find_wrong(meter, sign=sign(key=key))
    assert find_wrong(meter, sign=sign(key=key)) == first
    assert Hold.objects.count() == 1
    with pytest.raises(OperationKeyReused):
        find_wrong(meter, sign=sign(key=key), reason="Something else")


def test_the_longest_words_fit_the_hold() -> None:
    serial = meters.add_meter(serial="9" * 30, name="R", sign=sign()).meter
    meter = Meter.objects.get(serial=serial)
    calibrate(meter)
    factories.open_run(factories.make_protocol(), meter)
    find_wrong(meter, reason="x" * 120)
    assert len(Hold.objects.get().reason) <= 200


# -- As the pages see them --------------------------------------------------------------


@pytest.mark.parametrize(
    ("due", "state", "usable"),
    [
        (TODAY + timedelta(days=31), "ready", True),
        (TODAY + timedelta(days=30), "soon", True),
        (TODAY, "soon", True),
        (TODAY - timedelta(days=1), "overdue", False),
    ],
)
def test_a_meter_warns_thirty_days_before_and_stops_after(due, state, usable) -> None:
    meter = factories.make_meter(due=due)
    (line,) = queries.meter_lines(TODAY)
    assert (line.meter, line.state, line.usable) == (meter, state, usable)
    assert line.days_left == (due - TODAY).days
    assert bool(queries.ready_meters(TODAY)) is usable
    seen = [] if state == "ready" else [meter]
    assert [row.meter for row in queries.meters_to_see_to(TODAY)] == seen


def test_a_meter_without_a_calibration_is_never_ready() -> None:
    Meter.objects.create(serial="RM 1", name="Radiometer")
    (line,) = queries.meter_lines(TODAY)
    assert (line.state, line.usable, line.days_left) == ("never", False, 0)
    assert queries.meters_to_see_to(TODAY) == []


def test_the_pages_and_the_line_agree_on_a_wrong_meter() -> None:
    meter = factories.make_meter()
    find_wrong(meter)
    (line,) = queries.meter_lines(TODAY)
    assert (line.state, line.fault) == ("wrong", queries.standing_fault(meter.pk))
    calibrate(meter, on=TODAY)
    (line,) = queries.meter_lines(TODAY)
    assert (line.state, queries.standing_fault(meter.pk)) == ("ready", None)
    assert line.newest == Calibration.objects.get(on=TODAY)


def test_only_meters_that_see_the_protocol_are_offered_for_it() -> None:
    blind, seeing = factories.make_meter(), factories.make_meter()
    calibrate(seeing)
    protocol = factories.make_protocol(low_nm=250, high_nm=258)
    assert [row.meter for row in queries.ready_meters(TODAY)] == [blind, seeing]
    assert [row.meter for row in queries.ready_meters(TODAY, protocol)] == [seeing]


def test_a_radiometer_measures_neither_heat_nor_a_liquid() -> None:
    radiometer, thermometer = factories.make_meter(), factories.make_meter()
    calibrate(radiometer)
    for process in ("heat", "liquid"):
        protocol = ledger_runs.make_heat_protocol(process=process)
        values = {"protocol": protocol, "meter": radiometer}
        assert_refuses("meter_reads_light", Refused, ledger_runs.open_oven, **values)
        offered = [row.meter for row in queries.ready_meters(TODAY, protocol)]
        assert offered == [thermometer]
        assert ledger_runs.open_oven(protocol, thermometer).stage == "open"


def test_put_on_is_refused_by_the_hold_of_a_wrong_meter() -> None:
    (bag,) = accepted_bags()
    meter = factories.make_meter()
    run = factories.open_run(factories.make_protocol(bag.lot.revision), meter)
    find_wrong(meter)
    refused = assert_refuses("run_on_hold", OnHold, put_on, run=run, bag=bag)
    assert "found wrong" in str(refused.params["reason"])
