"""Three years of a workshop, box by box, written in batches of a fixed size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from random import Random
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction

from kitting.ledger import bulk, clock, planner
from kitting.models import JournalHead, Operation
from lotward.demo import masterdata, plan
from lotward.demo.clock import CLOSES, LEAVING, Days, days_until, moment_of
from lotward.volume.founding import found
from lotward.volume.packing import Floor
from lotward.volume.pen import Pen
from lotward.volume.stock import Stock

DAYS: Final = 3 * 261
"""Working days."""
FEWEST: Final = 100
"""Boxes of which a history can still be told."""
BATCH: Final = 1_000
"""Boxes that are written at once: they alone are in memory."""
HOLDS: Final = 60
"""Placed in the three years, and most of them lifted again."""
LONGEST: Final = timedelta(seconds=20)
"""An act takes no longer, however few there are."""
ACTS: Final = 20
"""Of one box and all around it there are fewer, so that its time is enough for them."""


@dataclass(frozen=True)
class Written:
    """What was written."""

    boxes: int
    acts: int
    head: str
    """Hash of the journal's newest link: the same for the same boxes, seed and moment."""


class Time:
    """When each box is packed: evenly through the hours of the working days."""

    def __init__(self, today: date | None, boxes: int) -> None:
        self.zone = ZoneInfo(masterdata.read()["workshop"]["time_zone"])
        here = clock.now()
        there = here if today is None else moment_of(today, self.zone)
        self.ahead = there - here
        self._days: Days = days_until(there, self.zone)
        self._boxes = boxes
        self.begin = self.at(0) - timedelta(minutes=30)

    def at(self, nth: int) -> datetime:
        """The moment at which a box is begun."""
        day, part = divmod(nth * DAYS, self._boxes)
        opens = self._opens(day)
        closes = min(self._closes(day), self._days.until - 2 * LEAVING)
        return opens + (closes - opens) * part / self._boxes

    def _opens(self, day: int) -> datetime:
        return self._days.at(plan.LAST - DAYS + 1 + day, 7)

    def _closes(self, day: int) -> datetime:
        return self._days.at(plan.LAST - DAYS + 1 + day, CLOSES.hour)

    def end(self) -> datetime:
        """The moment at which work is left as it is."""
        return self._days.until - LEAVING

    def pace(self) -> timedelta:
        """How long an act takes."""
        day = self._closes(0) - self._opens(0)
        return min(LONGEST, day * DAYS / self._boxes / ACTS)


def is_empty() -> bool:
    """Whether nothing was ever done in this database."""
    return not Operation.objects.exists()


def write(
    boxes: int, seed: int, today: date | None, say: Callable[[int], object] = abs
) -> Written:
    """Fill a migrated, empty database.

    Args:
        boxes: How many boxes; at least ``FEWEST``.
        seed: Chooses one history of many.
        today: The day on which it ends; none but this one where it is left out.
        say: Is told how many boxes there are by now.

    Returns:
        What was written.
    """
    time = Time(today, boxes)
    luck = Random(seed)  # noqa: S311 -- seeded, and not a secret
    house = found(time.begin, luck, time.ahead)
    pen = Pen(luck, time.pace(), time.zone)
    stock = Stock(pen, house)
    floor = Floor(pen, house, stock)
    holds = max(1, boxes // HOLDS)
    for first in range(0, boxes, BATCH):
        with bulk.burst(), transaction.atomic():
            for nth in range(first, min(first + BATCH, boxes)):
                pen.wait_until(time.at(nth))
                if nth == 0:
                    stock.open_up()
                if nth == boxes - 2:
                    pen.wait_until(time.end())
                    stock.look_after()
                    floor.leave_work()
                    break
                _one(floor, nth, holds)
            pen.put_down()
        say(min(first + BATCH, boxes))
    planner.refresh()
    head = JournalHead.objects.get()
    return Written(boxes, head.seq, bytes(head.hash).hex())


def _one(floor: Floor, nth: int, holds: int) -> None:
    benches = floor.house.benches
    floor.stock.look_after()
    floor.pack(benches[nth % len(benches)])
    floor.send_some()
    if nth % holds == holds - 1:
        floor.hold()
    if nth % holds == holds // 2:
        floor.lift()
