"""What a run has given so far: doses, holds, and the inverse questions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from kitting.domain import exposure, holding, margins
from kitting.domain.errors import Refused
from kitting.domain.figures import told
from kitting.models import Interruption, Movement, Run, RunValue, RunVerdict
from kitting.models.runs import UVC, Moment, Process

GAPS_IN_A_HOLD = 4
"""Heat wavers: its log must show a value at least every quarter of the hold. What was
measured of a liquid twice cannot have been lower in between: it only grows weaker."""
SHOWN_VALUES = 200


@dataclass(frozen=True)
class Expected:
    """The dose of one side that the opening readings would give."""

    side: str
    required_uj_cm2: int
    dose_uj_cm2: int
    low_uj_cm2: int
    rel_u_ppm: int
    passed: bool


@dataclass(frozen=True)
class Inverse:
    """What would just do on one side, at the weakest reading so far."""

    side: str
    point: int
    uw_cm2: int
    shortest_ms: int | None
    """Of one pass; None where no time is long enough."""
    fastest_um_s: int | None
    """None where nothing moves, or no belt is slow enough."""


@dataclass(frozen=True)
class Held:
    """How long a run by heat or liquid has held so far."""

    hold: holding.Hold
    required_s: int
    values: int
    shown: tuple[RunValue, ...]
    """The newest values, newest first."""
    needed: holding.Needed

    @property
    def enough(self) -> bool:
        """Whether it is as long as the protocol asks."""
        return self.hold.seconds >= self.required_s


@dataclass(frozen=True)
class Stop:
    """A time the line stopped."""

    reason: str
    at: datetime
    by: str
    bags: tuple[str, ...]


def readings_on_record(run: Run) -> list[exposure.Reading]:
    """The readings of a run that are written already.

    Args:
        run: The run.

    Returns:
        Its readings.
    """
    return [
        exposure.Reading(row.point, row.side, row.moment, row.uw_cm2)  # type: ignore[arg-type]
        for row in run.readings.all()
    ]


def expected_doses(run: Run) -> list[Expected]:
    """The dose per required side if the closing readings were the opening ones.

    Args:
        run: An open run.

    Returns:
        Top first; with the uncertainty of the meter at opening. A side that was not
        read, since a dosimeter goes through, is left out.
    """
    read = readings_on_record(run)
    return doses_by(run, (each for each in read if each.moment == str(Moment.OPENING)))


def doses_by(run: Run, opening: Iterable[exposure.Reading]) -> list[Expected]:
    """The same of a run that is about to be opened.

    Args:
        run: The run, with its protocol.
        opening: Its opening readings.

    Returns:
        As ``expected_doses``.
    """
    both = [
        replace(each, moment=moment) for each in opening for moment in exposure.MOMENTS
    ]
    doses = exposure.run_dose(
        both,
        exposure_ms=run.exposure_ms,
        passes=run.passes,
        rel_u_ppm=run.rel_u_ppm,
        belt_u_ppm=run.path_u_ppm,
        decline_ppm=run.decline_ppm,
    )
    return [
        Expected(
            side=side,
            required_uj_cm2=required,
            dose_uj_cm2=dose.measured_uj_cm2,
            low_uj_cm2=dose.low_uj_cm2,
            rel_u_ppm=run.rel_u_ppm,
            passed=dose.low_uj_cm2 >= required,
        )
        for side, dose in doses.items()
        if (required := run.protocol.required().get(side, 0))
    ]


def told_mj(run: Run, side: Expected | RunVerdict, uj_cm2: int) -> Decimal:
    """A dose or lower bound of a side as people are told it.

    Args:
        run: The run.
        side: What it was judged by.
        uj_cm2: The figure: its dose or its lower bound.

    Returns:
        mJ/cm², rounded down to what the uncertainty of the dose lets count.
    """
    share = margins.combined_ppm(side.rel_u_ppm, run.path_u_ppm)
    return told(
        in_mj(uj_cm2),
        in_mj(side.dose_uj_cm2) * share / margins.MILLION,
        in_mj(side.required_uj_cm2),
    )


def in_mj(uj_cm2: int) -> Decimal:
    """A dose in mJ/cm², exactly."""
    return Decimal(uj_cm2).scaleb(-3)


def margin_of(run: Run, rel_u_ppm: int | None = None) -> int:
    """The share of a dose that the lower bound of a run leaves out.

    Args:
        run: The run.
        rel_u_ppm: Of the meter or dosimeter that counted; None for the run's meter.

    Returns:
        Parts per million.
    """
    own = run.rel_u_ppm if rel_u_ppm is None else rel_u_ppm
    return margins.margin_ppm(own, run.path_u_ppm, run.decline_ppm)


def inverses(run: Run) -> list[Inverse]:
    """The shortest time and the fastest belt at the weakest readings so far.

    Args:
        run: The run.

    Returns:
        A row for each required side that was read, top first.
    """
    found = []
    for side, required in run.protocol.required().items():
        here = [row for row in run.readings.all() if row.side == side]
        if not here:
            continue
        weakest = min(here, key=lambda row: (row.uw_cm2, row.point))
        shortest, fastest = _inverse(run, required, weakest.uw_cm2)
        found.append(Inverse(side, weakest.point, weakest.uw_cm2, shortest, fastest))
    return found


def _inverse(run: Run, required: int, uw_cm2: int) -> tuple[int | None, int | None]:
    try:
        shortest = exposure.shortest_ms(
            required_uj_cm2=required,
            uw_cm2=uw_cm2,
            passes=run.passes,
            rel_u_ppm=margin_of(run),
        )
    except Refused:  # dark lamps, or nothing of the dose is sure
        return None, None
    if run.zone_um is None:
        return shortest, None
    try:
        fastest = exposure.fastest_belt_um_s(
            required_uj_cm2=required,
            uw_cm2=uw_cm2,
            zone_um=run.zone_um,
            passes=run.passes,
            rel_u_ppm=margin_of(run),
        )
    except Refused:
        return shortest, None
    return shortest, fastest


def needed_hold(run: Run) -> holding.Needed:
    """What the log of a run by heat or liquid is held against.

    Args:
        run: The run with its protocol.

    Returns:
        Minimum, uncertainty of the meter, and the longest gap.
    """
    protocol = run.protocol
    gap = None
    if protocol.process == Process.HEAT:
        gap = max(1, (protocol.hold_s or 0) // GAPS_IN_A_HOLD)
    return holding.Needed(protocol.min_value or 0, run.rel_u_ppm, gap)


def samples_of(run: Run) -> list[holding.Sample]:
    """The logged values of a run.

    Args:
        run: The run.

    Returns:
        Samples in no particular order.
    """
    return [holding.Sample(row.at, row.value) for row in run.values.all()]


def held(run: Run) -> Held | None:
    """How long a run by heat or liquid has held.

    Args:
        run: The run with its protocol.

    Returns:
        Its longest hold and newest values; None for a run by UV-C.
    """
    if run.protocol.process in UVC or not run.protocol.min_value:
        return None
    rows = sorted(run.values.all(), key=lambda row: row.at, reverse=True)
    needed = needed_hold(run)
    hold = holding.longest_hold(
        [holding.Sample(row.at, row.value) for row in rows],
        needed,
        since=run.opened_at,
        until=run.closed_at,
    )
    return Held(
        hold=hold,
        required_s=run.protocol.hold_s or 0,
        values=len(rows),
        shown=tuple(rows[:SHOWN_VALUES]),
        needed=needed,
    )


def stops(run: Run) -> list[Stop]:
    """When the line stopped during a run, and which bags lost their passes.

    Args:
        run: The run.

    Returns:
        Interruptions, oldest first.
    """
    found = Interruption.objects.filter(run=run).select_related("operation")
    rows = list(found.order_by("pk"))
    if not rows:
        return []
    lost: dict[int, list[str]] = {row.operation_id: [] for row in rows}
    moved = Movement.objects.filter(operation__in=lost).order_by("pk")
    for operation, bag in moved.values_list("operation_id", "bag__number"):
        lost[operation].append(bag)
    return [
        Stop(
            row.reason,
            row.operation.at,
            row.operation.by_name,
            tuple(lost[row.operation_id]),
        )
        for row in rows
    ]
