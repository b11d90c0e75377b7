"""Inner steps of a run: protocol, meter and what may go on the line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kitting.domain import exposure
from kitting.domain.errors import Missing, OnHold, Refused
from kitting.models import Calibration, Protocol, Run
from kitting.models.runs import Moment

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from kitting.models import Bag
    from kitting.reach import Reach


def protocol_in_force(protocol_id: int, on: date) -> Protocol:
    """A protocol that is in force on a day.

    Args:
        protocol_id: The protocol.
        on: The workshop's day.

    Returns:
        The protocol.

    Raises:
        Missing: If there is no such protocol.
        Refused: ``protocol_not_in_force``, ``protocol_not_signed``.
    """
    protocol = Protocol.objects.filter(pk=protocol_id).first()
    if protocol is None:
        raise Missing("row_missing", what="protocol")
    until = protocol.in_force_until
    if on < protocol.in_force_from or (until is not None and on > until):
        raise Refused("protocol_not_in_force", protocol=str(protocol), on=on)
    if not protocol.signed_by:
        raise Refused("protocol_not_signed", protocol=str(protocol))
    return protocol


def uncertainty_of(meter_id: int, on: date) -> int:
    """The relative expanded uncertainty of a meter that is in calibration.

    Args:
        meter_id: The meter.
        on: The workshop's day.

    Returns:
        Parts per million, of the newest calibration on or before the day.

    Raises:
        Refused: ``meter_not_calibrated``, ``meter_out_of_calibration``.
    """
    newest = (
        Calibration.objects.filter(meter=meter_id, on__lte=on)
        .order_by("-on", "-pk")
        .first()
    )
    if newest is None:
        raise Refused("meter_not_calibrated")
    if newest.due < on:
        raise Refused("meter_out_of_calibration", due=newest.due, on=on)
    return newest.rel_u_ppm


def readings_of(
    values: Sequence[tuple[int, str, int]], moment: Moment
) -> list[exposure.Reading]:
    """Readings as entered, checked for sense.

    Args:
        values: Point, side and irradiance in µW/cm², one for each reading.
        moment: Opening or closing.

    Returns:
        The readings.

    Raises:
        Refused: ``readings_missing``, ``reading_twice``, or what is absurd about one.
    """
    if not values:
        raise Refused("readings_missing", moment=str(moment))
    places = [(point, side) for point, side, _ in values]
    if len(set(places)) != len(places):
        raise Refused("reading_twice")
    for _, _, uw_cm2 in values:
        for code in exposure.sanity(uw_cm2=uw_cm2):
            if code != "irradiance_zero":
                raise Refused(code, value=uw_cm2)
    return [
        exposure.Reading(point=point, side=side, moment=moment.value, uw_cm2=uw_cm2)  # type: ignore[arg-type]
        for point, side, uw_cm2 in values
    ]


def refuse_uncovered(run: Run, bag: Bag, reach: Reach) -> None:
    """Refuse a bag that the run's protocol does not cover, or that is held.

    Args:
        run: The open run.
        bag: The bag, with its lot and part.
        reach: What is held now.

    Raises:
        OnHold: If the bag or the run is held.
        Refused: ``part_needs_no_clearing``, ``not_covered``, ``too_many_pieces``.
    """
    lot = bag.lot
    if not lot.part.needs_clearing:
        raise Refused("part_needs_no_clearing", bag=bag.number, part=lot.part.name)
    if reach.bag(bag):
        raise OnHold("bag_on_hold", bag=bag.number)
    if run.pk in reach.runs:
        raise OnHold("run_on_hold", run=run.number)
    load = run.protocol.loads.filter(
        part=lot.part_id, revision=lot.revision_id, container=bag.container
    ).first()
    if load is None:
        raise Refused(
            "not_covered",
            bag=bag.number,
            protocol=str(run.protocol),
            part=lot.part.name,
            revision=lot.revision.code,
            container=bag.container,
        )
    if bag.pieces > load.max_pieces:
        raise Refused(
            "too_many_pieces", bag=bag.number, pieces=bag.pieces, most=load.max_pieces
        )
