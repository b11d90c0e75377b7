"""Runs: their verdicts recomputed from their readings; what they cleared."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Exists, F, OuterRef, Q, Sum

from dispatch.proving.streams import grouped, rows, side_by_side
from kitting.domain import exposure
from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage, RunStage
from kitting.models import Bag, BoxLine, Run, RunBag, RunVerdict
from kitting.models.runs import Moment

if TYPE_CHECKING:
    from dispatch.proving.faults import Tally

RUN = Run._meta.db_table
BAG = Bag._meta.db_table
LINE = BoxLine._meta.db_table
STAY = RunBag._meta.db_table


def verdicts(tally: Tally) -> None:
    """Every closed run has the verdict that its readings give.

    Args:
        tally: Where runs are counted and faults noted.
    """
    found = Run.objects.select_related("protocol").prefetch_related(
        "readings", "verdicts__operation"
    )
    for run in found.order_by("pk").iterator(chunk_size=200):
        tally.count += 1
        if run.zone_um is not None and run.belt_um_s is not None:
            tally.same(
                RUN,
                run.pk,
                "The time of a pass does not follow from zone and belt.",
                exposure.exposure_ms(run.zone_um, run.belt_um_s),
                run.exposure_ms,
            )
        given = {row.side: row for row in run.verdicts.all()}
        if run.stage == RunStage.OPEN:
            tally.same(RUN, run.pk, "An open run has no verdict.", 0, len(given))
        elif not _given_up(run):
            _judge(tally, run, given)


def _given_up(run: Run) -> bool:
    """Whether it failed without a closing reading: the lamps or the meter gave out."""
    closing = any(row.moment == Moment.CLOSING for row in run.readings.all())
    return run.stage == RunStage.FAILED and not closing and not run.verdicts.all()


def _judge(tally: Tally, run: Run, given: dict[str, RunVerdict]) -> None:
    rel_u_ppm = max((row.rel_u_ppm for row in given.values()), default=0)
    readings = [
        exposure.Reading(row.point, row.side, row.moment, row.uw_cm2)  # type: ignore[arg-type]
        for row in run.readings.all()
    ]
    try:
        doses = exposure.run_dose(
            readings,
            exposure_ms=run.exposure_ms,
            passes=run.passes,
            rel_u_ppm=max(rel_u_ppm, run.rel_u_ppm),
        )
        verdict = exposure.verdict(doses, run.protocol.required())  # type: ignore[arg-type]
    except Refused as error:
        tally.add(RUN, run.pk, "Its readings give no verdict.", "a verdict", error.code)
        return
    expected = {
        str(side.dose.side): (
            side.required_uj_cm2,
            side.dose.measured_uj_cm2,
            side.dose.low_uj_cm2,
            side.met,
        )
        for side in verdict.sides
    }
    found = {
        side: (row.required_uj_cm2, row.dose_uj_cm2, row.low_uj_cm2, row.passed)
        for side, row in given.items()
    }
    words = "Its readings give other doses (required, measured, lower bound, enough)."
    tally.same(RUN, run.pk, words, expected, found)
    stage = RunStage.RELEASED if verdict.passed else RunStage.FAILED
    tally.same(RUN, run.pk, "Its readings give another verdict.", stage, run.stage)
    for row in list(given.values())[:1]:
        tally.same(
            RUN,
            run.pk,
            "It was closed at another moment.",
            row.operation.at,
            run.closed_at,
        )


def clearing(tally: Tally) -> None:
    """What is cleared was cleared by a released run, or is of a part that needs none.

    Args:
        tally: Where bags and lines are counted and faults noted.
    """
    bags = Bag.objects.filter(Q(stage=BagStage.CLEARED) | Q(cleared_run__isnull=False))
    bags = bags.annotate(
        stayed=Exists(
            RunBag.objects.filter(run=OuterRef("cleared_run"), bag=OuterRef("pk"))
        )
    )
    found = bags.order_by("pk").values_list(
        *("pk", "number", "cleared_run__stage", "stayed", "lot__part__needs_clearing")
    )
    for pk, number, run_stage, stayed, needed in rows(found):
        tally.count += 1
        _cleared(tally, (BAG, pk, f"Bag {number}"), run_stage, stayed, needed)
    lines = BoxLine.objects.annotate(
        stayed=Exists(RunBag.objects.filter(run=OuterRef("run"), bag=OuterRef("bag")))
    )
    in_boxes = lines.order_by("pk").values_list(
        *("pk", "bag__number", "run__stage", "stayed", "lot__part__needs_clearing")
    )
    for pk, number, run_stage, stayed, needed in rows(in_boxes):
        tally.count += 1
        _cleared(tally, (LINE, pk, f"Packed bag {number}"), run_stage, stayed, needed)


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
    """A bag is on the line in an open run, in one, and counts its passes.

    Args:
        tally: Where stays are counted and faults noted.
    """
    tally.count = RunBag.objects.count()
    ended = RunBag.objects.filter(live=True).exclude(run__stage=RunStage.OPEN)
    for pk, stage in rows(ended.order_by("pk").values_list("pk", "run__stage")):
        tally.add(STAY, pk, "The run of this stay is closed.", RunStage.OPEN, stage)
    gone = RunBag.objects.filter(live=False, run__stage=RunStage.OPEN)
    for pk in gone.order_by("pk").values_list("pk", flat=True):
        tally.add(STAY, pk, "The stay ended before its run.", "live", "ended")
    on = (BagStage.IN_RUN, BagStage.EXPOSED)
    live = RunBag.objects.filter(bag=OuterRef("pk"), live=True)
    bags = Bag.objects.annotate(on=Exists(live)).order_by("pk")
    wrong = bags.filter(Q(stage__in=on, on=False) | (~Q(stage__in=on) & Q(on=True)))
    for pk, stage in rows(wrong.values_list("pk", "stage")):
        words = "Its stage and its stays in runs do not agree."
        tally.add(BAG, pk, words, "a live stay while in a run", stage)
    passes = (
        RunBag.objects.exclude(run__stage=RunStage.OPEN)
        .order_by("bag_id")
        .values("bag_id")
        .annotate(total=Sum(F("run__passes")))
        .values_list("bag_id", "total")
    )
    said = Bag.objects.order_by("pk").values_list("pk", "passes")
    for pk, (bag, summed) in side_by_side(grouped(rows(said)), grouped(rows(passes))):
        for (count,) in bag:
            total = sum(n for (n,) in summed)
            tally.same(BAG, pk, "It had other passes in its runs.", total, count)
