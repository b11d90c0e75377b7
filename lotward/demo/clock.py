"""The demo's own time and signatures: the same build signs the same acts."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

from kitting.ledger.operations import Sign

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from kitting.models import User

KEYS = uuid.UUID("9521234a-0000-5000-8000-000000000001")
"""Namespace of the operation keys; no key in use elsewhere can be one of them."""


@dataclass
class Clock:
    """A clock that only a build moves, and the pen that signs by it.

    It never goes back, so that the journal is in the order of its times. The workshop
    is in a time zone that is at UTC in winter.
    """

    people: Mapping[str, User]
    """By user name."""
    now: datetime
    acts: int = field(default=0)

    def wait_until(self, day: date, hour: int, minute: int = 0) -> None:
        """Let the time come; nothing happens if it is past already.

        Args:
            day: The day.
            hour: Hour of the day.
            minute: Minute of the hour.
        """
        wanted = datetime.combine(day, time(hour, minute), tzinfo=UTC)
        self.now = max(self.now, wanted)

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
        """
        self.acts += 1
        self.now += timedelta(seconds=seconds)
        key = uuid.uuid5(KEYS, str(self.acts))
        return Sign(by=self.people[who], key=key, now=self.now, bench_id=bench_id)
