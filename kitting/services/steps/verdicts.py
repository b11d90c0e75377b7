"""Inner steps of a run's end: its doses, its verdict and where its bags go."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kitting.domain import exposure
from kitting.domain.stages import BagStage, MovementKind
from kitting.models import Bag, Guarded, Movement, Reading, Run, RunBag, RunVerdict
from kitting.services.steps.bags import Change, change
from kitting.services.steps.lines import came_off_early

if TYPE_CHECKING:
    from collections.abc import Sequence

LONGEST_REASON = 200


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


def judge(
    run: Run, closing: Sequence[exposure.Reading], rel_u_ppm: int
) -> tuple[list[Guarded], bool]:
    """Judge a run by the lower bound of the dose at the weakest point of each side.

    Args:
        run: The run with its opening readings on record.
        closing: Its closing readings.
        rel_u_ppm: Relative expanded uncertainty of the meter in ppm.

    Returns:
        A verdict for each required side, not yet inserted, and whether all are met.

    Raises:
        Refused: If a side that the protocol requires was not read.
    """
    opening = [
        exposure.Reading(row.point, row.side, row.moment, row.uw_cm2)  # type: ignore[arg-type]
        for row in run.readings.all()
    ]
    doses = exposure.run_dose(
        [*opening, *closing],
        exposure_ms=run.exposure_ms,
        passes=run.passes,
        rel_u_ppm=rel_u_ppm,
    )
    verdict = exposure.verdict(doses, run.protocol.required())  # type: ignore[arg-type]
    rows: list[Guarded] = [
        RunVerdict(
            run=run,
            side=side.dose.side,
            required_uj_cm2=side.required_uj_cm2,
            dose_uj_cm2=side.dose.measured_uj_cm2,
            low_uj_cm2=side.dose.low_uj_cm2,
            rel_u_ppm=rel_u_ppm,
            passed=side.met,
        )
        for side in verdict.sides
    ]
    return rows, verdict.passed


def after_run(bag: Bag, stay: RunBag, run: Run, *, passed: bool) -> Movement:
    """Clear a bag, or send it back to accepted.

    Args:
        bag: The bag, locked; exposed.
        stay: Its stay in the run.
        run: The run that ends.
        passed: Whether the run met its protocol.

    Returns:
        The movement, not yet inserted.
    """
    if not passed:
        return return_bag(bag, run, f"run {run.number} failed")
    if came_off_early(stay, run):
        return return_bag(bag, run, f"came off run {run.number} before its passes")
    bag.passes += run.passes
    bag.cleared_run = run
    return change(bag, Change(MovementKind.CLEARED, bag.pieces, to=BagStage.CLEARED))


def return_bag(bag: Bag, run: Run, reason: str) -> Movement:
    """Send a bag of a run back to accepted; the passes wore it all the same.

    Args:
        bag: The bag, locked; exposed.
        run: The run that ends.
        reason: Why it was not cleared.

    Returns:
        The movement, not yet inserted.
    """
    bag.passes += run.passes
    what = Change(
        MovementKind.NOT_CLEARED,
        bag.pieces,
        to=BagStage.ACCEPTED,
        reason=reason[:LONGEST_REASON],
    )
    return change(bag, what)
