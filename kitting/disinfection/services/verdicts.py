"""The end of a run, and of passes that were interrupted: verdicts and returns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kitting.disinfection.queries.doses import samples_of
from kitting.disinfection.steps.lines import by_light, readings_of, refuse_other_points
from kitting.disinfection.steps.meters import calibration_in_force
from kitting.disinfection.steps.stays import lock_open_run
from kitting.disinfection.steps.verdicts import (
    after_run,
    dosimeters_of,
    held_long_enough,
    judge,
    reading_rows,
    return_bag,
)
from kitting.domain.errors import Conflict, Refused
from kitting.domain.stages import RunStage
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.bags import save_bags
from kitting.models import Bag, Guarded, Interruption, Run, RunBag
from kitting.models.runs import Moment

LONGEST_REASON = 150

Values = Sequence[tuple[int, str, int]]
"""Readings as entered: point, side, irradiance in µW/cm²."""
Doses = Sequence[tuple[str, int, int]]
"""Dosimeters as entered: side, dose in µJ/cm², relative expanded uncertainty in ppm."""


@dataclass(frozen=True)
class Judged:
    """The verdict on a run."""

    run: str
    stage: str
    bags: int


@dataclass(frozen=True)
class Stopped:
    """A line that stopped: how many bags lost their passes."""

    run: str
    bags: int


def close_run(
    *, run_id: int, readings: Values, dosimeters: Doses = (), sign: Sign
) -> Judged:
    """Close a run with its last measurements and judge it as a whole.

    By UV-C it is released if the lower bound of the dose at the weakest point meets
    the protocol on every side that it requires; where dosimeters went through as well,
    the lower of the two bounds counts. By heat or liquid it is released if one unbroken
    hold of its log is long enough. The bags are cleared then, but for those that were
    not in for it: they, and all of a failed run, go back to accepted.

    The meter must still be in calibration, for the closing readings are taken with it.
    The protocol is not asked again: it was in force, and not held, when the run opened
    and whenever a bag went on, and so counts for them. A hold that is placed on it
    later reaches the run and every bag that it clears; nothing of them is packed.

    Args:
        run_id: The run; all its bags are off the line.
        readings: Closing readings at the points and sides of the opening ones; none
            where the run was opened without any.
        dosimeters: What was carried through; may be empty.
        sign: Who, when and the operation key.

    Returns:
        The verdict and how many bags it moved.

    Raises:
        Missing: If there is no such run.
        Refused: If readings, dosimeters, values or meter are not in order, or bags are
            still on the line.
        WrongStage: If the run is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Judged:
        run, bags, stays = _lock_to_close(run_id)
        today = day_of(act.workshop, act.now)
        newest = calibration_in_force(run.meter_id, today, run.protocol)
        # The meter's uncertainty is the larger of those at opening and at closing.
        run.rel_u_ppm = max(run.rel_u_ppm, newest.rel_u_ppm)
        if by_light(run.protocol):
            rows, passed = _by_light(run, readings, dosimeters)
        else:
            rows, passed = _by_hold(act, run, readings, dosimeters)
        _end(run, act, RunStage.RELEASED if passed else RunStage.FAILED)
        samples = samples_of(run)
        moved = [
            after_run(bag, stays[bag.pk], run, samples, passed=passed) for bag in bags
        ]
        save_bags(bags)
        act.write(*rows, *moved)
        return Judged(run=run.number, stage=run.stage, bags=len(bags))

    return perform(
        "close_run",
        work,
        Judged,
        sign,
        run=run_id,
        readings=[list(value) for value in readings],
        dosimeters=[list(value) for value in dosimeters],
    )


def _by_light(
    run: Run, readings: Values, dosimeters: Doses
) -> tuple[list[Guarded], bool]:
    dosed, dosed_rows = dosimeters_of(run, dosimeters)
    opened = run.readings.filter(moment=Moment.OPENING).exists()
    taken = []
    if opened or readings:
        taken = readings_of(readings, Moment.CLOSING)
        refuse_other_points(run, taken)
    verdicts, passed = judge(run, taken, dosed, run.rel_u_ppm)
    return [*reading_rows(run, taken), *dosed_rows, *verdicts], passed


