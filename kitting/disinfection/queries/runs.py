"""Runs as the pages show them: lines, what waits, bags on and off, doses so far."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Exists, OuterRef, QuerySet, Sum

from kitting.domain.stages import BagStage, MovementKind, RunStage
from kitting.ledger import covering
from kitting.ledger.clock import midnight
from kitting.ledger.reach import standing_reach
from kitting.models import (
    Bag,
    Hold,
    Movement,
    Place,
    Protocol,
    Reading,
    Run,
    RunBag,
    RunVerdict,
)
from kitting.models.catalogue import PlaceKind
from kitting.models.runs import Moment


@dataclass(frozen=True)
class Line:
    """A line and the run that is open on it."""

    place: Place
    run: Run | None


@dataclass(frozen=True)
class Waiting:
    """Bags of one part that are accepted and need clearing."""

    part: str
    bags: int
    pieces: int


@dataclass(frozen=True)
class Filters:
    """What the list of runs is narrowed to; empty is all."""

    line: str = ""
    stage: str = ""
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True)
class Stay:
    """A bag in a run, as of one moment."""

    bag: Bag
    on_at: datetime
    off_at: datetime | None
    may_come_off_at: datetime
    on_for_s: int
    """Seconds since it went on, or that it was on; whole ones that have passed."""
    like: str
    """The revision like which it went on; empty where the protocol names its own."""
    early: bool
    """Not all its passes are over, or were when it came off."""


@dataclass(frozen=True)
class Point:
    """One place of the meter with its readings in µW/cm²."""

    point: int
    side: str
    opening: int
    closing: int | None

    @property
    def lowest(self) -> int:
        """The lower of its readings: the one that counts."""
        return self.opening if self.closing is None else min(self.opening, self.closing)


def lines() -> list[Line]:
    """Every line in the order of its code, with its open run.

    Returns:
        Lines; empty where the workshop has none.
    """
    runs = Run.objects.filter(stage=RunStage.OPEN).select_related("protocol")
    open_on = {run.line_id: run for run in runs}
    places = Place.objects.filter(kind=PlaceKind.LINE, active=True).order_by("code")
    return [Line(place, open_on.get(place.pk)) for place in places]


def waiting_bags() -> list[Waiting]:
    """What waits for a run: accepted bags of parts that need clearing, by part.

    Returns:
        Parts in the order of their names, those with nothing left out.
    """
    found = (
        Bag.objects.filter(stage=BagStage.ACCEPTED, lot__part__needs_clearing=True)
        .order_by("lot__part__name")
        .values_list("lot__part__name")
        .annotate(Count("pk"), Sum("pieces"))
    )
    return [Waiting(*row) for row in found]


def runs_shown(filters: Filters) -> QuerySet[Run]:
    """Runs newest first, narrowed, with what a row of the list needs.

    Args:
        filters: What to narrow them to; days are the workshop's.

    Returns:
        Runs with ``bags`` counted, and line, protocol and verdicts fetched.
    """
    runs = (
        Run.objects.select_related("line", "protocol", "meter")
        .prefetch_related("verdicts")
        .annotate(bags=Count("run_bags"))
        .order_by("-opened_at", "-pk")
    )
    if filters.line:
        runs = runs.filter(line__code=filters.line)
    if filters.stage:
        runs = runs.filter(stage=filters.stage)
    if filters.since:
        runs = runs.filter(opened_at__gte=midnight(filters.since))
    if filters.until:
        after = filters.until + timedelta(days=1)
        runs = runs.filter(opened_at__lt=midnight(after))
    return runs


def weakest(run: Run) -> RunVerdict | None:
    """The side of a closed run whose lower bound is furthest from what is required.

    Args:
        run: A run with its verdicts.

    Returns:
        Its verdict; None for a run that has none.
    """
    rows = run.verdicts.all()
    return min(rows, key=lambda row: row.low_uj_cm2 / row.required_uj_cm2, default=None)


def protocols_in_force(today: date) -> list[Protocol]:
    """Protocols that are in force on a day, signed and not held.

    Args:
        today: The workshop's day.

    Returns:
        Protocols in the order of code and version.
    """
    held = Hold.objects.filter(protocol=OuterRef("pk"), lift__isnull=True)
    return list(covering.protocols_in_force(today).filter(~Exists(held)))


def last_run(line_id: int) -> Run | None:
    """The newest run of a line, for what a new run is filled in with.

    Args:
        line_id: The line.

    Returns:
        The run with its readings, or None.
    """
    return (
        Run.objects.filter(line=line_id)
        .select_related("protocol", "meter")
        .prefetch_related("readings")
        .order_by("-opened_at", "-pk")
        .first()
    )


def points_of(readings: Iterable[Reading]) -> list[Point]:
    """Readings of a run side by side, by side and point.

    Args:
        readings: All readings of one run.

    Returns:
        A row for each place that was read at opening, top first.
    """
    by_place: dict[tuple[str, int], dict[str, int]] = {}
    for row in readings:
        by_place.setdefault((row.side, row.point), {})[row.moment] = row.uw_cm2
    return [
        Point(point, side, values[Moment.OPENING], values.get(Moment.CLOSING))
        for (side, point), values in sorted(
            by_place.items(), key=lambda item: (item[0][0] != "top", item[0][1])
        )
    ]


def stays_of(run: Run, now: datetime) -> list[Stay]:
    """The bags of a run: those on the line first, then those off, each newest first.

    Args:
        run: The run.
        now: The moment of looking.

    Returns:
        Stays with bag, lot, part and revision fetched.
    """
    rows = RunBag.objects.filter(run=run, original=None).select_related(
        "bag__lot__part", "bag__lot__revision", "cover__like"
    )
    passes = timedelta(milliseconds=run.exposure_ms * run.passes)
    found = [_stay(row, passes, now) for row in rows]
    found.sort(key=lambda stay: stay.off_at or stay.on_at, reverse=True)
    found.sort(key=lambda stay: stay.off_at is not None)
    return found


def _stay(row: RunBag, passes: timedelta, now: datetime) -> Stay:
    until = row.off_at or now
    return Stay(
        bag=row.bag,
        on_at=row.on_at,
        off_at=row.off_at,
        may_come_off_at=row.on_at + passes,
        on_for_s=max(0, (until - row.on_at) // timedelta(seconds=1)),
        like=row.cover.like.code if row.cover else "",
        early=until - row.on_at < passes,
    )


def is_held(run: Run) -> bool:
    """Whether a hold stands on a run or its protocol.

    Args:
        run: The run.

    Returns:
        True if nothing that it clears may be packed.
    """
    return run.pk in standing_reach().runs


def why_given_up(run: Run) -> str:
    """The words of the record for a run that failed without a verdict.

    Args:
        run: The run.

    Returns:
        The reason as its bags keep it; empty where no bag was in it.
    """
    moved = Movement.objects.filter(
        kind=MovementKind.NOT_CLEARED, reason__startswith=f"run {run.number} given up"
    )
    reason = moved.values_list("reason", flat=True).first() or ""
    return reason.partition(": ")[2]
