"""Inner steps of a run: protocol, meter and what may go on the line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from kitting.domain import exposure, margins
from kitting.domain.entries import Belt
from kitting.domain.errors import OnHold, Refused
from kitting.ledger.covering import load_of
from kitting.ledger.needs import need_row
from kitting.ledger.reach import Reach, refuse_held, refuse_held_bag
from kitting.models import Bag, Cover, Protocol, Run, RunBag
from kitting.models.runs import UVC, Moment

MOST_UW_CM2 = 10_000_000
"""10 W/cm² in µW/cm²: a slip of the unit, not a lamp over a line."""
MOST_POINTS = 99
MOST_PASSES = 100
LONGEST_PASS_MS = 86_400_000
"""A day."""
MOST_UM = 100_000_000
"""100 m, or 100 m/s, in µm: no line is longer and no belt faster."""


def by_light(protocol: Protocol) -> bool:
    """Whether a protocol works by UV-C; else it holds a value for a time.

    Args:
        protocol: The protocol.

    Returns:
        True for a belt or cabinet, False for heat or liquid.
    """
    return protocol.process in UVC


def held_belt(belt: Belt, protocol: Protocol) -> Belt:
    """How long a bag stays at least in a run by heat or liquid: the hold, once.

    Args:
        belt: As it was entered; everything must be left empty.
        protocol: The protocol, with its hold.

    Returns:
        One pass of the hold's time.

    Raises:
        Refused: ``belt_without_light`` if a belt or a time was entered,
            ``hold_not_stated`` if the protocol names no time or no minimum.
    """
    if belt != Belt():
        raise Refused("belt_without_light")
    if not protocol.hold_s or not protocol.min_value:
        raise Refused("hold_not_stated", protocol=str(protocol))
    return Belt(exposure_ms=protocol.hold_s * 1000)


def pass_ms(belt: Belt) -> int:
    """The time of one pass, rounded down.

    Args:
        belt: Zone and speed, or a time; and the passes.

    Returns:
        Time of one pass in ms, above 0.

    Raises:
        Refused: ``belt_half_given``, ``belt_or_time``, ``passes_too_many``,
            ``pass_too_long``, ``zone_too_long``, ``belt_too_fast``, or what is absurd.
    """
    _check_uncertainties(belt)
    for code in exposure.sanity(passes=belt.passes):
        raise Refused(code, value=belt.passes)
    if belt.passes > MOST_PASSES:
        raise Refused("passes_too_many", passes=belt.passes, most=MOST_PASSES)
    if (belt.zone_um is None) != (belt.belt_um_s is None):
        raise Refused("belt_half_given")
    if belt.zone_um is None or belt.belt_um_s is None:
        time_ms = belt.exposure_ms or 0
    elif belt.exposure_ms is not None:
        raise Refused("belt_or_time")
    else:
        time_ms = exposure.exposure_ms(belt.zone_um, belt.belt_um_s)
        if belt.zone_um > MOST_UM:
            raise Refused("zone_too_long", most=MOST_UM // 1_000_000)
        if belt.belt_um_s > MOST_UM:
            raise Refused("belt_too_fast", most=MOST_UM // 1_000_000)
    for code in exposure.sanity(exposure_ms=time_ms):
        raise Refused(code, value=time_ms)
    if time_ms > LONGEST_PASS_MS:
        raise Refused("pass_too_long", hours=LONGEST_PASS_MS // 3_600_000)
    return time_ms


def _check_uncertainties(belt: Belt) -> None:
    margins.margin_ppm(0, belt.u_ppm, belt.decline_ppm)
    if not 0 <= belt.zone_u_ppm < margins.MILLION:
        raise Refused("zone_u_out_of_range", value=belt.zone_u_ppm)
    path_u_ppm = margins.combined_ppm(belt.u_ppm, belt.zone_u_ppm)
    margins.margin_ppm(0, path_u_ppm, belt.decline_ppm)


def off_from(stay: RunBag, run: Run) -> datetime:
    """From when a bag has had all its passes.

    Args:
        stay: Its stay in the run.
        run: The run.

    Returns:
        The moment it went on and the time of all passes.
    """
    return stay.on_at + timedelta(milliseconds=run.exposure_ms * run.passes)


def came_off_early(stay: RunBag, run: Run) -> bool:
    """Whether a bag that is off the line was taken off before its passes were over.

    Args:
        stay: Its stay in the run.
        run: The run.

    Returns:
        True for one that has not had its dose; False for one that is still on.
    """
    return stay.off_at is not None and stay.off_at < off_from(stay, run)


def protocol_in_force(protocol_id: int, on: date) -> Protocol:
    """A protocol that is in force on a day.

    Args:
        protocol_id: The protocol.
        on: The workshop's day.

    Returns:
        The protocol.

    Raises:
        Missing: If there is no such protocol.
        OnHold: ``protocol_on_hold``.
        Refused: ``protocol_not_in_force``, ``protocol_not_signed``.
    """
    protocol = need_row(Protocol.objects.filter(pk=protocol_id))
    until = protocol.in_force_until
    if on < protocol.in_force_from or (until is not None and on > until):
        raise Refused("protocol_not_in_force", protocol=str(protocol), on=on)
    if not protocol.signed_by.strip():
        raise Refused("protocol_not_signed", protocol=str(protocol))
    refuse_held("protocol", protocol.pk, "protocol_on_hold", protocol=str(protocol))
    return protocol


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
        Refused: ``readings_missing``, ``reading_twice``, ``reading_place``, or what is
            absurd about one.
    """
    if not values:
        raise Refused("readings_missing", moment=str(moment))
    places = [(point, side) for point, side, _ in values]
    if len(set(places)) != len(places):
        raise Refused("reading_twice")
    for point, side, uw_cm2 in values:
        if side not in exposure.SIDES or not 1 <= point <= MOST_POINTS:
            raise Refused("reading_place", point=point, side=side, most=MOST_POINTS)
        for code in exposure.sanity(uw_cm2=uw_cm2):
            if code != "irradiance_zero":  # a dark lamp is read like another
                raise Refused(code, value=uw_cm2)
        if uw_cm2 > MOST_UW_CM2:
            raise Refused("irradiance_too_high", value=f"{uw_cm2} µW/cm²")
    return [
        exposure.Reading(point=point, side=side, moment=moment.value, uw_cm2=uw_cm2)  # type: ignore[arg-type]
        for point, side, uw_cm2 in values
    ]


