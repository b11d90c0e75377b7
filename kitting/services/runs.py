"""Disinfection runs: opening, bags on and off, and the verdict on the whole run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.db import IntegrityError, transaction

from kitting import locking
from kitting.clock import day_of
from kitting.domain import numbers
from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.domain.stages import BagStage, MovementKind, RunStage
from kitting.models import Bag, Place, Run, RunBag
from kitting.models.catalogue import PlaceKind
from kitting.models.runs import Moment
from kitting.operations import Act, Sign, perform
from kitting.reach import standing_reach
from kitting.services.meters import Calibrated, record_calibration
from kitting.services.steps.bags import Change, change, need_stage, save_bags
from kitting.services.steps.counting import take
from kitting.services.steps.lines import (
    Belt,
    off_from,
    pass_ms,
    protocol_in_force,
    readings_of,
    refuse_other_points,
    refuse_uncovered,
    uncertainty_of,
)
from kitting.services.steps.verdicts import after_run, judge, reading_rows, return_bag

__all__ = [
    "Belt",
    "Calibrated",
    "Judged",
    "OnLine",
    "Opened",
    "close_run",
    "give_up_run",
    "open_run",
    "put_on",
    "record_calibration",
    "scan_bag",
    "take_off",
]

Values = Sequence[tuple[int, str, int]]
"""Readings as entered: point, side, irradiance in µW/cm²."""


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
        OnHold: ``protocol_on_hold``.
        Refused: If protocol, meter, belt or readings are not in order.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Opened:
        locking.enter_gate()
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
        run = Run(
            line=line,
            protocol=protocol,
            meter_id=meter_id,
            zone_um=belt.zone_um,
            belt_um_s=belt.belt_um_s,
            exposure_ms=pass_ms(belt),
            passes=belt.passes,
            rel_u_ppm=rel_u_ppm,
            opened_at=act.now,
            number=take(act.workshop.site, numbers.Kind.RUN)[0],
        )
        _insert(run)
        act.write(*reading_rows(run, taken))
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
        # The database says which: two may open at the same moment. A savepoint, since
        # the act goes on to refuse in words.
        with transaction.atomic():
            run.save(force_insert=True)
    except IntegrityError as error:
        raise Conflict("line_has_a_run", line=run.line.name) from error


def put_on(*, run_id: int, bag_id: int, sign: Sign) -> OnLine:
    """Put a bag on the line of an open run.

    Args:
        run_id: The run; its protocol is still in force.
        bag_id: The bag; accepted, not held, covered by the run's protocol.
        sign: Who, when and the operation key.

    Returns:
        The bag and its stage.

    Raises:
        Missing: If the run or bag is not there.
        OnHold: If the bag, the run or its protocol is held.
        Refused: If the protocol does not cover it or is not in force any more, or the
            bag was on in this run before.
        WrongStage: If the run is closed, or the bag is not accepted or in another run.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> OnLine:
        return _put_on(act, *_lock(run_id, bag_id))

    sent = {"run": run_id, "bag": bag_id}
    return perform("put_on", sign=sign, sent=sent, gives=OnLine, work=work)


def _refuse_other_run(bag: Bag, run: Run) -> None:
    stays = RunBag.objects.filter(bag=bag).select_related("run")
    live = stays.filter(live=True).exclude(run=run).first()
    if live is not None:
        raise WrongStage("bag_in_other_run", bag=bag.number, run=live.run.number)
    if stays.filter(run=run).exists():
        raise Refused("bag_was_on", bag=bag.number, run=run.number)


def take_off(*, run_id: int, bag_id: int, sign: Sign, short: bool = False) -> OnLine:
    """Take a bag off the line after its passes: exposed, not yet cleared.

    A bag that comes off before its passes are over has not had its dose. That is
    refused, since most often one label was scanned twice; said to be meant, the bag
    comes off, and the verdict sends it back to accepted whatever the run's dose is.

    Args:
        run_id: The run.
        bag_id: The bag; it must have gone on in this run.
        sign: Who, when and the operation key.
        short: The bag is meant to come off before its passes are over.

    Returns:
        The bag and its stage.

    Raises:
        Missing: If the run or bag is not there.
        Refused: ``bag_not_on`` if it did not go on in this run, ``bag_off_too_early``.
        WrongStage: If the run is closed, or ``bag_came_off`` before.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> OnLine:
        return _take_off(act, *_lock(run_id, bag_id), short=short)

    sent = {"run": run_id, "bag": bag_id, "short": short}
    return perform("take_off", sign=sign, sent=sent, gives=OnLine, work=work)


def scan_bag(*, run_id: int, bag_id: int, sign: Sign) -> OnLine:
    """Take one scan at the line: a bag that is not in the run goes on, else it comes off.

    One act, so that the same scan sent twice does not put the bag on and take it off.

    Args:
        run_id: The run.
        bag_id: The bag.
        sign: Who, when and the operation key.

    Returns:
        The bag and its stage.

    Raises:
        Missing: If the run or bag is not there.
        OnHold: As ``put_on``.
        Refused: As ``put_on`` and ``take_off``.
        WrongStage: As ``put_on`` and ``take_off``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> OnLine:
        bag, run = _lock(run_id, bag_id)
        if RunBag.objects.filter(run=run, bag=bag).exists():
            return _take_off(act, bag, run, short=False)
        return _put_on(act, bag, run)

    sent = {"run": run_id, "bag": bag_id}
    return perform("scan_bag", sign=sign, sent=sent, gives=OnLine, work=work)


