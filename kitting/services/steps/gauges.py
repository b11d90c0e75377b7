"""Inner steps of measuring: whether a meter may be used, and for what."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kitting.domain.errors import Missing, Refused
from kitting.models import Calibration, Meter, MeterFault

if TYPE_CHECKING:
    from datetime import date

    from kitting.models import Protocol

WARN_DAYS = 30
"""So many days before its due date a meter is spoken of. Common practice; a workshop
has to send it away in time."""


def calibration_in_force(
    meter_id: int, on: date, protocol: Protocol | None = None
) -> Calibration:
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
            ``meter_found_wrong``, ``meter_range_unknown``, ``meter_blind``.
    """
    meter = Meter.objects.filter(pk=meter_id).first()
    if meter is None:
        raise Missing("row_missing", what="meter")
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
    if protocol is not None:
        _refuse_blind(meter, newest, protocol)
    return newest


def standing_fault(meter_id: int) -> MeterFault | None:
    """The fault that a meter has not been calibrated since.

    Args:
        meter_id: The meter.

    Returns:
        The newest one after which no calibration was recorded and made; or None.
    """
    since = list(
        Calibration.objects.filter(meter=meter_id).values_list("on", "operation_id")
    )
    for fault in MeterFault.objects.filter(meter=meter_id).order_by("-pk"):
        mended = any(
            on >= fault.found_on and operation > fault.operation_id
            for on, operation in since
        )
        if not mended:
            return fault
    return None


def sees(calibration: Calibration, protocol: Protocol) -> bool:
    """Whether a calibration covers the spectrum that a protocol is about.

    Args:
        calibration: The calibration.
        protocol: The protocol; one that names no spectrum is covered by any.

    Returns:
        True where the whole of it is covered.
    """
    if protocol.low_nm is None or protocol.high_nm is None:
        return True
    if calibration.low_nm is None or calibration.high_nm is None:
        return False
    return (
        calibration.low_nm <= protocol.low_nm
        and protocol.high_nm <= calibration.high_nm
    )


def _refuse_blind(meter: Meter, calibration: Calibration, protocol: Protocol) -> None:
    if sees(calibration, protocol):
        return
    wanted = f"{protocol.low_nm}–{protocol.high_nm}"
    if calibration.low_nm is None or calibration.high_nm is None:
        raise Refused("meter_range_unknown", meter=str(meter), wanted=wanted)
    raise Refused(
        "meter_blind",
        meter=str(meter),
        range=f"{calibration.low_nm}–{calibration.high_nm}",
        wanted=wanted,
    )