def refuse_other_points(run: Run, closing: Sequence[exposure.Reading]) -> None:
    """Refuse closing readings that were taken elsewhere than the opening ones.

    Args:
        run: The open run.
        closing: Its closing readings.

    Raises:
        Refused: ``reading_missing``, ``reading_elsewhere``.
    """
    opened = set(
        run.readings.filter(moment=Moment.OPENING).values_list("point", "side")
    )
    closed = {(reading.point, str(reading.side)) for reading in closing}
    for point, side in sorted(opened - closed):
        raise Refused("reading_missing", point=point, side=side, moment="closing")
    for point, side in sorted(closed - opened):
        raise Refused("reading_elsewhere", point=point, side=side)


def refuse_uncovered(run: Run, bag: Bag, reach: Reach) -> Cover | None:
    """Refuse a bag that the run's protocol does not cover, or that is held.

    Args:
        run: The open run.
        bag: The bag, with its lot and part.
        reach: What is held now.

    Returns:
        What the bag goes on by, where the protocol does not name its revision itself.

    Raises:
        OnHold: If the bag or the run is held.
        Refused: ``part_needs_no_clearing``, ``not_covered``, ``too_many_pieces``.
    """
    lot = bag.lot
    if not lot.part.needs_clearing:
        raise Refused("part_needs_no_clearing", bag=bag.number, part=lot.part.name)
    refuse_held_bag(bag, reach)
    why = reach.why_run(run)
    if why is not None:
        raise OnHold("run_on_hold", run=run.number, by=why.by, reason=why.reason)
    load, cover = load_of(bag, run.protocol_id)
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
    return cover