def _lock(run_id: int, bag_id: int) -> tuple[Bag, Run]:
    locking.enter_gate()
    bag = locking.lock_row(Bag, bag_id)
    return bag, _open_run(run_id)


def _put_on(act: Act, bag: Bag, run: Run) -> OnLine:
    protocol_in_force(run.protocol_id, day_of(act.workshop, act.now))
    _refuse_other_run(bag, run)
    need_stage(bag, BagStage.ACCEPTED)
    refuse_uncovered(run, bag, standing_reach())
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


def _take_off(act: Act, bag: Bag, run: Run, *, short: bool) -> OnLine:
    stay = RunBag.objects.filter(run=run, bag=bag, live=True).first()
    if stay is None:
        raise Refused("bag_not_on", bag=bag.number, run=run.number)
    if stay.off_at is not None:
        raise WrongStage("bag_came_off", bag=bag.number, run=run.number)
    need_stage(bag, BagStage.IN_RUN)
    left = off_from(stay, run) - act.now
    if left > timedelta(0) and not short:
        # Rounded up: after so many seconds it may come off.
        seconds = -(-left // timedelta(seconds=1))
        raise Refused("bag_off_too_early", bag=bag.number, seconds=seconds)
    moved = change(bag, Change(MovementKind.CAME_OFF, bag.pieces, to=BagStage.EXPOSED))
    save_bags([bag])
    stay.off_at = act.now
    stay.save(update_fields=["off_at"])
    act.write(moved)
    return OnLine(run=run.number, bag=bag.number, stage=bag.stage)


def _open_run(run_id: int) -> Run:
    run = locking.lock_row(Run, run_id)
    if run.stage != RunStage.OPEN:
        raise WrongStage("run_closed", run=run.number, stage=run.stage)
    return run


def close_run(*, run_id: int, readings: Values, sign: Sign) -> Judged:
    """Close a run with its closing readings and judge it as a whole.

    Released if the lower bound of the dose at the weakest point meets the protocol on
    every side that it requires: the bags are cleared, but for those that came off
    before their passes were over. Failed otherwise: all are back at accepted. What went
    back may go on another run.

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
        run, bags, stays = _lock_to_close(run_id)
        taken = readings_of(readings, Moment.CLOSING)
        refuse_other_points(run, taken)
        now_ppm = uncertainty_of(run.meter_id, day_of(act.workshop, act.now))
        verdicts, passed = judge(run, taken, max(run.rel_u_ppm, now_ppm))
        _end(run, act, RunStage.RELEASED if passed else RunStage.FAILED)
        moved = [after_run(bag, stays[bag.pk], run, passed=passed) for bag in bags]
        save_bags(bags)
        act.write(*reading_rows(run, taken), *verdicts, *moved)
        return Judged(run=run.number, stage=run.stage, bags=len(bags))

    sent = {"run": run_id, "readings": [list(value) for value in readings]}
    return perform("close_run", sign=sign, sent=sent, gives=Judged, work=work)


def give_up_run(*, run_id: int, reason: str, sign: Sign) -> Judged:
    """End a run that cannot be closed with readings: it failed, without a dose.

    The lamps went out, or the meter broke or is due: all bags go back to accepted.

    Args:
        run_id: The run; all its bags are off the line.
        reason: Why, for the record of each bag.
        sign: Who, when and the operation key.

    Returns:
        The failed run and how many bags went back.

    Raises:
        Missing: If there is no such run.
        Refused: ``reason_missing``, ``bags_on_the_line``.
        WrongStage: If the run is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Judged:
        if not reason.strip():
            raise Refused("reason_missing")
        run, bags, _ = _lock_to_close(run_id)
        _end(run, act, RunStage.FAILED)
        words = f"run {run.number} given up: {reason.strip()}"
        moved = [return_bag(bag, run, words) for bag in bags]
        save_bags(bags)
        act.write(*moved)
        return Judged(run=run.number, stage=run.stage, bags=len(bags))

    sent = {"run": run_id, "reason": reason}
    return perform("give_up_run", sign=sign, sent=sent, gives=Judged, work=work)


def _lock_to_close(run_id: int) -> tuple[Run, list[Bag], dict[int, RunBag]]:
    ids = RunBag.objects.filter(run=run_id, live=True).values_list("bag", flat=True)
    bags = list(locking.lock_rows(Bag, ids).values())
    run = _open_run(run_id)
    # Read again under the lock: a bag may have gone on since the ids were read.
    live = run.run_bags.filter(live=True).select_related("bag").order_by("pk")
    stays = {stay.bag_id: stay for stay in live}
    locked = {bag.pk for bag in bags}
    on = [
        stay.bag.number
        for stay in stays.values()
        if stay.off_at is None or stay.bag_id not in locked
    ]
    if on:
        raise Refused("bags_on_the_line", run=run.number, bags=", ".join(on))
    return run, bags, stays


def _end(run: Run, act: Act, stage: RunStage) -> None:
    run.stage = stage
    run.closed_at = act.now
    run.save(update_fields=["stage", "closed_at"])
    run.run_bags.filter(live=True).update(live=False)
