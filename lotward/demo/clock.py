"""The demo's days, its own time, and its signatures: the same build signs the same acts.

Its newest day is the last working day of which enough lies before the moment at which it
is shown. No act lies after that moment.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from kitting.ledger.operations import Sign
from kitting.models import User
from lotward.demo import plan

OPENS: Final = time(7)
CLOSES: Final = time(17, 30)
SHOWN_AT: Final = time(16, 15)
"""Time of day at which a demo is shown that was built for a day of its own."""

LEAVING: Final = timedelta(minutes=30)
"""What the newest day ends with takes no longer: work that is left half done."""
CHECKING: Final = timedelta(minutes=25)
"""What it begins with takes no longer: the checks of what came in last."""


@dataclass(frozen=True)
class Days:
    """The working days of a demo."""

    newest: date
    until: datetime
    """No act is later."""
    zone: ZoneInfo

    def day(self, number: int) -> date:
        """The date of a working day.

        Args:
            number: Working days since the first, from 0 to ``plan.LAST``.

        Returns:
            A Monday to Friday.
        """
        return _working(self.newest, number - plan.LAST)

    def moved(self, written: date) -> date:
        """The date for one that was written down for the days of the file.

        Args:
            written: A date of ``fixtures/harrow_lane.json`` or of the plan.

        Returns:
            The same working day of the demo; as long before its days, or after them.
        """
        first, last = plan.FIRST_DAY, _working(plan.FIRST_DAY, plan.LAST)
        if written <= first:
            return self.day(0) + (written - first)
        if written >= last:
            return self.newest + (written - last)
        weeks, weekday = divmod((written - first).days, 7)
        return self.day(5 * weeks + min(weekday, 4))

    def at(self, number: int, hour: int, minute: int = 0) -> datetime:
        """A moment of a working day, by the clock on the workshop's wall.

        Args:
            number: As for ``day``.
            hour: Hour of the day.
            minute: Minute of the hour.

        Returns:
            The moment, in UTC: hours that pass are added to it.
        """
        return _moment(self.day(number), time(hour, minute), self.zone)


def _moment(on: date, at: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(on, at, tzinfo=zone).astimezone(UTC)


def _working(start: date, days: int) -> date:
    """So many working days after a Monday to Friday, or before it."""
    weeks, weekday = divmod(start.weekday() + days, 5)
    return start + timedelta(days=7 * weeks + weekday - start.weekday())


def days_until(now: datetime, zone: ZoneInfo) -> Days:
    """The days of a demo that is shown at a moment.

    Args:
        now: The moment, aware.
        zone: The workshop's time zone.

    Returns:
        The days; the newest is the moment's own, or the last working day before it.
    """
    today = now.astimezone(zone).date()
    begun = now >= _moment(today, OPENS, zone) + CHECKING + LEAVING
    if today.weekday() > 4:
        newest = today - timedelta(days=today.weekday() - 4)
    else:
        newest = today if begun else _working(today, -1)
    return Days(newest, min(now, _moment(newest, CLOSES, zone)), zone)


def moment_of(today: date, zone: ZoneInfo) -> datetime:
    """When a demo is shown that was asked for as of a day.

    Args:
        today: The day.
        zone: The workshop's time zone.

    Returns:
        A moment of it.
    """
    return _moment(today, SHOWN_AT, zone)


KEYS = uuid.UUID("9521234a-0000-5000-8000-000000000001")
"""Namespace of the operation keys; no key in use elsewhere can be one of them."""


@dataclass
class Clock:
    """A clock that only a build moves, and the pen that signs by it.

    It never goes back, so that the journal is in the order of its times, and never
    beyond the moment at which the demo is shown.
    """

    people: Mapping[str, User]
    """By user name."""
    now: datetime
    days: Days
    acts: int = field(default=0)

    def wait_until(self, moment: datetime) -> None:
        """Let a moment come; nothing happens if it is past already.

        Args:
            moment: The moment.
        """
        self.now = max(self.now, moment)

    def let_pass(self, seconds: int) -> None:
        """Let time pass in which nothing is signed.

        Args:
            seconds: How long.
        """
        self.now += timedelta(seconds=seconds)

    def sign(self, who: str, seconds: int = 40, bench_id: int | None = None) -> Sign:
        """Sign the next act, some seconds after the last one.

        Args:
            who: User name.
            seconds: How long the act took.
            bench_id: The bench at which it is done.

        Returns:
            The signature.

        Raises:
            RuntimeError: If the act would be later than the demo is shown.
        """
        self.acts += 1
        self.now += timedelta(seconds=seconds)
        if self.now > self.days.until:
            msg = f"Act {self.acts} at {self.now} would lie in the future."
            raise RuntimeError(msg)
        key = uuid.uuid5(KEYS, str(self.acts))
        return Sign(by=self.people[who], key=key, now=self.now, bench_id=bench_id)
