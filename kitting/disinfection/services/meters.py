"""Meters: their calibrations, and what follows when one was found to read wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db import IntegrityError, transaction

from kitting.domain import exposure
from kitting.domain.errors import Conflict, Refused
from kitting.domain.stages import GONE, IN_HOUSE
from kitting.ledger import locking
from kitting.ledger.clock import day_of, start_of
from kitting.ledger.needs import need_reason, need_row, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import held_boxes, reach_of
from kitting.models import Bag, Box, Calibration, Hold, Meter, MeterFault, Run

SHORTEST_NM, LONGEST_NM = 100, 3_000
"""Wavelengths that a calibration may name: ultraviolet to the near infrared."""
LONGEST_REASON = 120
"""Of the reason why a meter is wrong: each run's hold names the meter before it."""
LONGEST = {"serial": 30, "name": 60}


@dataclass(frozen=True)
class Added:
    """A meter that was added."""

    meter: str


@dataclass(frozen=True)
class Calibrated:
    """A calibration on record."""

    meter: str
    due: str


@dataclass(frozen=True)
class FoundWrong:
    """What a wrong meter reaches."""

    meter: str
    runs: int
    """Runs that are held now."""
    bags: int
    """Bags that they cleared and that still hold pieces."""
    boxes_here: int
    boxes_gone: int
    """Boxes that have left: their consignees must be told."""


def add_meter(*, serial: str, name: str, sign: Sign) -> Added:
    """Add a meter: a radiometer, dosimeter, thermometer or kind of test strip.

    Args:
        serial: Its serial number; no other meter has it.
        name: What people call it.
        sign: Who, when and the operation key.

    Returns:
        The meter.

    Raises:
        Conflict: ``meter_exists``.
        Refused: ``meter_words_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Added:
        words = {
            what: need_text(what, text, LONGEST[what], missing="meter_words_missing")
            for what, text in {"serial": serial, "name": name}.items()
        }
        meter = Meter(**words)
        try:
            with transaction.atomic():  # a savepoint, to refuse in words
                meter.save(force_insert=True)
        except IntegrityError as error:
            raise Conflict("meter_exists", serial=meter.serial) from error
        return Added(meter=meter.serial)

    return perform("add_meter", work, Added, sign, serial=serial, name=name)


def record_calibration(
    *,
    meter_id: int,
    on: date,
    due: date,
    rel_u_ppm: int,
    low_nm: int | None = None,
    high_nm: int | None = None,
    sign: Sign,
) -> Calibrated:
    """Record that a meter was calibrated.

    Args:
        meter_id: The meter.
        on: Day of the calibration, not in the future.
        due: Last day on which it counts.
        rel_u_ppm: Relative expanded uncertainty (k = 2) in parts per million.
        low_nm: Shortest wavelength that it covers; None for a thermometer or strip.
        high_nm: Longest one.
        sign: Who, when and the operation key.

    Returns:
        The meter and the due date.

    Raises:
        Missing: If there is no such meter.
        Refused: ``calibration_dates``, ``calibration_in_future``,
            ``calibration_range``, ``uncertainty_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Calibrated:
        meter = _meter(meter_id)
        today = day_of(act.workshop, act.now)
        if due < on:
            raise Refused("calibration_dates", on=on, due=due)
        if on > today:
            raise Refused("calibration_in_future", on=on, today=today)
        for code in exposure.sanity(rel_u_ppm=rel_u_ppm):
            raise Refused(code, value=rel_u_ppm)
        _refuse_range(low_nm, high_nm)
        act.write(
            Calibration(
                meter=meter,
                on=on,
                due=due,
                rel_u_ppm=rel_u_ppm,
                low_nm=low_nm,
                high_nm=high_nm,
            )
        )
        return Calibrated(meter=meter.serial, due=due.isoformat())

    return perform(
        "record_calibration",
        work,
        Calibrated,
        sign,
        meter=meter_id,
        on=on,
        due=due,
        rel_u_ppm=rel_u_ppm,
        low_nm=low_nm,
        high_nm=high_nm,
    )


def _meter(meter_id: int) -> Meter:
    return need_row(Meter.objects.filter(pk=meter_id))


def _refuse_range(low_nm: int | None, high_nm: int | None) -> None:
    if low_nm is None and high_nm is None:
        return
    if low_nm is None or high_nm is None:
        raise Refused("calibration_range_half_given")
    if not SHORTEST_NM <= low_nm <= high_nm <= LONGEST_NM:
        raise Refused(
            "calibration_range",
            low=low_nm,
            high=high_nm,
            least=SHORTEST_NM,
            most=LONGEST_NM,
        )


def find_wrong(
    *,
    meter_id: int,
    found_on: date,
    good_id: int | None,
    reason: str,
    sign: Sign,
) -> FoundWrong:
    """Record that a meter was found to read wrong, and hold every run it spoiled.

    Those are the runs that were opened with it on the day of its last good calibration
    or later, whatever became of them. Each gets a hold of its own, so that it can be
    lifted by itself; the hold reaches every bag that the run cleared and every box that
    was packed from one. The meter is not used again until it is calibrated anew.

    Args:
        meter_id: The meter.
        found_on: The day it was found, not in the future.
        good_id: The last calibration that can still be believed; None where none can,
            which reaches every run the meter was ever used for.
        reason: What is wrong with it.
        sign: Who, when and the operation key.

    Returns:
        How many runs are held, and the boxes here and gone that this reaches.

    Raises:
        Missing: If the meter or its calibration is not there.
        Refused: ``reason_missing``, ``entry_too_long``, ``fault_in_future``,
            ``fault_before_calibration``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> FoundWrong:
        locking.shut_gate()
        meter = _meter(meter_id)
        words = need_reason(reason, LONGEST_REASON)
        today = day_of(act.workshop, act.now)
        if found_on > today:
            raise Refused("fault_in_future", on=found_on, today=today)
        runs = Run.objects.filter(meter=meter).order_by("pk")
        good = _good(meter, good_id, found_on)
        if good is not None:
            runs = runs.filter(opened_at__gte=start_of(act.workshop, good.on))
        said = f"Meter {meter.serial} found wrong on {found_on}: {words}"
        holds = [Hold(run=run, reason=said) for run in runs]
        act.write(MeterFault(meter=meter, found_on=found_on, reason=words), *holds)
        return _reached(meter, holds)

    return perform(
        "find_wrong",
        work,
        FoundWrong,
        sign,
        meter=meter_id,
        found_on=found_on,
        good=good_id,
        reason=reason,
    )


def _good(meter: Meter, good_id: int | None, found_on: date) -> Calibration | None:
    if good_id is None:
        return None
    good = need_row(Calibration.objects.filter(pk=good_id, meter=meter))
    if good.on > found_on:
        raise Refused("fault_before_calibration", on=found_on, good=good.on)
    return good


def _reached(meter: Meter, holds: list[Hold]) -> FoundWrong:
    reach = reach_of(holds)
    boxes = Box.objects.filter(pk__in=held_boxes(reach))
    stages = list(boxes.values_list("stage", flat=True))
    bags = Bag.objects.filter(cleared_run__in=reach.runs, pieces__gt=0)
    return FoundWrong(
        meter=meter.serial,
        runs=len(holds),
        bags=bags.count(),
        boxes_here=sum(stage in IN_HOUSE for stage in stages),
        boxes_gone=sum(stage in GONE for stage in stages),
    )
