"""The workshop's own clock: nothing else reads the time of day."""

from __future__ import annotations

import time as machine
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo, available_timezones

from django.conf import settings
from django.utils import timezone

from kitting.domain.errors import Refused
from kitting.ledger.kept import Kept
from kitting.ledger.locking import WITH_HEAD
from kitting.models import Workshop

LEEWAY = timedelta(seconds=2)
"""So far a clock may be set back, or two servers' clocks apart, without anybody asking."""

_ahead: ContextVar[timedelta] = ContextVar("ahead", default=timedelta())


_WORKSHOP = Kept(lambda: Workshop.objects.annotate(**WITH_HEAD).order_by("pk")[:1])


@contextmanager
def at_the_workshop(read: Workshop | None = None) -> Iterator[Workshop]:
    """Go by the clock on the workshop's wall: its time zone, and its time.

    The time is this machine's; only a demo may be at another one, and stays there for
    whatever opens it.

    Args:
        read: The workshop, if it was just read ``WITH_HEAD``.
    """
    workshop = read or next(iter(_WORKSHOP()), None) or Workshop()
    before = _ahead.set(timedelta(seconds=workshop.ahead_s))
    try:
        with timezone.override(ZoneInfo(workshop.time_zone)):
            yield workshop
    finally:
        _ahead.reset(before)


def now() -> datetime:
    """This moment.

    Returns:
        An aware moment, by the clock that is gone by.
    """
    return timezone.now() + _ahead.get()


def of_machine() -> datetime:
    """This moment by the machine's clock, on whatever day a demo lives.

    Returns:
        An aware moment: sessions go by it.
    """
    return timezone.now()


class Clocks(NamedTuple):
    """One look at both clocks of this machine."""

    wall: datetime
    boot: str
    """Which start of the machine the ticks are counted from; empty where unknown."""
    ticks: float
    """Seconds that nobody can set, counted while it sleeps as well."""


def look() -> Clocks:
    """Look at the clock that can be set, and at the one that cannot."""
    wall = datetime.fromtimestamp(machine.time(), UTC)
    if boot := _boot():
        return Clocks(wall, boot, machine.clock_gettime(machine.CLOCK_BOOTTIME))
    return Clocks(wall, "", machine.monotonic())


@cache
def _boot() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
    except OSError:  # it is not Linux
        return ""


_began = look()
DRIFT = timedelta(minutes=10)
"""So far the two may drift apart before somebody is asked which is right."""


def doubt(workshop: Workshop, newest: datetime | None) -> Refused | None:
    """Why a manager must say that the date is right before anything is recorded.

    Args:
        workshop: The workshop, which knows when somebody said so last.
        newest: The time of the newest act; None before the first.

    Returns:
        ``clock_jumped`` if the clock was set by ``DRIFT`` or more since this program
        began, or since somebody said that it is right; ``clock_unconfirmed`` after a gap
        of more than ``settings.CLOCK_GAP_DAYS``; None if there is no doubt.
    """
    here, since = look(), _began
    if workshop.clock_boot == here.boot and workshop.clock_ticks_s > since.ticks:
        said = workshop.clock_said_at or since.wall
        since = Clocks(said, here.boot, workshop.clock_ticks_s)
    jump = (here.wall - since.wall) - timedelta(seconds=here.ticks - since.ticks)
    if abs(jump) >= DRIFT:
        minutes = round(jump.total_seconds() / 60)
        return Refused("clock_jumped", minutes=f"{minutes:+,}", now=_shown(now()))
    longest = timedelta(days=settings.CLOCK_GAP_DAYS)
    if longest and newest is not None and now() - newest > longest:
        return Refused("clock_unconfirmed", now=_shown(now()), newest=_shown(newest))
    return None


def after(
    newest: datetime | None, workshop: Workshop, *, confirming: bool = False
) -> datetime:
    """The time of an act that is done now.

    Args:
        newest: The time of the newest act; None before the first.
        workshop: The workshop.
        confirming: Whether the act says that the date is right.

    Returns:
        This moment, never before the newest act.

    Raises:
        Refused: ``clock_set_back`` if it lies before the newest act by more than
            ``LEEWAY``: the clock was set back, or is not set yet; as ``doubt``.
    """
    at = now()
    if not confirming and (why := doubt(workshop, newest)):
        raise why
    if newest is None or at >= newest:
        return at
    if newest - at <= LEEWAY:
        return newest
    raise Refused("clock_set_back", now=_shown(at), newest=_shown(newest))


def _shown(at: datetime) -> str:
    return f"{timezone.localtime(at):%Y-%m-%d %H:%M:%S}"


def today() -> date:
    """This day at the workshop.

    Returns:
        The local date, for whoever goes by the clock on its wall.
    """
    return timezone.localdate(now())


@cache
def time_zones() -> frozenset[str]:
    """Give the zones that this machine knows; it looks through all its files for them."""
    return frozenset(available_timezones())


def midnight(day: date) -> datetime:
    """When a day begins by the clock on the workshop's wall.

    Args:
        day: The day.

    Returns:
        The moment, in the zone in force.
    """
    return datetime.combine(day, time(), tzinfo=timezone.get_current_timezone())


def day_of(workshop: Workshop, now: datetime) -> date:
    """The date on the workshop's wall at a moment.

    Args:
        workshop: The workshop, for its time zone.
        now: An aware moment.

    Returns:
        The local date.
    """
    return now.astimezone(ZoneInfo(workshop.time_zone)).date()


def start_of(workshop: Workshop, day: date) -> datetime:
    """The moment at which a day begins on the workshop's wall.

    Args:
        workshop: The workshop, for its time zone.
        day: The local date.

    Returns:
        An aware moment.
    """
    zone = ZoneInfo(workshop.time_zone)
    return datetime(day.year, day.month, day.day, tzinfo=zone)
