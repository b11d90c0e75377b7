"""Disinfection runs: opening, bags on and off, and the verdict on the whole run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import IntegrityError, transaction

from kitting import locking
from kitting.clock import day_of
from kitting.domain import exposure, numbers
from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.domain.stages import BagStage, MovementKind, RunStage
from kitting.models import (
    Bag,
    Calibration,
    Guarded,
    Meter,
    Place,
    Reading,
    Run,
    RunBag,
    RunVerdict,
)
from kitting.models.catalogue import PlaceKind
from kitting.models.runs import Moment
from kitting.operations import Act, Sign, perform
from kitting.reach import standing_reach
from kitting.services.steps.bags import Change, change, need_stage, save_bags
from kitting.services.steps.counting import take
from kitting.services.steps.lines import (
    protocol_in_force,
    readings_of,
    refuse_uncovered,
    uncertainty_of,
)

Values = Sequence[tuple[int, str, int]]
"""Readings as entered: point, side, irradiance in µW/cm²."""


@dataclass(frozen=True)
class Belt:
    """How long the line exposes what lies on it, per pass."""

    zone_um: int | None = None
    belt_um_s: int | None = None
    exposure_ms: int | None = None
    """Time of one pass where nothing moves; else it follows from zone and speed."""
    passes: int = 1


@dataclass(frozen=True)
class Opened:
    """A run that takes bags."""

    run: str


@dataclass(frozen=True)
class OnLine:
    """A bag that went on or came off."""

    run: str
    bag: str
    stage: str


@dataclass(frozen=True)
class Judged:
    """The verdict on a run."""

    run: str
    stage: str
    bags: int


@dataclass(frozen=True)
class Calibrated:
    """A calibration on record."""

    meter: str
    due: str


def record_calibration(
    *, meter_id: int, on: date, due: date, rel_u_ppm: int, sign: Sign
) -> Calibrated:
    """Record that a meter was calibrated.

    Args:
        meter_id: The meter.
        on: Day of the calibration, not in the future.
        due: Last day on which it counts.
        rel_u_ppm: Relative expanded uncertainty (k = 2) in parts per million.
        sign: Who, when and the operation key.

    Returns:
        The meter and the due date.

    Raises:
        Missing: If there is no such meter.
        Refused: ``calibration_dates``, ``uncertainty_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Calibrated:
        meter = Meter.objects.filter(pk=meter_id).first()
        if meter is None:
            raise Missing("row_missing", what="meter")
        if due < on or on > day_of(act.workshop, act.now):
            raise Refused("calibration_dates", on=on, due=due)
        for code in exposure.sanity(rel_u_ppm=rel_u_ppm):
            raise Refused(code, value=rel_u_ppm)
        act.write(Calibration(meter=meter, on=on, due=due, rel_u_ppm=rel_u_ppm))
        return Calibrated(meter=meter.serial, due=due.isoformat())

    sent = {"meter": meter_id, "on": on, "due": due, "rel_u_ppm": rel_u_ppm}
    return perform(
        "record_calibration", sign=sign, sent=sent, gives=Calibrated, work=work
    )


