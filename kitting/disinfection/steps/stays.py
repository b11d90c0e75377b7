"""Inner steps of bags on a line: on, off, and what their parts can still take."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from kitting.disinfection.queries.doses import readings_on_record
from kitting.disinfection.steps.lines import off_from, refuse_uncovered
from kitting.domain import doses
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.figures import significant, written
from kitting.domain.stages import BagStage, MovementKind, RunStage
from kitting.ledger import bulk, locking
from kitting.ledger.kept import Kept
from kitting.ledger.reach import Reach
from kitting.lots.steps.bags import Change, change, need_stage
from kitting.models import Bag, Movement, Run, RunBag


def lock_open_run(run_id: int) -> Run:
    """Lock a run that takes bags.

    Args:
        run_id: The run.

    Returns:
        The run.

    Raises:
        Missing: If there is no such run.
        WrongStage: ``run_closed``.
    """
    run = locking.lock_row(Run, run_id, "protocol")
    if run.stage != RunStage.OPEN:
        raise WrongStage("run_closed", run=run.number, stage=run.stage)
    return run


def go_on(bag: Bag, run: Run, reach: Reach, at: datetime) -> tuple[Movement, RunBag]:
    """Put a locked bag on the line in memory.

    Args:
        bag: The bag.
        run: The open run, locked; its protocol is in force.
        reach: What is held now.
        at: The moment.

    Returns:
        The movement and the stay, neither inserted.

    Raises:
        OnHold: If the bag, the run or its protocol is held.
        Refused: If the protocol does not cover the bag, it was on in this run before,
            or its parts can take no more; ``clock_behind`` before the run's opening:
            the bag would seem to have been on for as long as the clock was wrong.
        WrongStage: If it is not accepted, or in another run.
    """
    if at < run.opened_at:
        raise Refused("clock_behind", run=run.number)
    _refuse_other_run(bag, run)
    need_stage(bag, BagStage.ACCEPTED)
    cover = refuse_uncovered(run, bag, reach)
    _refuse_worn(bag, run)
    what = Change(
        MovementKind.WENT_ON,
        bag.pieces,
        to=BagStage.IN_RUN,
        place_id=run.line_id,
    )
    return change(bag, what), RunBag(run=run, bag=bag, on_at=at, cover=cover)


def _refuse_other_run(bag: Bag, run: Run) -> None:
    stays = _STAYS_OF(bag.pk)
    for stay in stays:
        if stay.live and stay.run_id != run.pk:
            raise WrongStage("bag_in_other_run", bag=bag.number, run=stay.run.number)
    if any(stay.run_id == run.pk for stay in stays):
        raise Refused("bag_was_on", bag=bag.number, run=run.number)


_STAYS_OF = Kept(lambda bag: RunBag.objects.filter(bag=bag).select_related("run"))


def go_off(bag: Bag, run: Run, at: datetime, *, short: bool = False) -> Movement:
    """Take a locked bag off the line in memory, and end its stay.

    Args:
        bag: The bag.
        run: The open run, locked.
        at: The moment.
        short: It is meant to come off before its passes are over.

    Returns:
        The movement, not yet inserted.

    Raises:
        Refused: ``bag_not_on``, ``bag_off_too_early``; ``clock_behind`` before it
            went on.
        WrongStage: ``bag_came_off``, or the bag is not on the line.
    """
    stays = [stay for stay in _STAYS_OF(bag.pk) if stay.live and stay.run_id == run.pk]
    if not stays:
        raise Refused("bag_not_on", bag=bag.number, run=run.number)
    (stay,) = stays
    if stay.off_at is not None:
        raise WrongStage("bag_came_off", bag=bag.number, run=run.number)
    need_stage(bag, BagStage.IN_RUN)
    if at < stay.on_at:
        raise Refused("clock_behind", run=run.number)
    left = off_from(stay, run) - at
    if left > timedelta(0) and not short:
        # Rounded up: after so many seconds it may come off.
        seconds = -(-left // timedelta(seconds=1))
        raise Refused("bag_off_too_early", bag=bag.number, seconds=seconds)
    moved = change(bag, Change(MovementKind.CAME_OFF, bag.pieces, to=BagStage.EXPOSED))
    stay.off_at = at
    bulk.update([stay], ["off_at"])
    return moved


def largest_dose(run: Run) -> int:
    """The largest dose that a part may have had in a run, by what was measured in it.

    Its upper bound counts, with the uncertainties by which the lower bound is judged.
    Where nothing was measured, it is what the protocol requires.

    Args:
        run: The run; its protocol, readings and dosimeters are read.

    Returns:
        Dose in µJ/cm².
    """
    largest = doses.largest_uj_cm2(
        readings_on_record(run),
        [
            doses.Dosed(row.nth, row.side, row.uj_cm2, row.rel_u_ppm)  # type: ignore[arg-type]
            for row in run.dosimeters.all()
        ],
        exposure_ms=run.exposure_ms,
        passes=run.passes,
        rel_u_ppm=run.rel_u_ppm,
        belt_u_ppm=run.path_u_ppm,
    )
    return largest or max(run.protocol.required().values(), default=0)


def _refuse_worn(bag: Bag, run: Run) -> None:
    """Refuse a bag whose parts could have more than they may take.

    The dose that ages a material is that of the strongest point, so each earlier run
    counts with it, released or not, and so does this run with its opening readings.
    """
    most = run.protocol.max_passes
    if most is not None and bag.passes + run.passes > most:
        raise Refused(
            "passes_over_most",
            bag=bag.number,
            had=bag.passes,
            passes=run.passes,
            most=most,
        )
    largest = bag.lot.part.max_dose_uj_cm2
    if largest is None:
        return
    earlier = (
        Run.objects.filter(run_bags__bag=bag, run_bags__off_at__isnull=False)
        .select_related("protocol")
        .prefetch_related("readings", "dosimeters")
    )
    had = sum(largest_dose(each) for each in earlier)
    if had + largest_dose(run) > largest:
        raise Refused(
            "dose_over_largest",
            bag=bag.number,
            part=bag.lot.part.name,
            had=_at_most(had),
            more=_at_most(largest_dose(run)),
            largest=written(largest, 1000),
        )


def _at_most(uj_cm2: int) -> str:
    """A dose in mJ/cm², rounded up, so that two which are too much add up to that."""
    return f"{significant(Decimal(uj_cm2).scaleb(-3), 3, up=True):f}"
