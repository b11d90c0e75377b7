"""What a run takes, refuses and clears; its dose against published run times."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime

import pytest

from kitting.disinfection.services import runs
from kitting.disinfection.services.meters import record_calibration
from kitting.disinfection.services.verdicts import Judged, close_run
from kitting.domain.entries import Belt
from kitting.domain.errors import (
    Conflict,
    LotwardError,
    Missing,
    OnHold,
    OperationKeyReused,
    Refused,
)
from kitting.ledger import holds
from kitting.models import Bag, Calibration, Protocol, Run
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.databases import once_a_module
from tests.factories import NOW, TODAY, sign, sign_by_another
from tests.kitting.disinfection.run_acts import accepted_bags, assert_refuses, fresh

pytestmark = pytest.mark.django_db


@once_a_module
def bag() -> Bag:
    return accepted_bags()[0]


@once_a_module
def run(bag: Bag) -> Run:
    return factories.open_run(factories.make_protocol(bag.lot.revision))


@once_a_module
def protocol() -> Protocol:
    return factories.make_protocol()


# -- The dose -----------------------------------------------------------------------

# Run times and belt speeds by unit arithmetic (SI: 1 mW/cm² for 1 s is 1 mJ/cm²;
# dose = E × zone / speed). The 1000 mJ/cm² are the emergency dose for respirators of
# Applied Biosafety, doi 10.1089/apb.20.0051: a figure to compute with, no advice.
RUN_TIMES = [
    # 1 mW/cm² needs 1000 s; 2 needs 500 s; 5 needs 200 s for 1.0 J/cm².
    (1_000, Belt(exposure_ms=1_000_000), 1_000_000),
    (2_000, Belt(exposure_ms=500_000), 1_000_000),
    (5_000, Belt(exposure_ms=200_000), 1_000_000),
    # Two passes of half the time.
    (5_000, Belt(exposure_ms=100_000, passes=2), 1_000_000),
    # 2.5 mW/cm² from lamps at 85 % needs 470.6 s.
    (2_125, Belt(exposure_ms=470_600), 1_000_025),
    # 4 mW/cm² over 0.5 m at 5 mm/s is 400 mJ/cm²; 1000 mJ/cm² needs 2 mm/s.
    (4_000, Belt(zone_um=500_000, belt_um_s=5_000), 400_000),
    (4_000, Belt(zone_um=500_000, belt_um_s=2_000), 1_000_000),
]


@pytest.mark.parametrize(("uw_cm2", "belt", "uj_cm2"), RUN_TIMES)
def test_a_run_gives_the_published_dose(
    protocol: Protocol, uw_cm2: int, belt: Belt, uj_cm2: int
) -> None:
    meter = factories.make_meter(rel_u_ppm=0)
    run = factories.open_run(protocol, meter, belt=belt, readings=[(1, "top", uw_cm2)])
    factories.close_run(run, uw_cm2)
    verdict = run.verdicts.get()
    assert (verdict.dose_uj_cm2, verdict.low_uj_cm2) == (uj_cm2, uj_cm2)
    assert verdict.passed == (uj_cm2 >= 1_000_000)
    assert run.stage == ("released" if uj_cm2 >= 1_000_000 else "failed")


def test_one_microjoule_less_fails() -> None:
    meter = factories.make_meter(rel_u_ppm=0)
    protocol = factories.make_protocol(required_top_uj_cm2=1_000_001)
    belt = Belt(zone_um=500_000, belt_um_s=2_000)
    run = factories.open_run(protocol, meter, belt=belt)
    assert factories.close_run(run).stage == "failed"


def test_what_is_measured_may_do_where_its_lower_bound_does_not(bag: Bag) -> None:
    # 4 mW/cm² for 260 s is 1040 mJ/cm²; less 5 % it is 988.
    protocol = factories.make_protocol(bag.lot.revision)
    run = factories.open_run(protocol, belt=Belt(exposure_ms=260_000))
    factories.expose(run, bag)
    assert factories.close_run(run).stage == "failed"
    verdict = run.verdicts.get()
    assert (verdict.dose_uj_cm2, verdict.low_uj_cm2) == (1_040_000, 988_000)
    assert verdict.dose_uj_cm2 >= verdict.required_uj_cm2
    assert not verdict.passed
    assert fresh(bag).stage == "accepted"


def test_every_figure_is_rounded_down() -> None:
    # 500 mm at 3 mm/s take 166.666… s; times 4.001 mW/cm² and 0.95 (by hand).
    run = factories.open_run(
        factories.make_protocol(),
        belt=Belt(zone_um=500_000, belt_um_s=3_000),
        readings=[(1, "top", 4_001)],
    )
    factories.close_run(run, 5_000)
    verdict = run.verdicts.get()
    assert run.exposure_ms == 166_666
    assert verdict.dose_uj_cm2 == 666_830  # 4001 × 166.666 = 666,830.666
    assert verdict.low_uj_cm2 == 633_489  # 633,489.13…


def test_the_weakest_point_of_each_side_counts() -> None:
    protocol = factories.make_protocol(required_bottom_uj_cm2=500_000)
    opening = [
        (1, "top", 5_000),
        (2, "top", 6_000),
        (1, "bottom", 2_000),
        (2, "bottom", 3_000),
    ]
    closing = [*opening[:1], (2, "top", 4_500), *opening[2:3], (2, "bottom", 900)]
    belt = Belt(exposure_ms=300_000)
    run = factories.open_run(protocol, belt=belt, readings=opening)
    judged = close_run(run_id=run.pk, readings=closing, sign=sign())
    found = {row.side: (row.dose_uj_cm2, row.passed) for row in run.verdicts.all()}
    assert found == {"top": (1_350_000, True), "bottom": (270_000, False)}
    assert judged == Judged(run=run.number, stage="failed", bags=0)


def test_the_larger_uncertainty_of_opening_and_closing_counts() -> None:
    meter = factories.make_meter(rel_u_ppm=50_000)
    run = factories.open_run(factories.make_protocol(), meter)
    record_calibration(
        meter_id=meter.pk, on=TODAY, due=TODAY, rel_u_ppm=300_000, sign=sign()
    )
    factories.close_run(run)
    verdict = run.verdicts.get()
    assert verdict.rel_u_ppm == 300_000
    assert verdict.low_uj_cm2 == 933_332  # 1,333,332 × 0.7, rounded down
    assert run.stage == "failed"


# -- Opening ------------------------------------------------------------------------


def assert_opens_not(
    code: str, kind: type[LotwardError] = Refused, **changes
) -> LotwardError:
    protocol = changes.pop("protocol", None) or factories.make_protocol()
    meter = changes.pop("meter", None) or factories.make_meter()
    before = Run.objects.count()
    values = {
        "line_id": factories.make_place(PlaceKind.LINE).pk,
        "protocol_id": protocol.pk,
        "meter_id": meter.pk,
        "belt": Belt(zone_um=500_000, belt_um_s=1_500),
        "readings": [(1, "top", 4_000)],
        "sign": sign(),
        **changes,
    }
    error = assert_refuses(code, kind, runs.open_run, **values)
    assert Run.objects.count() == before
    return error


def test_an_open_run_keeps_what_it_was_opened_with(run: Run) -> None:
    assert (run.stage, run.exposure_ms, run.passes) == ("open", 333_333, 1)
    assert (run.rel_u_ppm, run.opened_at, run.closed_at) == (50_000, NOW, None)
    reading = run.readings.get()
    assert (reading.point, reading.side, reading.moment) == (1, "top", "opening")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"in_force_until": date(2026, 1, 13)}, "protocol_not_in_force"),
        ({"in_force_from": date(2026, 1, 15)}, "protocol_not_in_force"),
        ({"signed_by": " "}, "protocol_not_signed"),
    ],
)
def test_a_protocol_must_be_in_force_and_signed(changes, code: str) -> None:
    assert_opens_not(code, protocol=factories.make_protocol(**changes))


def test_a_protocol_is_in_force_on_its_first_and_last_day() -> None:
    protocol = factories.make_protocol(in_force_from=TODAY, in_force_until=TODAY)
    assert factories.open_run(protocol).stage == "open"


def test_a_held_protocol_opens_no_run_until_its_hold_is_lifted() -> None:
    protocol = factories.make_protocol()
    held = holds.place_hold(
        target="protocol", value=protocol.pk, reason="Doubt", sign=sign()
    )
    assert_opens_not("protocol_on_hold", OnHold, protocol=protocol)
    holds.lift_hold(hold_id=held.hold_id, reason="Checked", sign=sign_by_another())
    assert factories.open_run(protocol).stage == "open"


def test_a_meter_must_be_in_calibration_at_opening() -> None:
    late = assert_opens_not(
        "meter_out_of_calibration", meter=factories.make_meter(due=date(2026, 1, 13))
    )
    assert late.params["due"] == date(2026, 1, 13)
    meter = factories.make_meter()
    morning = sign(now=datetime(2025, 12, 31, 8, tzinfo=UTC))
    protocol = factories.make_protocol(in_force_from=date(2025, 1, 1))
    assert_opens_not(
        "meter_not_calibrated", meter=meter, protocol=protocol, sign=morning
    )
    assert_opens_not("row_missing", Missing, meter_id=0)


def test_a_meter_counts_on_the_day_it_is_due() -> None:
    meter = factories.make_meter(due=TODAY)
    assert factories.open_run(factories.make_protocol(), meter).stage == "open"


def test_the_newest_calibration_counts_even_where_it_is_due_first() -> None:
    meter = factories.make_meter(due=date(2026, 12, 31))
    record_calibration(
        meter_id=meter.pk,
        on=date(2026, 1, 5),
        due=date(2026, 1, 10),
        rel_u_ppm=40_000,
        sign=sign(),
    )
    assert_opens_not("meter_out_of_calibration", meter=meter)


@pytest.mark.parametrize(
    ("on", "due", "rel_u_ppm", "code"),
    [
        (TODAY, date(2026, 1, 13), 1, "calibration_dates"),
        (date(2026, 1, 15), date(2026, 12, 31), 1, "calibration_in_future"),
        (TODAY, TODAY, 1_000_000, "uncertainty_out_of_range"),
    ],
)
def test_an_odd_calibration_is_refused(on, due, rel_u_ppm: int, code: str) -> None:
    meter = factories.make_meter()
    values = {"on": on, "due": due, "rel_u_ppm": rel_u_ppm, "sign": sign()}
    assert_refuses(code, Refused, record_calibration, meter_id=meter.pk, **values)
    assert Calibration.objects.filter(meter=meter).count() == 1
    values = {"on": TODAY, "due": TODAY, "rel_u_ppm": 1, "sign": sign()}
    assert_refuses("row_missing", Missing, record_calibration, meter_id=0, **values)


def test_a_run_needs_a_line_and_a_protocol_that_are_there() -> None:
    assert_opens_not("row_missing", Missing, line_id=factories.make_place().pk)
    assert_opens_not("row_missing", Missing, protocol_id=0)


@pytest.mark.parametrize(
    ("belt", "code"),
    [
        (Belt(), "exposure_not_positive"),
        (Belt(exposure_ms=0), "exposure_not_positive"),
        (Belt(zone_um=500_000), "belt_half_given"),
        (Belt(belt_um_s=1_500), "belt_half_given"),
        (Belt(zone_um=1, belt_um_s=1, exposure_ms=1), "belt_or_time"),
        (Belt(zone_um=0, belt_um_s=1), "zone_not_positive"),
        (Belt(zone_um=1, belt_um_s=0), "belt_not_moving"),
        (Belt(zone_um=1, belt_um_s=2_000), "exposure_not_positive"),
        (Belt(zone_um=100_000_001, belt_um_s=1_000_000), "zone_too_long"),
        (Belt(zone_um=50_000_000, belt_um_s=100_000_001), "belt_too_fast"),
        (Belt(exposure_ms=86_400_001), "pass_too_long"),
        (Belt(exposure_ms=1, passes=0), "passes_not_positive"),
        (Belt(exposure_ms=1, passes=101), "passes_too_many"),
    ],
)
def test_absurd_times_are_refused(protocol: Protocol, belt: Belt, code: str) -> None:
    assert_opens_not(code, protocol=protocol, belt=belt)


@pytest.mark.parametrize(
    ("readings", "code"),
    [
        ([], "readings_missing"),
        ([(1, "bottom", 4_000)], "side_not_read"),
        ([(1, "top", 4_000), (1, "top", 4_100)], "reading_twice"),
        ([(1, "top", -1)], "irradiance_negative"),
        ([(1, "top", 10_000_001)], "irradiance_too_high"),
        ([(1, "top", 10_000_000_001)], "irradiance_too_high"),
        ([(0, "top", 4_000)], "reading_place"),
        ([(100, "top", 4_000)], "reading_place"),
        ([(1, "front", 4_000)], "reading_place"),
    ],
)
def test_absurd_readings_are_refused(protocol: Protocol, readings, code: str) -> None:
    assert_opens_not(code, protocol=protocol, readings=readings)


def test_the_largest_figures_fit_the_database() -> None:
    run = factories.open_run(
        factories.make_protocol(),
        belt=Belt(exposure_ms=86_400_000, passes=100),
        readings=[(99, "top", 10_000_000)],
    )
    close_run(run_id=run.pk, readings=[(99, "top", 10_000_000)], sign=sign())
    # 10 W/cm² for 100 days' passes: 10^7 µW × 8.64 × 10^6 s.
    assert run.verdicts.get().dose_uj_cm2 == 86_400_000_000_000


def test_a_line_has_one_open_run(run: Run) -> None:
    assert_opens_not("line_has_a_run", Conflict, line_id=run.line_id)
    factories.close_run(run)
    again = factories.open_run(factories.make_protocol(), line_id=run.line_id)
    assert again.stage == "open"


def test_opening_twice_with_one_key_opens_one_run() -> None:
    protocol, meter = factories.make_protocol(), factories.make_meter()
    values = {"line_id": factories.make_place(PlaceKind.LINE).pk}
    key = uuid.uuid4()
    first = factories.open_run(protocol, meter, sign=sign(key=key), **values)
    again = factories.open_run(protocol, meter, sign=sign(key=key), **values)
    assert (first, Run.objects.count()) == (again, 1)
    with pytest.raises(OperationKeyReused):
        factories.open_run(
            protocol, meter, sign=sign(key=key), readings=[(1, "top", 9)], **values
        )