def open_run(
    *,
    line_id: int,
    protocol_id: int,
    meter_id: int,
    belt: Belt,
    readings: Values,
    sign: Sign,
) -> Opened:
    """Open a run on a line with a protocol, a meter and its opening readings.

    Args:
        line_id: The line; it must have no open run.
        protocol_id: The protocol; in force today.
        meter_id: The meter; in calibration today.
        belt: Zone, speed or time, and passes.
        readings: Opening readings, at least one for each side that needs a dose.
        sign: Who, when and the operation key.

    Returns:
        The number of the run.

    Raises:
        Conflict: ``line_has_a_run``.
        Missing: If the line, protocol or meter is not there.
        OnHold: If the protocol is held.
        Refused: If protocol, meter, belt or readings are not in order.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Opened:
        today = day_of(act.workshop, act.now)
        line = Place.objects.filter(pk=line_id, kind=PlaceKind.LINE).first()
        if line is None:
            raise Missing("row_missing", what="line")
        protocol = protocol_in_force(protocol_id, today)
        rel_u_ppm = uncertainty_of(meter_id, today)
        taken = readings_of(readings, Moment.OPENING)
        for side in protocol.required():
            if not any(reading.side == side for reading in taken):
                raise Refused("side_not_read", side=side)
        if Run.objects.filter(line=line, stage=RunStage.OPEN).exists():
            raise Conflict("line_has_a_run", line=line.name)
        run = Run(
            line=line,
            protocol=protocol,
            meter_id=meter_id,
            zone_um=belt.zone_um,
            belt_um_s=belt.belt_um_s,
            exposure_ms=_exposure_ms(belt),
            passes=belt.passes,
            rel_u_ppm=rel_u_ppm,
            opened_at=act.now,
            number=take(act.workshop.site, numbers.Kind.RUN)[0],
        )
        _insert(run)
        act.write(*_rows(run, taken))
        return Opened(run=run.number)

    sent = {
        "line": line_id,
        "protocol": protocol_id,
        "meter": meter_id,
        "belt": vars(belt),
        "readings": [list(value) for value in readings],
    }
    return perform("open_run", sign=sign, sent=sent, gives=Opened, work=work)


def _insert(run: Run) -> None:
    try:
        with transaction.atomic():  # a savepoint: two may open at the same moment
            run.save(force_insert=True)
    except IntegrityError as error:
        raise Conflict("line_has_a_run", line=run.line.name) from error


def _exposure_ms(belt: Belt) -> int:
    codes = exposure.sanity(passes=belt.passes)
    for code in codes:
        raise Refused(code, value=belt.passes)
    if belt.zone_um is not None and belt.belt_um_s is not None:
        time_ms = exposure.exposure_ms(belt.zone_um, belt.belt_um_s)
    else:
        time_ms = belt.exposure_ms or 0
    for code in exposure.sanity(exposure_ms=time_ms):
        raise Refused(code, value=time_ms)
    return time_ms


def _rows(run: Run, readings: list[exposure.Reading]) -> list[Guarded]:
    return [
        Reading(
            run=run,
            point=reading.point,
            side=reading.side,
            moment=reading.moment,
            uw_cm2=reading.uw_cm2,
        )
        for reading in readings
    ]


def put_on(*, run_id: int, bag_id: int, sign: Sign) -> OnLine:
    """Put a bag on the line of an open run.

    Args:
        run_id: The run.
        bag_id: The bag; accepted, not held, covered by the run's protocol.
        sign: Who, when and the operation key.

    Returns:
        The bag and its stage.

    Raises:
        Missing: If the run or bag is not there.
        OnHold: If the bag or the run is held.
        Refused: If the protocol does not cover it, or it was on in this run before.
        WrongStage: If the run is closed or the bag is not accepted.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> OnLine:
        bag = locking.lock_row(Bag, bag_id)
        run = _open_run(run_id)
        need_stage(bag, BagStage.ACCEPTED)
        refuse_uncovered(run, bag, standing_reach())
        if RunBag.objects.filter(run=run, bag=bag).exists():
            raise Refused("bag_was_on", bag=bag.number, run=run.number)
        moved = change(
            bag,
            Change(
                MovementKind.WENT_ON,
                bag.pieces,
                to=BagStage.IN_RUN,
                place_id=run.line_id,
            ),
        )
        save_bags([bag])
        RunBag.objects.create(run=run, bag=bag, on_at=act.now)
        act.write(moved)
        return OnLine(run=run.number, bag=bag.number, stage=bag.stage)

    sent = {"run": run_id, "bag": bag_id}
    return perform("put_on", sign=sign, sent=sent, gives=OnLine, work=work)


