"""What a consignee has that is recalled: the first question on the telephone."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from django.db.models import FilteredRelation, Q
from django.db.models.functions import Coalesce

from dispatch.models import Case, CaseBox, Consignee
from dispatch.recall.queries.cases import every_case, standing_holds_of
from kitting.domain.stages import GONE
from kitting.ledger.reach import held_boxes, reach_of

MOST: Final = 5
"""Of so many open cases, the newest, a consignee's page tells."""


@dataclass
class At:
    """What a consignee has of one case."""

    case: Case
    boxes: list[str] = field(default_factory=list)
    """Serials, in the order of the list of the case."""


def recalled_at(consignee: Consignee) -> tuple[list[At], int]:
    """Read which boxes a consignee has now that open cases recall.

    Args:
        consignee: The consignee; those that were merged into it count as it.

    Returns:
        Each case with its boxes, the newest first, none of which it has none; and how
        many cases are open, of which the newest are asked.
    """
    cases = every_case(holding=True)
    found = {case.pk: At(case) for case in cases[:MOST]}
    if not found:
        return [], 0
    has = [
        f"load__{way}__consignee__{which}"
        for way in ("passed", "shipment")
        for which in ("merged_into", "id")
    ]
    live = Q(box__shipment_boxes__live=True)
    for pk, at in found.items():
        reach = reach_of(standing_holds_of(at.case))
        rows = (
            CaseBox.objects.filter(case=pk, box__stage__in=GONE)
            .filter(box__in=held_boxes(reach))
            .annotate(load=FilteredRelation("box__shipment_boxes", condition=live))
            .annotate(whom=Coalesce(*has))
            .filter(whom=consignee.stays.pk)
        )
        at.boxes += [str(row.box) for row in rows.order_by("pk").select_related("box")]
    return [at for at in found.values() if at.boxes], len(cases)
