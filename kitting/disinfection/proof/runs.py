"""What is checked of runs: verdicts, stays, what was cleared."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from kitting.disinfection.queries.doses import (
    needed_hold,
    readings_on_record,
    samples_of,
)
from kitting.domain import doses, exposure, holding
from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage, MovementKind, RunStage
from kitting.ledger.proof import register
from kitting.ledger.proof.acts import Done, done
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import (
    composed,
    filled,
    grouped,
    how_many,
    rows,
    side_by_side,
)
from kitting.models import (
    Bag,
    BoxLine,
    Link,
    Movement,
    Run,
    RunBag,
    RunVerdict,
)
from kitting.models.runs import UVC

RUN = Run._meta.db_table
BAG = Bag._meta.db_table
LINE = BoxLine._meta.db_table
STAY = RunBag._meta.db_table
LINK = Link._meta.db_table


def verdicts(tally: Tally) -> None:
    """Every run ended as the journal says, with the verdict that was measured.

    Args:
        tally: Where runs are counted and faults noted.
    """
    found = Run.objects.select_related("protocol").prefetch_related(
        "readings", "dosimeters", "values", "verdicts"
    )
    there = filled([Run])
    every = found.order_by("pk").iterator(chunk_size=25) if there else iter(())
    for run, ending in _with_endings(tally, every):
        tally.count += 1
        if run.zone_um is not None and run.belt_um_s is not None:
            tally.same(
                RUN,
                run.pk,
                "The time of a pass does not follow from zone and belt.",
                exposure.exposure_ms(run.zone_um, run.belt_um_s),
                run.exposure_ms,
            )
        _ended(tally, run, ending)
        given = {row.side: row for row in run.verdicts.all()}
        if run.stage == RunStage.OPEN:
            tally.same(RUN, run.pk, "An open run has no verdict.", 0, len(given))
        elif ending is not None and ending.name == "give_up_run":
            words = "A run that was given up has no verdict."
            tally.same(RUN, run.pk, words, 0, len(given))
        elif run.protocol.process in UVC:
            _judge(tally, run, given)
        else:
            _judge_hold(tally, run, given)


def _with_endings(
    tally: Tally, runs: Iterator[Run]
) -> Iterator[tuple[Run, Done | None]]:
    """Give each run with the act that ended it, those that are open at last.

    Runs end about as they began, so few endings are read ahead of their runs.
    """
    acts, ahead = _endings(), dict[str, Done]()
    still_open = []
    for run in runs:
        if run.stage == RunStage.OPEN:
            still_open.append(run)
            continue
        _read_to(tally, run.number, acts, ahead)
        yield run, ahead.pop(run.number, None)
    _read_to(tally, None, acts, ahead)
    for run in still_open:
        yield run, ahead.pop(run.number, None)
    for act in ahead.values():
        _twice(tally, act)


def _endings() -> Iterator[tuple[str, Done]]:
    for act in done("close_run", "give_up_run"):
        if "run" in act.gave:  # else the chain names the link
            yield act.gave["run"], act


def _read_to(
    tally: Tally,
    number: str | None,
    acts: Iterator[tuple[str, Done]],
    ahead: dict[str, Done],
) -> None:
    """Read on to the end of a run; to the last one, where it is of none."""
    if number in ahead:
        return
    for ended, act in acts:
        if ended in ahead:
            _twice(tally, act)
        ahead[ended] = act
        if ended == number:
            return


def _twice(tally: Tally, act: Done) -> None:
    words = "It ends a run that has ended before, or is not there."
    tally.add(LINK, act.link, words, "a run", act.gave.get("run", "none"))


def _ended(tally: Tally, run: Run, ending: Done | None) -> None:
    """Stage and moment are those of the act that ended it; without one, it is open."""
    stage = RunStage.OPEN if ending is None else ending.gave.get("stage")
    tally.same(RUN, run.pk, "The journal says another end of it.", stage, run.stage)
    at = None if ending is None else ending.at
    words = "It was closed at another moment."
    tally.same(RUN, run.pk, words, at or "never", run.closed_at or "never")


def _judge_hold(tally: Tally, run: Run, given: dict[str, RunVerdict]) -> None:
    """A run by heat or liquid has no dose; it is released if it held long enough."""
    tally.same(RUN, run.pk, "A run without light has no dose.", 0, len(given))
    required = max(1, run.protocol.hold_s or 0)
    held = _held_s(tally, run, run.opened_at, run.closed_at)
    if held is not None:
        stage = RunStage.RELEASED if held >= required else RunStage.FAILED
        words = f"Its logged values held {held} s of {required} s."
        tally.same(RUN, run.pk, words, stage, run.stage)


def _held_s(
    tally: Tally, run: Run, since: datetime, until: datetime | None
) -> int | None:
    """Seconds of the longest hold between two moments; None where its log gives none."""
    try:
        return holding.longest_hold(
            samples_of(run), needed_hold(run), since=since, until=until
        ).seconds
    except Refused as error:
        tally.add(RUN, run.pk, "Its log gives no hold.", "a hold", error.code)
        return None


def _doses(run: Run) -> dict[exposure.Side, exposure.SideDose]:
    read = exposure.run_dose(
        readings_on_record(run),
        exposure_ms=run.exposure_ms,
        passes=run.passes,
        rel_u_ppm=run.rel_u_ppm,
        belt_u_ppm=run.path_u_ppm,
        decline_ppm=run.decline_ppm,
    )
    dosed = [
        doses.Dosed(row.nth, row.side, row.uj_cm2, row.rel_u_ppm)  # type: ignore[arg-type]
        for row in run.dosimeters.all()
    ]
    return doses.with_dosimeters(
        read, dosed, belt_u_ppm=run.path_u_ppm, decline_ppm=run.decline_ppm
    )


def _judge(tally: Tally, run: Run, given: dict[str, RunVerdict]) -> None:
    try:
        verdict = exposure.verdict(_doses(run), run.protocol.required())  # type: ignore[arg-type]
    except Refused as error:
        tally.add(RUN, run.pk, "Its readings give no verdict.", "a verdict", error.code)
        return
    expected = {
        str(side.dose.side): (
            side.required_uj_cm2,
            side.dose.measured_uj_cm2,
            side.dose.low_uj_cm2,
            side.dose.rel_u_ppm,
            side.met,
        )
        for side in verdict.sides
    }
    found = {
        side: (
            row.required_uj_cm2,
            row.dose_uj_cm2,
            row.low_uj_cm2,
            row.rel_u_ppm,
            row.passed,
        )
        for side, row in given.items()
    }
    words = (
        "Its readings give other doses (required, measured, lower bound, uncertainty,"
        " enough)."
    )
    tally.same(RUN, run.pk, words, expected, found)
    stage = RunStage.RELEASED if verdict.passed else RunStage.FAILED
    tally.same(RUN, run.pk, "Its readings give another verdict.", stage, run.stage)


def clearing(tally: Tally) -> None:
    """What is cleared was cleared by a released run, or is of a part that needs none.

    Args:
        tally: Where bags and lines are counted and faults noted.
    """
    in_bags, in_boxes = _clearings()
    for pk, number, run_stage, stayed, needed in rows(in_bags):
        tally.count += 1
        _cleared(tally, (BAG, pk, f"Bag {number}"), run_stage, stayed, needed)
    for pk, number, run_stage, stayed, needed in rows(in_boxes):
        tally.count += 1
        _cleared(tally, (LINE, pk, f"Packed bag {number}"), run_stage, stayed, needed)


@composed
def _clearings() -> Iterator[QuerySet[Any, Any]]:
    """Bags that are cleared or were, and what was packed, with the runs that cleared it."""
    bags = Bag.objects.filter(Q(stage=BagStage.CLEARED) | Q(cleared_run__isnull=False))
    bags = bags.annotate(
        stayed=Exists(
            RunBag.objects.filter(run=OuterRef("cleared_run"), bag=OuterRef("pk"))
        )
    )
    yield bags.order_by("pk").values_list(
        *("pk", "number", "cleared_run__stage", "stayed", "lot__part__needs_clearing")
    )
    lines = BoxLine.objects.annotate(
        stayed=Exists(RunBag.objects.filter(run=OuterRef("run"), bag=OuterRef("bag")))
    )
    yield lines.order_by("pk").values_list(
        *("pk", "bag__number", "run__stage", "stayed", "lot__part__needs_clearing")
    )


def _cleared(
    tally: Tally,
    what: tuple[str, int, str],
    run_stage: str | None,
    stayed: bool,  # noqa: FBT001
    needed: bool,  # noqa: FBT001
) -> None:
    table, pk, name = what
    if run_stage is None:
        if needed:
            words = f"{name} needs a run that cleared it."
            tally.add(table, pk, words, "a released run", "none")
        return
    words = f"{name} was cleared by a run that is not released."
    tally.same(table, pk, words, RunStage.RELEASED, run_stage)
    if not stayed:
        words = f"{name} was never on in the run that cleared it."
        tally.add(table, pk, words, "a stay", "none")


def stays(tally: Tally) -> None:
    """A bag is on the line in an open run, in one, long enough, and counts its passes.

    Args:
        tally: Where stays are counted and faults noted.
    """
    every, wrong, said, passes = _bags()
    tally.count = how_many(every)
    if tally.count:
        _ends(tally)
        _lengths(tally)
    for pk, stage in rows(wrong):
        words = "Its stage and its stays in runs do not agree."
        tally.add(BAG, pk, words, "a live stay while in a run", stage)
    for pk, (bag, summed) in side_by_side(grouped(rows(said)), grouped(rows(passes))):
        for (count,) in bag:
            total = sum(n for (n,) in summed)
            tally.same(BAG, pk, "It had other passes in its runs.", total, count)


@composed
def _bags() -> Iterator[QuerySet[Any, Any]]:
    """All stays; bags whose stage is not theirs; all bags, and passes by their runs."""
    yield RunBag.objects.order_by().values_list("pk")
    on = (BagStage.IN_RUN, BagStage.EXPOSED)
    live = RunBag.objects.filter(bag=OuterRef("pk"), live=True)
    bags = Bag.objects.annotate(on=Exists(live)).order_by("pk")
    wrong = bags.filter(Q(stage__in=on, on=False) | (~Q(stage__in=on) & Q(on=True)))
    yield wrong.values_list("pk", "stage")
    yield Bag.objects.order_by("pk").values_list("pk", "passes")
    yield (
        RunBag.objects.exclude(run__stage=RunStage.OPEN)
        .order_by("bag_id")
        .values("bag_id")
        .annotate(total=Sum(F("run__passes")))
        .values_list("bag_id", "total")
    )


def _ends(tally: Tally) -> None:
    """A stay that ended did so in a run that is closed, and no other."""
    ended = RunBag.objects.filter(live=True).exclude(run__stage=RunStage.OPEN)
    for pk, stage in rows(ended.order_by("pk").values_list("pk", "run__stage")):
        tally.add(STAY, pk, "The run of this stay is closed.", RunStage.OPEN, stage)
    gone = RunBag.objects.filter(live=False, run__stage=RunStage.OPEN)
    for pk in gone.order_by("pk").values_list("pk", flat=True):
        tally.add(STAY, pk, "The stay ended before its run.", "live", "ended")


def _lengths(tally: Tally) -> None:
    """A stay is as its movements say, and what a run cleared stayed for all of it."""
    moved = Movement.objects.filter(bag=Coalesce(OuterRef("original"), OuterRef("bag")))
    went = moved.filter(kind=MovementKind.WENT_ON, operation__at=OuterRef("on_at"))
    came = moved.filter(kind=MovementKind.CAME_OFF, operation__at=OuterRef("off_at"))
    untrue = RunBag.objects.annotate(went=Exists(went), came=Exists(came)).filter(
        Q(went=False) | Q(came=False, off_at__isnull=False)
    )
    for pk in untrue.order_by("pk").values_list("pk", flat=True):
        words = "No movement of the bag is of the moment at which it went on or off."
        tally.add(STAY, pk, words, "a movement", "none")
    had = RunBag.objects.filter(run=OuterRef(OuterRef("run")), bag=OuterRef("other"))
    got = Movement.objects.filter(
        Exists(had), bag=OuterRef("bag"), kind=MovementKind.REPACKED, delta__gt=0
    )
    copied = RunBag.objects.filter(original__isnull=False)
    for pk in copied.exclude(Exists(got)).order_by("pk").values_list("pk", flat=True):
        words = "Nothing in the bag was repacked from one that was in the run."
        tally.add(STAY, pk, words, "a movement", "none")
    packed = BoxLine.objects.filter(bag=OuterRef("bag"), run=OuterRef("run"))
    cleared = (
        RunBag.objects.filter(run__stage=RunStage.RELEASED)
        .filter(Q(bag__cleared_run=F("run")) | Exists(packed))
        .select_related("run__protocol")
        .order_by("pk")
    )
    for stay in cleared.iterator(chunk_size=100):
        _long_enough(tally, stay)


def _long_enough(tally: Tally, stay: RunBag) -> None:
    run, until = stay.run, stay.off_at or stay.on_at
    needed = run.exposure_ms * run.passes
    was_on = (until - stay.on_at) // timedelta(milliseconds=1)
    if was_on < needed:
        words = "The run cleared a bag that was on for too short (ms)."
        tally.add(STAY, stay.pk, words, needed, was_on)
    if run.protocol.process not in UVC:
        held = _held_s(tally, run, stay.on_at, until)
        required = max(1, run.protocol.hold_s or 0)
        if held is not None and held < required:
            words = "The run cleared a bag that was not in for its hold (s)."
            tally.add(STAY, stay.pk, words, required, held)


register(
    ("runs", "runs", verdicts),
    ("stays", "stays", stays, RunBag, Bag),
    ("clearing", "bags and lines", clearing, Bag, BoxLine),
)
