"""What somebody must see to: stopped sources, meters, lamps, and runs measured wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.db.models import Count, QuerySet, Value

from kitting.checking.queries.switching import all_states
from kitting.disinfection.queries.lamps import LampLine, lamps_to_see_to
from kitting.disinfection.queries.meters import MeterLine, meters_to_see_to
from kitting.domain.pins import BADGE_TRIES
from kitting.domain.sampling.switching import REJECTED_TO_STOP
from kitting.domain.shown import shown
from kitting.ledger.failing import LowDisk
from kitting.ledger.reach import Reach
from kitting.models import Badge, Check, Hold, MeterFault, Part, Workshop
from kitting.models.lots import Verdict
from kitting.products.queries.methods import on_trial

GUESSED_FOR = timedelta(days=3)
"""So long it is told: a weekend lies between."""


@dataclass(frozen=True)
class StoppedSource:
    """A part that is not accepted from a source any more."""

    part: Part
    source: str


@dataclass(frozen=True)
class Spoiled:
    """Runs that are on hold since their meter was found wrong."""

    meter: str
    """Its serial."""
    runs: int


@dataclass(frozen=True)
class LateBackup:
    """That the newest backup is older than it may be, or that there is none."""

    made_at: datetime | None
    """Of what moment it is; empty where there is none."""


@dataclass(frozen=True)
class Guessed:
    """That passwords or PINs were tried until that was locked."""

    at: datetime | None
    """When passwords were, last; empty where it is long ago."""
    name: str
    """For which name, made fit to show."""
    pins: list[str]
    """Whose PIN is not tried any more."""


@dataclass(frozen=True)
class ToSeeTo:
    """What keeps the work from going on, or soon will."""

    sources: list[StoppedSource]
    """Nothing of that part from that source is accepted."""
    meters: list[MeterLine]
    """Due soon, past due or found wrong."""
    lamps: list[LampLine]
    """At the end of the hours they are rated for, or near it."""
    spoiled: list[Spoiled]
    methods: list[str]
    """Codes of those on trial, which somebody has to release."""
    backup: LateBackup | None = None
    disk: LowDisk | None = None
    guessed: Guessed | None = None

    def __bool__(self) -> bool:
        work = self.sources or self.meters or self.lamps or self.spoiled
        server = self.backup or self.disk or self.guessed
        return bool(work or self.methods or server)


def to_see_to(
    today: date,
    reach: Reach,
    backup: LateBackup | None = None,
    disk: LowDisk | None = None,
    guessed: Guessed | None = None,
) -> ToSeeTo:
    """Read what somebody must see to.

    Args:
        today: The workshop's day.
        reach: What the standing holds reach.
        backup: What ``late_backup`` says, for who sees to it.
        disk: What ``low_disk`` says, for the same.
        guessed: What ``guessed_lately`` says, for the same.

    Returns:
        All of it, the most urgent first in each list.
    """
    sources, methods = _stopped_and_on_trial()
    return ToSeeTo(
        sources=sources,
        meters=meters_to_see_to(today),
        lamps=lamps_to_see_to(),
        spoiled=spoiled_runs() if reach.runs else [],
        methods=methods,
        backup=backup,
        disk=disk,
        guessed=guessed,
    )


def late_backup(workshop: Workshop, now: datetime) -> LateBackup | None:
    """Whether the workshop's newest backup is late.

    Args:
        workshop: The workshop, as read for this page.
        now: This moment.

    Returns:
        None if it is in time. One that is of later than now is late: the clock was set
        back.
    """
    made = workshop.backup_at
    longest = timedelta(hours=settings.BACKUP_HOURS)
    in_time = made is not None and now - longest <= made <= now + timedelta(hours=1)
    return None if in_time else LateBackup(made)


def guessed_lately(workshop: Workshop, now: datetime) -> Guessed | None:
    """Whether passwords or PINs were tried until that was locked.

    Args:
        workshop: The workshop, as read for this page.
        now: This moment.

    Returns:
        None if nobody did: passwords within ``GUESSED_FOR``, PINs that still are.
    """
    at = workshop.guessed_at
    lately = at if at is not None and at > now - GUESSED_FOR else None
    blocked = Badge.objects.filter(revoked_at=None, pin_tries__gte=BADGE_TRIES)
    pins = sorted(str(badge.user) for badge in blocked.select_related("user"))
    if lately is None and not pins:
        return None
    return Guessed(lately, shown(workshop.guessed_name), pins)


def stopped_sources() -> list[StoppedSource]:
    """Give the sources whose inspection is stopped for a part that is sampled.

    Only what had as many lots rejected as stop a source is replayed: the page of the
    day asks this, and most sources never come near it.

    Returns:
        By name of the part, then by source.
    """
    return _stopped(list(_often_rejected()))


def _stopped_and_on_trial() -> tuple[list[StoppedSource], list[str]]:
    """Stopped sources, and the codes of methods on trial: one query on most days."""
    trial = on_trial().order_by().annotate(none=Value(0)).values_list("none", "code")
    rows = list(_often_rejected().union(trial, all=True))
    methods = sorted(code for part, code in rows if not part)
    return _stopped([pair for pair in rows if pair[0]]), methods


def _often_rejected() -> QuerySet[Check, tuple[int, str]]:
    """Parts and sources with as many lots rejected as stop a source."""
    rejected = Check.objects.filter(
        verdict=Verdict.REJECTED, lot__part__sampled=True, lot__part__needs_check=True
    )
    often = rejected.order_by().values_list("lot__part", "lot__source")
    return often.alias(times=Count("pk")).filter(times__gte=REJECTED_TO_STOP)


def _stopped(pairs: list[tuple[int, str]]) -> list[StoppedSource]:
    if not pairs:
        return []
    parts = Part.objects.in_bulk({part for part, _source in pairs})
    states = all_states(parts)
    return [
        StoppedSource(parts[part], source)
        for part, source in sorted(pairs, key=lambda pair: (parts[pair[0]].name, *pair))
        if any(state.stopped for state in states.get((part, source), {}).values())
    ]


def spoiled_runs() -> list[Spoiled]:
    """Count the runs that stand on hold because their meter was found wrong.

    Returns:
        Meters with such runs, in the order of their serials.
    """
    faults = MeterFault.objects.values("operation")
    held = Hold.objects.filter(lift__isnull=True, operation__in=faults)
    counted = held.values("run__meter__serial").annotate(runs=Count("run"))
    found = counted.order_by("run__meter__serial")
    return [Spoiled(row["run__meter__serial"], row["runs"]) for row in found]
