"""Meters: their calibrations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kitting.clock import day_of
from kitting.domain import exposure
from kitting.domain.errors import Missing, Refused
from kitting.models import Calibration, Meter
from kitting.operations import Act, Sign, perform


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
        Refused: ``calibration_dates``, ``calibration_in_future``,
            ``uncertainty_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Calibrated:
        meter = Meter.objects.filter(pk=meter_id).first()
        if meter is None:
            raise Missing("row_missing", what="meter")
        today = day_of(act.workshop, act.now)
        if due < on:
            raise Refused("calibration_dates", on=on, due=due)
        if on > today:
            raise Refused("calibration_in_future", on=on, today=today)
        for code in exposure.sanity(rel_u_ppm=rel_u_ppm):
            raise Refused(code, value=rel_u_ppm)
        act.write(Calibration(meter=meter, on=on, due=due, rel_u_ppm=rel_u_ppm))
        return Calibrated(meter=meter.serial, due=due.isoformat())

    sent = {"meter": meter_id, "on": on, "due": due, "rel_u_ppm": rel_u_ppm}
    return perform(
        "record_calibration", sign=sign, sent=sent, gives=Calibrated, work=work
    )
