"""Which cases reached a box, what they decided, and whether it is free again."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Model

from dispatch.models import Case, Closing, ClosingBox
from dispatch.recall.queries.cases import closing_of
from kitting.ledger.reach import held_boxes, reach_of
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
        The cases.
    """
    if not isinstance(row, Box):
        return []
    cases = Case.objects.filter(boxes__box=row).order_by("-pk")
    return [
        _told(row, case, held=case.number in holding)
        for case in cases.select_related("operation")
    ]


def _told(box: Box, case: Case, *, held: bool) -> Reaching:
    closing = closing_of(case)
    without = ClosingBox.objects.filter(closing=closing, box=box)
    why = without.first() if closing else None
    return Reaching(
        case=case,
        closing=closing,
        without=why.reason if why else "",
        held=held,
        freed=None if held else _freed(box, case),
    )


def _freed(box: Box, case: Case) -> Lift | None:
    lifts = Lift.objects.filter(hold__of_case__look__case=case).order_by("-pk")
    for lift in lifts.select_related("operation", "hold"):
        reached = held_boxes(reach_of([lift.hold]))
        if Box.objects.filter(pk=box.pk, pk__in=reached).exists():
            return lift
    return None
