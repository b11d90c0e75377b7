"""The workshop's own clock: nothing else reads the time of day."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from kitting.domain.errors import Refused
from kitting.models import Workshop

LEEWAY = timedelta(seconds=2)
"""So far a clock may be set back, or two servers' clocks apart, without anybody asking."""

_ahead: ContextVar[timedelta] = ContextVar("ahead", default=timedelta())


@contextmanager
def at_the_workshop() -> Iterator[Workshop]:
    """Go by the clock on the workshop's wall: its time zone, and its time.

    The time is this machine's; only a demo may be at another one, and stays there for
    whatever opens it.
    """
    workshop = Workshop.objects.first() or Workshop()
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


def after(newest: datetime | None) -> datetime:
    """The time of an act that is done now.

    Args:
        newest: The time of the newest act; None before the first.

    Returns:
        This moment, never before the newest act.

    Raises:
        Refused: ``clock_set_back`` if it lies before the newest act by more than
            ``LEEWAY``: the clock was set back, or is not set yet.
    """
    at = now()
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
