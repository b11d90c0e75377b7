"""Disinfection runs: opening one, bags and carriers on and off its line."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import IntegrityError, transaction

from kitting.disinfection.queries.doses import doses_by
from kitting.disinfection.services.verdicts import (
    Values,
)
from kitting.disinfection.steps.lines import (
    by_light,
    held_belt,
    pass_ms,
    protocol_in_force,
    readings_of,
)
from kitting.disinfection.steps.meters import calibration_in_force
from kitting.disinfection.steps.stays import go_off, go_on, lock_open_run
from kitting.disinfection.steps.verdicts import reading_rows
from kitting.domain import numbers
from kitting.domain.entries import Belt
from kitting.domain.errors import Conflict, Doubted, Refused
from kitting.domain.exposure import Reading
from kitting.domain.figures import written
from kitting.domain.stages import BagStage
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.counters import take
from kitting.ledger.needs import need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.bags import save_bags
from kitting.models import Bag, Carrier, Place, Protocol, Run, RunBag
from kitting.models.catalogue import PlaceKind
from kitting.models.runs import Moment


@dataclass(frozen=True)
class Opened:
    """A run that takes bags."""

    run: str
    sure: str = ""
    """Why it was opened although it would fail with its opening readings."""


@dataclass(frozen=True)
class OnLine:
    """A bag that went on or came off."""

    run: str
    bag: str
    stage: str


@dataclass(frozen=True)
class CarrierOnLine:
    """A carrier whose bags went on or came off."""

    run: str
    carrier: str
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
    by_dosimeter: bool = False,
    sure: str = "",
) -> Opened:
    """Open a run on a line with a protocol, a meter and its opening readings.

    Args:
        line_id: The line; it must have no open run.
        protocol_id: The protocol; in force today.
        meter_id: The meter; in calibration today, for the protocol's spectrum. A
            thermometer or test strip for a protocol by heat or liquid.
        belt: Zone, speed or time, passes, and what is uncertain about them; empty for
            a protocol by heat or liquid.
        readings: Opening readings, at least one for each side that needs a dose; none
            for a protocol by heat or liquid.
        sign: Who, when and the operation key.
        by_dosimeter: A dosimeter will go through instead of readings on the sides that
            have none. The run is not closed without it.
        sure: Why it is opened although it would fail with its opening readings; empty
            to be asked.

    Returns:
        The number of the run.

    Raises:
        Conflict: ``line_has_a_run``.
        Doubted: ``run_would_fail``.
        Missing: If the line, protocol or meter is not there.
        OnHold: ``protocol_on_hold``.
        Refused: If protocol, meter, belt or readings are not in order.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Opened:
        locking.enter_gate()
        today = day_of(act.workshop, act.now)
        lines = Place.objects.filter(pk=line_id, kind=PlaceKind.LINE, active=True)
        line = need_row(lines, "line")
        protocol = protocol_in_force(protocol_id, today)
        newest = calibration_in_force(meter_id, today, protocol)
        through, rows = _measured(protocol, belt, readings, by_dosimeter=by_dosimeter)
        run = Run(
            line=line,
            protocol=protocol,
            meter_id=meter_id,
            zone_um=through.zone_um,
            belt_um_s=through.belt_um_s,
            exposure_ms=pass_ms(through),
            passes=through.passes,
            rel_u_ppm=newest.rel_u_ppm,
            belt_u_ppm=through.u_ppm,
            zone_u_ppm=through.zone_u_ppm,
            decline_ppm=through.decline_ppm,
            opened_at=act.now,
            number=take(act.workshop.site, numbers.Kind.RUN)[0],
        )
        why = _sure(run, rows, sure)
        _insert(run)
        act.write(*reading_rows(run, rows))
        return Opened(run=run.number, sure=why)

    return perform(
        "open_run",
        work,
        Opened,
        sign,
        line=line_id,
        protocol=protocol_id,
        meter=meter_id,
        belt=vars(belt),
        readings=[list(value) for value in readings],
        by_dosimeter=by_dosimeter,
        sure=sure,
    )