def take_off(*, run_id: int, bag_id: int, sign: Sign) -> OnLine:
    """Take a bag off the line after its passes: exposed, not yet cleared.

    Args:
        run_id: The run.
        bag_id: The bag; it must have gone on in this run.
        sign: Who, when and the operation key.

    Returns:
        The bag and its stage.

    Raises:
        Missing: If the run or bag is not there.
        Refused: ``bag_not_on`` if it did not go on in this run.
        WrongStage: If the run is closed or the bag came off before.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> OnLine:
        bag = locking.lock_row(Bag, bag_id)
        run = _open_run(run_id)
        stay = RunBag.objects.filter(run=run, bag=bag, live=True).first()
        if stay is None:
            raise Refused("bag_not_on", bag=bag.number, run=run.number)
        need_stage(bag, BagStage.IN_RUN)
        moved = change(
            bag, Change(MovementKind.CAME_OFF, bag.pieces, to=BagStage.EXPOSED)
        )
        save_bags([bag])
        stay.off_at = act.now
        stay.save(update_fields=["off_at"])
        act.write(moved)
        return OnLine(run=run.number, bag=bag.number, stage=bag.stage)

    sent = {"run": run_id, "bag": bag_id}
    return perform("take_off", sign=sign, sent=sent, gives=OnLine, work=work)


def _open_run(run_id: int) -> Run:
    run = locking.lock_row(Run, run_id)
    if run.stage != RunStage.OPEN:
        raise WrongStage("run_closed", run=run.number, stage=run.stage)
    return run


def close_run(*, run_id: int, readings: Values, sign: Sign) -> Judged:
    """Close a run with its closing readings and judge it as a whole.

    Released if the lower bound of the dose at the weakest point meets the protocol on
    every side that it requires: the bags are cleared. Failed otherwise: they are back
    at accepted and may be run again.

    Args:
        run_id: The run; all its bags are off the line.
        readings: Closing readings at the points and sides of the opening ones.
        sign: Who, when and the operation key.

    Returns:
        The verdict and how many bags it moved.

    Raises:
        Missing: If there is no such run.
        Refused: If readings or meter are not in order, or bags are still on the line.
        WrongStage: If the run is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Judged:
        ids = RunBag.objects.filter(run=run_id, live=True).values_list("bag", flat=True)
        bags = list(locking.lock_rows(Bag, ids).values())
        run = _open_run(run_id)
        stays = set(run.run_bags.filter(live=True).values_list("bag", flat=True))
        on = [bag.number for bag in bags if bag.stage == BagStage.IN_RUN]
        if on or stays != {bag.pk for bag in bags}:
            raise Refused("bags_on_the_line", run=run.number, bags=", ".join(on))
        taken = readings_of(readings, Moment.CLOSING)
        now_ppm = uncertainty_of(run.meter_id, day_of(act.workshop, act.now))
        verdicts, passed = _judge(run, taken, max(run.rel_u_ppm, now_ppm))
        run.stage = RunStage.RELEASED if passed else RunStage.FAILED
        run.closed_at = act.now
        run.save(update_fields=["stage", "closed_at"])
        moved = [_after_run(bag, run, passed=passed) for bag in bags]
        save_bags(bags)
        run.run_bags.filter(live=True).update(live=False)
        act.write(*_rows(run, taken), *verdicts, *moved)
        return Judged(run=run.number, stage=run.stage, bags=len(bags))

    sent = {"run": run_id, "readings": [list(value) for value in readings]}
    return perform("close_run", sign=sign, sent=sent, gives=Judged, work=work)


def _judge(
    run: Run, closing: list[exposure.Reading], rel_u_ppm: int
) -> tuple[list[Guarded], bool]:
    opening = [
        exposure.Reading(row.point, row.side, row.moment, row.uw_cm2)  # type: ignore[arg-type]
        for row in run.readings.all()
    ]
    doses = exposure.run_dose(
        [*opening, *closing],
        exposure_ms=run.exposure_ms,
        passes=run.passes,
        rel_u_ppm=rel_u_ppm,
    )
    verdict = exposure.verdict(doses, run.protocol.required())  # type: ignore[arg-type]
    rows: list[Guarded] = [
        RunVerdict(
            run=run,
            side=side.dose.side,
            required_uj_cm2=side.required_uj_cm2,
            dose_uj_cm2=side.dose.measured_uj_cm2,
            low_uj_cm2=side.dose.low_uj_cm2,
            rel_u_ppm=rel_u_ppm,
            passed=side.met,
        )
        for side in verdict.sides
    ]
    return rows, verdict.passed


def _after_run(bag: Bag, run: Run, *, passed: bool) -> Guarded:
    bag.passes += run.passes
    if passed:
        bag.cleared_run = run
        what = Change(MovementKind.CLEARED, bag.pieces, to=BagStage.CLEARED)
    else:
        what = Change(
            MovementKind.NOT_CLEARED,
            bag.pieces,
            to=BagStage.ACCEPTED,
            reason=f"run {run.number} failed",
        )
    return change(bag, what)
