"""Saying how many boxes are wanted on a day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Workshop
from kitting.packing.queries.plan import mark_of_plan, wanted_on
from kitting.packing.steps import fill_plan


@dataclass(frozen=True)
class DayPlanned:
    """A day's plan, as it stands now."""

    day: str
    boxes: int
    """Of all sizes together."""


def plan_day(
    *, day: date, wanted: Mapping[int, int], sign: Sign, seen: str = ""
) -> DayPlanned:
    """Say how many boxes of each size are wanted on a day: all of its plan.

    Args:
        day: The day, today or later.
        wanted: Boxes by the id of the size, 0 to ``MOST``; a size that is not named has
            none. Of a size that is closed no more than were wanted.
        sign: Who, when and the operation key.
        seen: ``mark_of_plan`` of the plan that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        The plan.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: ``row_missing`` if there is no such size.
        Refused: ``plan_day_over``, ``plan_out_of_range``, ``size_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> DayPlanned:
        locking.lock_row(Workshop, act.workshop.pk)  # one plan at a time
        if day < day_of(act.workshop, act.now):
            raise Refused("plan_day_over", day=day)
        if seen and seen != mark_of_plan(wanted_on(day)):
            raise Conflict("page_is_old")
        fill_plan(day, wanted)
        return DayPlanned(day=day.isoformat(), boxes=sum(wanted.values()))

    return perform(
        "plan_day",
        work,
        DayPlanned,
        sign,
        day=day,
        wanted=sorted(wanted.items()),
        seen=seen,
    )
