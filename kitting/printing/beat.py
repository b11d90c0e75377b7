"""Whether somebody takes print jobs to their printers: the worker says so now and then.

A job that waits looks the same whether a worker is busy elsewhere or none was started;
so each worker writes down that it looked.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final

from kitting.models import Workshop

BEAT: Final = timedelta(seconds=15)
"""How often a worker says so; each time is one short write."""

MISSED: Final = timedelta(minutes=2)
"""After this long without a word there is no worker: no step of one takes longer."""


@dataclass
class Beat:
    """One worker's word, not given oftener than it must be."""

    given_at: datetime | None = field(default=None)

    def give(self, now: datetime) -> None:
        """Say that a worker looks for work, unless it was just said.

        Args:
            now: The moment.
        """
        if self.given_at is not None and self.given_at <= now < self.given_at + BEAT:
            return
        Workshop.objects.filter(pk=1).update(print_worker_at=now)
        self.given_at = now
