"""Which cases reached a box, what they decided, and whether it is free again."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Model

from dispatch.models import Case, Closing, ClosingBox
from kitting.ledger.reach import reach_of
from kitting.models import Box, Lift


@dataclass(frozen=True)
class Reaching:
    """A case that reached a box, and how that stands."""

    case: Case
    closing: Closing | None
    """How it was closed; None while it is open."""
    without: str
    """Why it was closed although nobody knows the end of this box; empty for none."""
    held: bool
    """Whether it holds the box now."""
    freed: Lift | None
    """By which lift the box is free again; None while the case holds it."""


def reaching(row: Model | None, holding: Collection[str]) -> list[Reaching]:
    """Give the cases that list a box, the newest first.

    Args:
        row: The box; a case lists nothing else.
        holding: Numbers of the cases of which a hold is on it now.

    Returns:
        The cases, in a number of queries that never grows.
    """
    if not isinstance(row, Box):
        return []
    found = Case.objects.filter(boxes__box=row).order_by("-pk")
    cases = list(found.select_related("operation"))
    closings = Closing.objects.filter(case__in=cases, reopening__isnull=True)
    ended = {each.case_id: each for each in closings.select_related("operation")}
    without = ClosingBox.objects.filter(closing__in=ended.values(), box=row)
    why = {each.closing_id: each.reason for each in without}
    freed = _freed(row, [case for case in cases if case.number not in holding])
    return [
        Reaching(
            case=case,
            closing=(closing := ended.get(case.pk)),
            without=why.get(closing.pk, "") if closing else "",
            held=case.number in holding,
            freed=freed.get(case.pk),
        )
        for case in cases
    ]


def _freed(box: Box, cases: Collection[Case]) -> dict[int, Lift]:
    """By case the newest lift of a hold that was on the box; however it reached it."""
    found = Lift.objects.filter(hold__of_case__look__case__in=cases).order_by("pk")
    lifts = list(found.select_related("operation", "hold__of_case__look"))
    reached = reach_of([lift.hold for lift in lifts]).on(box, *box.lines.all())
    return {
        lift.hold.of_case.look.case_id: lift for lift in lifts if lift.hold in reached
    }