def _sure(run: Run, readings: list[Reading], sure: str) -> str:
    """Ask about a run that its own opening readings fail, and give the reason."""
    for side in doses_by(run, readings):
        if side.passed:
            continue
        if not sure.strip():
            raise Doubted(
                "run_would_fail",
                side=side.side,
                low=written(side.low_uj_cm2, 1000),
                required=written(side.required_uj_cm2, 1000),
            )
        return need_reason(sure)
    return ""


def _measured(
    protocol: Protocol, belt: Belt, readings: Values, *, by_dosimeter: bool
) -> tuple[Belt, list[Reading]]:
    """What a run is opened with: its times, and its checked readings."""
    if not by_light(protocol):
        if readings or by_dosimeter:
            raise Refused("readings_without_light", protocol=str(protocol))
        return held_belt(belt, protocol), []
    if by_dosimeter and not readings:
        return belt, []
    taken = readings_of(readings, Moment.OPENING)
    for side in protocol.required():
        if not by_dosimeter and all(reading.side != side for reading in taken):
            raise Refused("side_not_read", side=side)
    return belt, taken


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

    return perform("put_on", work, OnLine, sign, run=run_id, bag=bag_id)


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

    return perform("take_off", work, OnLine, sign, run=run_id, bag=bag_id, short=short)


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

    return perform("scan_bag", work, OnLine, sign, run=run_id, bag=bag_id)


def _lock(run_id: int, bag_id: int) -> tuple[Bag, Run]:
    locking.enter_gate()
    bag = locking.lock_row(Bag, bag_id, "lot__part", "lot__revision")
    return bag, lock_open_run(run_id)


def _put_on(act: Act, bag: Bag, run: Run) -> OnLine:
    _all_on(act, [bag], run)
    return OnLine(run=run.number, bag=bag.number, stage=bag.stage)


def _take_off(act: Act, bag: Bag, run: Run, *, short: bool) -> OnLine:
    moved = go_off(bag, run, act.now, short=short)
    save_bags([bag])
    act.write(moved)
    return OnLine(run=run.number, bag=bag.number, stage=bag.stage)


def _all_on(act: Act, bags: list[Bag], run: Run) -> None:
    protocol_in_force(run.protocol_id, day_of(act.workshop, act.now))
    reach = standing_reach()
    went = [go_on(bag, run, reach, act.now) for bag in bags]
    save_bags(bags)
    bulk.insert([stay for _, stay in went])
    act.write(*(moved for moved, _ in went))


def scan_carrier(*, run_id: int, carrier_id: int, sign: Sign) -> CarrierOnLine:
    """Take one scan of a carrier: all its bags go on the line, or all come off it.

    They come off where all of them are on; they go on where none is. One bag that is
    refused keeps every other where it is, and is named.

    Args:
        run_id: The run.
        carrier_id: The carrier.
        sign: Who, when and the operation key.

    Returns:
        The carrier, the stage of its bags and how many they are.

    Raises:
        Missing: If the run or carrier is not there.
        OnHold: As ``put_on``.
        Refused: ``carrier_empty``, ``carrier_half_on``, or as ``put_on`` and
            ``take_off``.
        WrongStage: As ``put_on`` and ``take_off``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> CarrierOnLine:
        locking.enter_gate()
        carrier = locking.lock_row(Carrier, carrier_id)
        found = Bag.objects.filter(carrier=carrier).exclude(stage=BagStage.USED_UP)
        bags = locking.lock_found(found)
        run = lock_open_run(run_id)
        if not bags:
            raise Refused("carrier_empty", carrier=carrier.number)
        stays = RunBag.objects.filter(run=run, bag__in=bags)
        seen = set(stays.values_list("bag", flat=True))
        off = [bag.number for bag in bags if bag.pk not in seen]
        if seen and off:
            raise Refused("carrier_half_on", carrier=carrier.number, bag=off[0])
        if seen:
            moved = [go_off(bag, run, act.now) for bag in bags]
            save_bags(bags)
            act.write(*moved)
        else:
            _all_on(act, bags, run)
            carrier.place_id = run.line_id
            carrier.save(update_fields=["place"])
        return CarrierOnLine(
            run=run.number,
            carrier=carrier.number,
            stage=bags[0].stage,
            bags=len(bags),
        )

    return perform(
        "scan_carrier", work, CarrierOnLine, sign, run=run_id, carrier=carrier_id
    )
