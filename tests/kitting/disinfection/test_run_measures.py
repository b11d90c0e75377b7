"""What else than readings a run is judged by: uncertainties, dosimeters, logged values."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest

from kitting.disinfection.queries import doses
from kitting.disinfection.services import runs
from kitting.disinfection.services.values import Logged, log_values
from kitting.disinfection.services.verdicts import Judged, close_run, give_up_run
from kitting.domain.entries import Belt
from kitting.domain.errors import Missing, OperationKeyReused, Refused, WrongStage
from kitting.models import Protocol, Run, RunValue
from tests import factories
from tests.databases import once_a_module
from tests.factories import NOW, sign
from tests.kitting.disinfection.run_acts import (
    accepted_bags,
    assert_refuses,
    fresh,
    put_on,
)
from tests.kitting.ledger import ledger_runs

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=3)


def verdicts(run: Run) -> dict:
    return {
        row.side: (row.dose_uj_cm2, row.low_uj_cm2, row.rel_u_ppm, row.passed)
        for row in run.verdicts.all()
    }


def close(run: Run, *readings, dosimeters=()) -> str:
    judged = close_run(
        run_id=run.pk, readings=readings, dosimeters=dosimeters, sign=sign()
    )
    run.refresh_from_db()
    return judged.stage


@once_a_module
def protocol() -> Protocol:
    return factories.make_protocol()


@once_a_module
def run(protocol: Protocol) -> Run:
    return factories.open_run(protocol)


# -- Uncertainties --------------------------------------------------------------------


UNSURE = [
    # 4 mW/cm² for 275 s is 1100 mJ/cm²; the meter's 3 % alone leave 1067.
    (0, 0, 1_067_000, "released"),
    (40_000, 0, 1_045_000, "released"),
    (40_000, 40_000, 1_001_000, "released"),
    (40_000, 41_000, 999_900, "failed"),
    (85_000, 0, 1_000_847, "released"),  # √(3² + 8.5²) = 9.0139 %, up to the ppm
    (86_000, 0, 999_808, "failed"),
]
"""Uncertainty and decline of the belt, the bound of the dose, and what becomes of it."""


def test_a_run_is_released_by_the_bound_with_all_its_uncertainties(
    protocol: Protocol, subtests: pytest.Subtests
) -> None:
    for u_ppm, decline_ppm, low, stage in UNSURE:
        with subtests.test(u_ppm=u_ppm, decline_ppm=decline_ppm):
            run = factories.open_run(
                protocol,
                factories.make_meter(rel_u_ppm=30_000),
                belt=Belt(exposure_ms=275_000, u_ppm=u_ppm, decline_ppm=decline_ppm),
            )
            assert (run.belt_u_ppm, run.decline_ppm) == (u_ppm, decline_ppm)
            assert close(run, (1, "top", 4_000)) == stage
            passed = stage == "released"
            assert verdicts(run) == {"top": (1_100_000, low, 30_000, passed)}
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("belt", "code"),
    [
        (Belt(exposure_ms=1, u_ppm=-1), "belt_u_out_of_range"),
        (Belt(exposure_ms=1, u_ppm=1_000_000), "belt_u_out_of_range"),
        (Belt(exposure_ms=1, decline_ppm=-1), "decline_out_of_range"),
        (Belt(exposure_ms=1, decline_ppm=1_000_000), "decline_out_of_range"),
    ],
)
def test_an_absurd_uncertainty_opens_nothing(
    protocol: Protocol, belt: Belt, code: str
) -> None:
    meter = factories.make_meter()
    assert_refuses(
        code, Refused, factories.open_run, protocol=protocol, meter=meter, belt=belt,
        line_id=factories.make_place("line").pk, sign=sign(),
    )  # fmt: skip


def test_the_inverse_questions_are_answered_at_the_weakest_reading() -> None:
    belt = Belt(zone_um=500_000, belt_um_s=1_500, u_ppm=40_000, decline_ppm=20_000)
    readings = [(1, "top", 4_000), (2, "top", 5_000)]
    run = factories.open_run(
        factories.make_protocol(),
        factories.make_meter(rel_u_ppm=30_000),
        belt=belt,
        readings=readings,
    )
    (row,) = doses.inverses(run)
    assert (row.side, row.point, row.uw_cm2) == ("top", 1, 4_000)
    # 250 s / 0.93 = 268.817… s, and 500 mm in that time.
    assert (row.shortest_ms, row.fastest_um_s) == (268_818, 1_859)
    dark = factories.open_run(factories.make_protocol(), readings=[(1, "top", 0)])
    (row,) = doses.inverses(dark)
    assert (row.shortest_ms, row.fastest_um_s) == (None, None)
    still = factories.open_run(factories.make_protocol(), belt=Belt(exposure_ms=1_000))
    assert doses.inverses(still)[0].fastest_um_s is None
    slow = factories.open_run(
        factories.make_protocol(required_top_uj_cm2=2_000_000_000),
        belt=Belt(zone_um=1, belt_um_s=1),
        readings=[(1, "top", 1)],
    )
    assert doses.inverses(slow)[0].fastest_um_s is None


# -- Dosimeters -----------------------------------------------------------------------


def test_a_dosimeter_goes_through_instead_of_readings() -> None:
    (bag,) = accepted_bags()
    protocol = factories.make_protocol(bag.lot.revision)
    run = factories.open_run(protocol, readings=[], by_dosimeter=True)
    factories.expose(run, bag)
    assert_refuses(
        "side_not_read", Refused, close_run, run_id=run.pk, readings=[],
        sign=sign(),
    )  # fmt: skip
    assert fresh(bag).stage == "exposed"
    assert close(run, dosimeters=[("top", 1_200_000, 100_000)]) == "released"
    assert verdicts(run) == {"top": (1_200_000, 1_080_000, 100_000, True)}
    assert fresh(bag).stage == "cleared"
    assert factories.prove() == []


def test_one_side_may_be_read_and_the_other_have_a_dosimeter() -> None:
    protocol = factories.make_protocol(required_bottom_uj_cm2=500_000)
    refused = {"protocol": protocol, "meter": factories.make_meter(), "sign": sign()}
    line = factories.make_place("line").pk
    assert_refuses(
        "side_not_read", Refused, factories.open_run, line_id=line, **refused
    )
    run = factories.open_run(protocol, by_dosimeter=True)
    assert close(run, (1, "top", 4_000), dosimeters=[("bottom", 600_000, 0)]) == (
        "released"
    )
    assert verdicts(run)["top"][2] == 50_000
    assert verdicts(run)["bottom"] == (600_000, 600_000, 0, True)


BESIDE = [
    # Readings: 4 mW/cm² for 333.333 s, less 5 %, leave 1266.665 mJ/cm².
    ([("top", 2_000_000, 100_000)], 1_333_332, "released"),
    ([("top", 1_100_000, 100_000)], 1_100_000, "failed"),
    ([("top", 2_000_000, 0), ("top", 1_000_000, 0)], 1_000_000, "released"),
    ([("top", 2_000_000, 0), ("top", 999_999, 0)], 999_999, "failed"),
]


def test_beside_readings_the_lowest_bound_counts(
    protocol: Protocol, subtests: pytest.Subtests
) -> None:
    for dosimeters, dose, stage in BESIDE:
        with subtests.test(dose=dose):
            run = factories.open_run(protocol)
            assert close(run, (1, "top", 4_000), dosimeters=dosimeters) == stage
            assert verdicts(run)["top"][0] == dose
            assert run.dosimeters.count() == len(dosimeters)
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("dosimeters", "code"),
    [
        ([("front", 1, 0)], "dosimeter_side"),
        ([("top", -1, 0)], "dosimeter_dose_out_of_range"),
        ([("top", 10_000_000_001, 0)], "dosimeter_dose_out_of_range"),
        ([("top", 1, -1)], "uncertainty_out_of_range"),
        ([("top", 1, 1_000_000)], "uncertainty_out_of_range"),
        ([("top", 1, 0)] * 21, "dosimeters_too_many"),
    ],
)
def test_an_absurd_dosimeter_closes_nothing(run: Run, dosimeters, code: str) -> None:
    values = {"run_id": run.pk, "readings": [(1, "top", 4_000)], "sign": sign()}
    assert_refuses(code, Refused, close_run, dosimeters=dosimeters, **values)
    run.refresh_from_db()
    assert run.stage == "open"


def test_a_dosimeter_does_not_stand_in_for_readings_that_were_begun(run: Run) -> None:
    values = {"run_id": run.pk, "dosimeters": [("top", 9_000_000, 0)]}
    assert_refuses(
        "readings_missing", Refused, close_run, readings=[], **values, sign=sign()
    )
    blank = factories.open_run(run.protocol, readings=[], by_dosimeter=True)
    assert_refuses(
        "reading_elsewhere", Refused, close_run, run_id=blank.pk,
        readings=[(1, "top", 4_000)], sign=sign(),
    )  # fmt: skip


# -- Heat and liquid -------------------------------------------------------------------


@once_a_module
def by_heat() -> Protocol:
    return ledger_runs.make_heat_protocol()


@once_a_module
def oven(by_heat: Protocol) -> Run:
    return ledger_runs.open_oven(by_heat)


def test_a_run_by_heat_is_released_by_its_unbroken_hold() -> None:
    (bag,) = accepted_bags()
    run = ledger_runs.bake(bag)
    assert (run.stage, run.exposure_ms, run.passes) == ("released", 1_800_000, 1)
    assert (fresh(bag).stage, bag.cleared_run, bag.passes) == ("cleared", run, 1)
    assert not run.verdicts.exists()
    assert factories.prove() == []


def test_a_bag_that_came_late_for_the_hold_goes_back() -> None:
    """The run held for an hour; this bag went in at minute 31 and stayed long enough,
    but only until the log ends: its own hold is 25 minutes."""
    late, in_time = accepted_bags(2)
    run = ledger_runs.open_oven(ledger_runs.make_heat_protocol(late.lot.revision))
    for bag, since, until in ((late, 31, 70), (in_time, 1, 40)):
        put_on(run, bag, now=NOW + timedelta(minutes=since))
        off = sign(now=NOW + timedelta(minutes=until))
        runs.take_off(run_id=run.pk, bag_id=bag.pk, sign=off)
    ledger_runs.log(run, *ledger_runs.warm())
    assert ledger_runs.close(run) == Judged(run.number, "released", 2)
    assert (fresh(late).stage, fresh(in_time).stage) == ("accepted", "cleared")
    assert "did not hold long enough" in late.movements.order_by("nth").last().reason
    assert factories.prove() == []


LOGS = [
    (ledger_runs.warm(30), "released"),
    (ledger_runs.warm(25), "failed"),
    # 70.7 °C less 1 % is 69.993 °C; 70.8 °C less 1 % is 70.092 °C.
    (ledger_runs.warm(60, 70_700), "failed"),
    (ledger_runs.warm(60, 70_800), "released"),
    # One cold sample in the middle of an hour leaves 25 minutes on either side.
    ([*ledger_runs.warm()[:6], (30, 60_000), *ledger_runs.warm()[7:]], "failed"),
    # Every 7 minutes is within a quarter of the hold, every 8 is not.
    ([(at, 72_000) for at in range(0, 36, 7)], "released"),
    ([(at, 72_000) for at in range(0, 41, 8)], "failed"),
]


def test_a_run_by_heat_is_judged_by_its_log(
    by_heat: Protocol, subtests: pytest.Subtests
) -> None:
    for nth, (values, stage) in enumerate(LOGS):
        with subtests.test(nth=nth):
            oven = ledger_runs.open_oven(by_heat)
            ledger_runs.log(oven, *values)
            assert ledger_runs.close(oven).stage == stage
            held = doses.held(oven)
            assert held is not None
            assert held.enough is (stage == "released")
    assert factories.prove() == []


def test_a_liquid_needs_its_strength_at_both_ends_only() -> None:
    protocol = ledger_runs.make_heat_protocol(
        process="liquid", hold_s=600, min_value=1_000
    )
    run = ledger_runs.open_oven(protocol, ledger_runs.make_thermometer(rel_u_ppm=0))
    ledger_runs.log(run, (0, 1_200), (12, 1_000))
    assert ledger_runs.close(run).stage == "released"
    weak = ledger_runs.open_oven(protocol, run.meter)
    ledger_runs.log(weak, (0, 1_200), (12, 999))
    assert ledger_runs.close(weak).stage == "failed"


def test_a_run_by_heat_is_not_closed_without_its_log(oven: Run) -> None:
    assert_refuses("values_not_logged", Refused, ledger_runs.close, run=oven)
    values = {"run_id": oven.pk, "sign": sign(now=LATER)}
    ledger_runs.log(oven, *ledger_runs.warm())
    for more in (
        {"readings": [(1, "top", 4_000)]},
        {"readings": [], "dosimeters": [("top", 9_000_000, 0)]},
    ):
        assert_refuses("readings_without_light", Refused, close_run, **values, **more)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"readings": [(1, "top", 4_000)]}, "readings_without_light"),
        ({"by_dosimeter": True}, "readings_without_light"),
        ({"belt": Belt(exposure_ms=1)}, "belt_without_light"),
        ({"belt": Belt(passes=2)}, "belt_without_light"),
    ],
)
def test_a_run_by_heat_opens_with_nothing_of_light(
    by_heat: Protocol, changes, code: str
) -> None:
    values = {"protocol": by_heat, "meter": factories.make_meter(), "sign": sign()}
    assert_refuses(code, Refused, ledger_runs.open_oven, **values, **changes)


def test_a_protocol_by_heat_says_how_long_and_how_hot() -> None:
    protocol = ledger_runs.make_heat_protocol(signed_by="")
    Protocol.objects.filter(pk=protocol.pk).update(
        required_top_uj_cm2=1, min_value=None, signed_by="Quality officer"
    )
    values = {"protocol": protocol, "meter": factories.make_meter(), "sign": sign()}
    assert_refuses("hold_not_stated", Refused, ledger_runs.open_oven, **values)


def test_a_value_without_a_moment_is_of_now(oven: Run) -> None:
    now = NOW + timedelta(minutes=7)
    values = {"run_id": oven.pk, "values": [(None, 71_000)]}
    key = uuid.uuid4()
    logged = log_values(**values, sign=sign(now=now, key=key))
    # Sent again a minute later it is the same act, and stays of its own moment.
    later = sign(now=now + timedelta(minutes=1), key=key)
    assert log_values(**values, sign=later) == logged == Logged(oven.number, 1)
    row = RunValue.objects.get()
    assert (row.at, row.value) == (now, 71_000)
    with pytest.raises(OperationKeyReused):
        log_values(run_id=oven.pk, values=[(None, 1)], sign=sign(now=now, key=key))


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ([], "values_missing"),
        ([(5, 70_000), (5, 71_000)], "value_twice"),
        ([(10, 70_000)], "value_twice"),
        ([(-1, 70_000)], "value_before_run"),
        ([(181, 70_000)], "value_in_future"),
        ([(5, -1)], "heat_out_of_range"),
        ([(5, 300_001)], "heat_out_of_range"),
        ([(at / 60, 70_000) for at in range(5_000)], "values_too_many"),
    ],
)
def test_odd_values_are_refused_and_none_is_kept(oven: Run, values, code) -> None:
    ledger_runs.log(oven, (10, 70_000))

    def log() -> None:
        ledger_runs.log(oven, *values)

    assert_refuses(code, Refused, log)
    assert RunValue.objects.count() == 1


def test_a_liquid_has_its_own_range() -> None:
    run = ledger_runs.open_oven(
        ledger_runs.make_heat_protocol(process="liquid", hold_s=60, min_value=1)
    )
    for ppm in (-1, 1_000_001):
        assert_refuses(
            "strength_out_of_range", Refused, log_values, run_id=run.pk,
            values=[(NOW, ppm)], sign=sign(),
        )  # fmt: skip
    log_values(run_id=run.pk, values=[(NOW, 1_000_000)], sign=sign())
    assert run.values.get().value == 1_000_000


def test_only_an_open_run_without_light_keeps_a_log(oven: Run) -> None:
    lit = factories.open_run(factories.make_protocol())
    values = {"values": [(NOW, 70_000)], "sign": sign()}
    assert_refuses("values_by_light", Refused, log_values, run_id=lit.pk, **values)
    assert_refuses("row_missing", Missing, log_values, run_id=0, **values)
    give_up_run(run_id=oven.pk, reason="The oven broke", sign=sign())
    assert_refuses("run_closed", WrongStage, log_values, run_id=oven.pk, **values)
    assert doses.held(lit) is None
    assert factories.prove() == []
