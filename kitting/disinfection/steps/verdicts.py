"""Inner steps of a run's end: its doses, its verdict and where its bags go."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from kitting.disinfection.queries.doses import needed_hold, readings_on_record
from kitting.disinfection.steps.lines import by_light, came_off_early
from kitting.domain import doses, exposure, holding, margins
from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage, MovementKind
from kitting.lots.steps.bags import Change, change
from kitting.models import (
    Bag,
    Dosimeter,
    Guarded,
    Movement,
    Reading,
    Run,
    RunBag,
    RunVerdict,
)

LONGEST_REASON = 200
MOST_DOSIMETERS = 20


def reading_rows(run: Run, readings: Sequence[exposure.Reading]) -> list[Guarded]:
    """Readings as rows of a run.

    Args:
        run: The run.
        readings: Checked readings.

    Returns:
        Rows that are not yet inserted.
    """
    return [
        Reading(
            run=run,
            point=reading.point,
            side=reading.side,
            moment=reading.moment,
            uw_cm2=reading.uw_cm2,
        )
        for reading in readings
    ]


def dosimeters_of(
    run: Run, values: Sequence[tuple[str, int, int]]
) -> tuple[list[doses.Dosed], list[Guarded]]:
    """Dosimeters as entered, checked for sense.

    Args:
        run: The run that they went through.
        values: Side, dose in µJ/cm² and relative expanded uncertainty in ppm of each.

    Returns:
        The doses, and their rows, not yet inserted.

    Raises:
        Refused: ``dosimeters_too_many``, ``dosimeter_side``,
            ``dosimeter_dose_out_of_range``, ``uncertainty_out_of_range``.
    """
    if len(values) > MOST_DOSIMETERS:
        raise Refused("dosimeters_too_many", most=MOST_DOSIMETERS)
    found: list[doses.Dosed] = []
    for nth, (side, uj_cm2, rel_u_ppm) in enumerate(values, start=1):
        if side not in exposure.SIDES:
            raise Refused("dosimeter_side", side=side)
        if not 0 <= uj_cm2 <= doses.MAX_UJ_CM2:
            raise Refused("dosimeter_dose_out_of_range", value=uj_cm2)
        margins.margin_ppm(rel_u_ppm)
        found.append(doses.Dosed(nth, side, uj_cm2, rel_u_ppm))
    rows: list[Guarded] = [
        Dosimeter(
            run=run,
            nth=each.nth,
            side=each.side,
            uj_cm2=each.uj_cm2,
            rel_u_ppm=each.rel_u_ppm,
        )
        for each in found
    ]
    return found, rows


def light_verdict(
    run: Run,
    readings: Sequence[exposure.Reading],
    dosed: Sequence[doses.Dosed],
    rel_u_ppm: int,
) -> exposure.Verdict:
    """Judge a run by the lower bound of the dose at the weakest point of each side.

    Args:
        run: The run, for its times, its other uncertainties and its protocol.
        readings: All its readings; may be empty where dosimeters went through.
        dosed: Its dosimeters.
        rel_u_ppm: Relative expanded uncertainty of the meter in ppm.

    Returns:
        The verdict.

    Raises:
        Refused: If a side that the protocol requires was not measured.
    """
    found = exposure.run_dose(
        readings,
        exposure_ms=run.exposure_ms,
        passes=run.passes,
        rel_u_ppm=rel_u_ppm,
        belt_u_ppm=run.path_u_ppm,
        decline_ppm=run.decline_ppm,
    )
    counted = doses.with_dosimeters(
        found, dosed, belt_u_ppm=run.path_u_ppm, decline_ppm=run.decline_ppm
    )
    return exposure.verdict(counted, run.protocol.required())  # type: ignore[arg-type]


def judge(
    run: Run,
    closing: Sequence[exposure.Reading],
    dosed: Sequence[doses.Dosed],
    rel_u_ppm: int,
) -> tuple[list[Guarded], bool]:
    """Judge a run by UV-C at its end.

    Args:
        run: The run with its opening readings on record.
        closing: Its closing readings.
        dosed: Its dosimeters.
        rel_u_ppm: Relative expanded uncertainty of the meter in ppm.

    Returns:
        A verdict for each required side, not yet inserted, and whether all are met.

    Raises:
        Refused: If a side that the protocol requires was not measured.
    """
    both = [*readings_on_record(run), *closing]
    verdict = light_verdict(run, both, dosed, rel_u_ppm)
    return light_rows(run, verdict), verdict.passed


def light_rows(run: Run, verdict: exposure.Verdict) -> list[Guarded]:
    """Write down the verdict on a run by UV-C.

    Args:
        run: The run.
        verdict: What was judged.

    Returns:
        A row for each required side, not yet inserted.
    """
    return [
        RunVerdict(
            run=run,
            side=side.dose.side,
            required_uj_cm2=side.required_uj_cm2,
            dose_uj_cm2=side.dose.measured_uj_cm2,
            low_uj_cm2=side.dose.low_uj_cm2,
            rel_u_ppm=side.dose.rel_u_ppm,
            passed=side.met,
        )
        for side in verdict.sides
    ]


def held_long_enough(
    run: Run,
    samples: Sequence[holding.Sample],
    since: datetime,
    until: datetime,
) -> bool:
    """Whether a run by heat or liquid held its value long enough between two moments.

    Args:
        run: The run with its protocol.
        samples: Its logged values.
        since: From here, as when a bag went on.
        until: To here, as when it came off.

    Returns:
        True if one unbroken hold is as long as the protocol asks.
    """
    hold = holding.longest_hold(samples, needed_hold(run), since=since, until=until)
    return hold.seconds >= (run.protocol.hold_s or 1)


def after_run(
    bag: Bag,
    stay: RunBag,
    run: Run,
    samples: Sequence[holding.Sample],
    *,
    passed: bool,
) -> Movement:
    """Clear a bag, or send it back to accepted.

    Args:
        bag: The bag, locked; exposed.
        stay: Its stay in the run.
        run: The run that ends.
        samples: The logged values of a run by heat or liquid; else empty.
        passed: Whether the run met its protocol.

    Returns:
        The movement, not yet inserted.
    """
    if not passed:
        return return_bag(bag, run, f"run {run.number} failed")
    if came_off_early(stay, run):
        return return_bag(bag, run, f"came off run {run.number} before its passes")
    if not by_light(run.protocol) and not held_long_enough(
        run, samples, stay.on_at, stay.off_at or stay.on_at
    ):
        words = f"run {run.number} did not hold long enough while it was in"
        return return_bag(bag, run, words)
    bag.passes += run.passes
    bag.cleared_run = run
    return change(bag, Change(MovementKind.CLEARED, bag.pieces, to=BagStage.CLEARED))


def return_bag(bag: Bag, run: Run, reason: str, *, worn: bool = True) -> Movement:
    """Send a bag of a run back to accepted; the passes wore it all the same.

    Args:
        bag: The bag, locked; exposed, or on a line that stopped.
        run: The run.
        reason: Why it was not cleared.
        worn: Whether the run's passes count; an interrupted pass counts nothing.

    Returns:
        The movement, not yet inserted.
    """
    if worn:
        bag.passes += run.passes
    what = Change(
        MovementKind.NOT_CLEARED,
        bag.pieces,
        to=BagStage.ACCEPTED,
        reason=reason[:LONGEST_REASON],
    )
    return change(bag, what)
