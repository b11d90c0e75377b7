"""Meters as the pages show them, and which meter may be used."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Count, F

from kitting.models import Calibration, Meter, MeterFault, Protocol
from kitting.models.runs import UVC

WARN_DAYS = 30
"""So many days before its due date a meter is spoken of. Common practice: a workshop
has to send it away in time."""


@dataclass(frozen=True)
class MeterLine:
    """A meter as of one day."""

    meter: Meter
    newest: Calibration | None
    """Its newest calibration on or before that day."""
    fault: MeterFault | None
    """The fault since which it was not calibrated."""
    today: date
    runs: int = 0

    @property
    def state(self) -> str:
        """Ready, due soon, overdue, found wrong or never calibrated; one word each."""
        if self.fault is not None:
            return "wrong"
        if self.newest is None:
            return "never"
        if self.newest.due < self.today:
            return "overdue"
        return "soon" if self.days_left <= WARN_DAYS else "ready"

    @property
    def days_left(self) -> int:
        """Days from today to the due date; below 0 when it is past."""
        return 0 if self.newest is None else (self.newest.due - self.today).days

    @property
    def usable(self) -> bool:
        """Whether a run may be measured with it today."""
        return self.state in {"ready", "soon"}


def mended(fault: MeterFault, calibrations: Iterable[Calibration]) -> bool:
    """Whether a meter was calibrated since a fault was found.

    Args:
        fault: The fault.
        calibrations: All calibrations of the meter.

    Returns:
        True if one was made on that day or later, and recorded after the fault.
    """
    return any(
        row.on >= fault.found_on and row.operation_id > fault.operation_id
        for row in calibrations
    )


def standing_fault(meter_id: int) -> MeterFault | None:
    """The fault since which a meter was not calibrated.

    Args:
        meter_id: The meter.

    Returns:
        The newest such fault, or None.
    """
    calibrations = list(Calibration.objects.filter(meter=meter_id))
    faults = MeterFault.objects.filter(meter=meter_id).order_by("-pk")
    return next((row for row in faults if not mended(row, calibrations)), None)


def sees(calibration: Calibration, protocol: Protocol) -> bool:
    """Whether a calibration covers what a protocol is about.

    Args:
        calibration: The calibration; with a spectral range it is of a radiometer.
        protocol: The protocol; one by light that names no spectrum is covered by any.

    Returns:
        True where the whole spectrum is covered; for heat and liquids, where the meter
        is none for light.
    """
    if protocol.process not in UVC:
        return calibration.low_nm is None
    if protocol.low_nm is None or protocol.high_nm is None:
        return True
    if calibration.low_nm is None or calibration.high_nm is None:
        return False
    return (
        calibration.low_nm <= protocol.low_nm
        and protocol.high_nm <= calibration.high_nm
    )


def meter_lines(today: date) -> list[MeterLine]:
    """Every meter in the order of its serial, as of a day.

    Args:
        today: The workshop's day.

    Returns:
        Meters with their newest calibration, standing fault and number of runs.
    """
    meters = Meter.objects.annotate(used=Count("runs")).prefetch_related(
        "calibrations", "faults"
    )
    return [
        replace(
            _line(meter, meter.calibrations.all(), meter.faults.all(), today),
            runs=meter.used,
        )
        for meter in meters.order_by("serial")
    ]


def _line(
    meter: Meter,
    calibrations: Iterable[Calibration],
    faults: Iterable[MeterFault],
    today: date,
) -> MeterLine:
    every = list(calibrations)
    made = [row for row in every if row.on <= today]
    newest_first = sorted(faults, key=lambda row: row.pk, reverse=True)
    return MeterLine(
        meter=meter,
        newest=max(made, key=lambda row: (row.on, row.pk), default=None),
        fault=next((row for row in newest_first if not mended(row, every)), None),
        today=today,
    )


def ready_meters(today: date, protocol: Protocol | None = None) -> list[MeterLine]:
    """Meters that may be used on a day.

    Args:
        today: The workshop's day.
        protocol: For this protocol's spectrum; None for any.

    Returns:
        Meters in the order of their serials.
    """
    return [
        line
        for line in meter_lines(today)
        if line.usable
        and (protocol is None or line.newest is None or sees(line.newest, protocol))
    ]


def meters_to_see_to(today: date) -> list[MeterLine]:
    """Meters that somebody should send away: due soon, overdue or found wrong.

    Args:
        today: The workshop's day.

    Returns:
        Meters in the order of their due dates, without their runs; one never calibrated is left out, as
        nobody has relied on it yet.
    """
    made: dict[Meter, dict[int, Calibration]] = defaultdict(dict)
    faults: dict[Meter, dict[int, MeterFault]] = defaultdict(dict)
    # One question: each calibration beside each fault of its meter, or beside none.
    names = ("id", "meter_id", "operation_id", "found_on", "reason")
    beside = {f"fault_{name}": F(f"meter__faults__{name}") for name in names}
    for row in Calibration.objects.select_related("meter").annotate(**beside):
        made[row.meter][row.pk] = row
        fault = MeterFault(**{name: getattr(row, f"fault_{name}") for name in names})
        if fault.pk is not None:
            faults[row.meter][fault.pk] = fault
    lines = (
        _line(each, rows.values(), faults[each].values(), today)
        for each, rows in made.items()
    )
    found = [
        line for line in lines if line.newest is not None and line.state != "ready"
    ]
    return sorted(found, key=lambda line: (line.days_left, line.meter.serial))
