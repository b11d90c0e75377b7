"""Inner steps of measuring: whether a meter may be used, and for what."""

from __future__ import annotations

from datetime import date

from kitting.disinfection.queries.meters import sees, standing_fault
from kitting.domain.errors import Refused
from kitting.ledger.needs import need_row
from kitting.models import Calibration, Meter, Protocol
from kitting.models.runs import UVC


def calibration_in_force(meter_id: int, on: date, protocol: Protocol) -> Calibration:
    """The calibration that a meter is used with on a day.

    Args:
        meter_id: The meter.
        on: The workshop's day.
        protocol: What is to be measured; its spectrum must lie in the calibration's.

    Returns:
        The newest calibration on or before the day.

    Raises:
        Missing: If there is no such meter.
        Refused: ``meter_not_calibrated``, ``meter_out_of_calibration``,
            ``meter_found_wrong``, ``meter_range_unknown``, ``meter_blind``,
            ``meter_reads_light``.
    """
    meter = need_row(Meter.objects.filter(pk=meter_id))
    newest = (
        Calibration.objects.filter(meter=meter_id, on__lte=on)
        .order_by("-on", "-pk")
        .first()
    )
    if newest is None:
        raise Refused("meter_not_calibrated")
    if newest.due < on:
        raise Refused("meter_out_of_calibration", due=newest.due, on=on)
    fault = standing_fault(meter_id)
    if fault is not None:
        raise Refused("meter_found_wrong", meter=str(meter), on=fault.found_on)
    _refuse_blind(meter, newest, protocol)
    return newest


def _refuse_blind(meter: Meter, calibration: Calibration, protocol: Protocol) -> None:
    if sees(calibration, protocol):
        return
    if protocol.process not in UVC:
        raise Refused("meter_reads_light", meter=str(meter), protocol=str(protocol))
    wanted = f"{protocol.low_nm}–{protocol.high_nm}"
    if calibration.low_nm is None or calibration.high_nm is None:
        raise Refused("meter_range_unknown", meter=str(meter), wanted=wanted)
    raise Refused(
        "meter_blind",
        meter=str(meter),
        range=f"{calibration.low_nm}–{calibration.high_nm}",
        wanted=wanted,
    )