def _by_hold(
    act: Act, run: Run, readings: Values, dosimeters: Doses
) -> tuple[list[Guarded], bool]:
    if readings or dosimeters:
        raise Refused("readings_without_light", protocol=str(run.protocol))
    samples = samples_of(run)
    if not samples:
        raise Refused("values_not_logged", run=run.number)
    return [], held_long_enough(run, samples, run.opened_at, act.now)


def give_up_run(*, run_id: int, reason: str, sign: Sign) -> Judged:
    """End a run that cannot be closed with readings: it failed, without a dose.

    The lamps went out, or the meter broke or is due: all bags go back to accepted.

    Args:
        run_id: The run; all its bags are off the line.
        reason: Why, for the record of each bag.
        sign: Who, when and the operation key.

    Returns:
        The failed run and how many bags went back.

    Raises:
        Missing: If there is no such run.
        Refused: ``reason_missing``, ``bags_on_the_line``.
        WrongStage: If the run is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Judged:
        if not reason.strip():
            raise Refused("reason_missing")
        run, bags, _ = _lock_to_close(run_id)
        _end(run, act, RunStage.FAILED)
        words = f"run {run.number} given up: {reason.strip()}"
        moved = [return_bag(bag, run, words) for bag in bags]
        save_bags(bags)
        act.write(*moved)
        return Judged(run=run.number, stage=run.stage, bags=len(bags))

    return perform("give_up_run", work, Judged, sign, run=run_id, reason=reason)


def stop_line(*, run_id: int, reason: str, sign: Sign) -> Stopped:
    """Record that the line stopped: what lies on it has had no pass.

    Its bags go back to accepted, and no pass is counted. Their stays are struck out, so
    that they may go on this run again; what happened to them stands in their movements.
    Bags that had come off are left as they are, and the run goes on.

    Args:
        run_id: The open run.
        reason: What happened.
        sign: Who, when and the operation key.

    Returns:
        How many bags went back.

    Raises:
        Conflict: ``page_is_old`` if a bag went on at the same moment.
        Missing: If there is no such run.
        Refused: ``reason_missing``, ``entry_too_long``.
        WrongStage: If the run is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Stopped:
        words = need_reason(reason, LONGEST_REASON)
        run, locked, stays = _lock_live(run_id)
        on = {pk for pk, stay in stays.items() if stay.off_at is None}
        if not on <= {bag.pk for bag in locked}:
            raise Conflict("page_is_old")  # one went on while this act waited
        bags = [bag for bag in locked if bag.pk in on]
        said = f"run {run.number} interrupted: {words}"
        moved = [return_bag(bag, run, said, worn=False) for bag in bags]
        if bags:
            save_bags(bags)
            struck = [stays[bag.pk].pk for bag in bags]
            RunBag.objects.filter(pk__in=struck).delete()
        act.write(Interruption(run=run, reason=words), *moved)
        return Stopped(run=run.number, bags=len(bags))

    return perform("stop_line", work, Stopped, sign, run=run_id, reason=reason)


def _lock_live(run_id: int) -> tuple[Run, list[Bag], dict[int, RunBag]]:
    """Lock a run and the bags that are in it; a bag may have gone on meanwhile."""
    live = RunBag.objects.filter(run=run_id, live=True)
    ids = list(live.values_list("bag", flat=True))
    bags = list(locking.lock_rows(Bag, ids).values())
    run = lock_open_run(run_id)
    stays = {
        stay.bag_id: stay
        for stay in run.run_bags.filter(live=True).select_related("bag").order_by("pk")
    }
    return run, [bag for bag in bags if bag.pk in stays], stays


def _lock_to_close(run_id: int) -> tuple[Run, list[Bag], dict[int, RunBag]]:
    run, bags, stays = _lock_live(run_id)
    locked = {bag.pk for bag in bags}
    on = [
        stay.bag.number
        for stay in stays.values()
        if stay.off_at is None or stay.bag_id not in locked
    ]
    if on:
        raise Refused("bags_on_the_line", run=run.number, bags=", ".join(on))
    return run, bags, stays


def _end(run: Run, act: Act, stage: RunStage) -> None:
    run.stage = stage
    run.closed_at = act.now
    run.save(update_fields=["stage", "closed_at", "rel_u_ppm"])
    run.run_bags.filter(live=True).update(live=False)
