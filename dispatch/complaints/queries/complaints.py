"""What is read of complaints: what they are about, and which wait for a decision."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from dispatch.consignees.queries import same_as
from dispatch.models import (
    Complaint,
    ComplaintNote,
    Pallet,
    PassedOn,
    Shipment,
    ShipmentBox,
)
from dispatch.trace.queries import find
from kitting.domain.errors import Refused
from kitting.domain.shown import shown
from kitting.models import Bag, Box, Lot, Run

OPEN, ALL = "", "all"
"""Of which complaints a list is: those that wait for a decision, or every one."""


@dataclass(frozen=True)
class About:
    """What a complaint is about, by its number."""

    number: str = ""
    box: Box | None = None
    lot: Lot | None = None


def about_of(text: str) -> About:
    """Find what a complaint is about.

    Args:
        text: A number that the trace knows, typed or scanned; may be empty.

    Returns:
        The number as it is on record, with its box, or its lot, if it has one.

    Raises:
        CodeError: If it is mistyped or no number at all.
        Missing: ``nothing_has_number``.
        Refused: ``complaint_about`` for the number of anything else.
    """
    if not text.strip():
        return About()
    row = find(text).row
    if isinstance(row, Box):
        return About(str(row), box=row)
    if isinstance(row, Lot):
        return About(row.number, lot=row)
    if isinstance(row, Bag):
        return About(row.number, lot=row.lot)
    if isinstance(row, Run | Pallet | Shipment):
        return About(row.number)
    raise Refused("complaint_about", read=shown(text))


def never_had(complaint: Complaint) -> bool:
    """Tell whether a complaint names a box that was never with who makes it.

    Args:
        complaint: The complaint, with its consignee.

    Returns:
        Whether by the record the box went to others alone, or to nobody. A complaint
        without a box or without a consignee contradicts nothing.
    """
    if complaint.box_id is None or complaint.consignee is None:
        return False
    own = same_as(complaint.consignee.stays.pk)
    sent = ShipmentBox.objects.filter(
        box=complaint.box_id,
        live=True,
        shipment__sent_at__isnull=False,
        shipment__consignee__in=own,
    )
    passed = PassedOn.objects.filter(box=complaint.box_id, consignee__in=own)
    return not (sent.exists() or passed.exists())


def told() -> QuerySet[Complaint]:
    """Every complaint, the newest first, with its act and what was decided last.

    Returns:
        The complaints, each with ``decision`` and ``case_number``; empty for none.
    """
    decided = ComplaintNote.objects.filter(complaint=OuterRef("pk"))
    decided = decided.exclude(decision="").order_by("-pk")
    found = Complaint.objects.select_related("operation", "consignee__merged_into")
    return found.annotate(
        decision=Coalesce(Subquery(decided.values("decision")[:1]), Value("")),
        case_number=Coalesce(Subquery(decided.values("case__number")[:1]), Value("")),
    ).order_by("-pk")


def filtered(chosen: Mapping[str, Any]) -> QuerySet[Complaint]:
    """The complaints that a list shows.

    Args:
        chosen: ``which``, ``severity``; each may be missing.

    Returns:
        Some of ``told``.
    """
    found = told()
    if chosen.get("which", OPEN) == OPEN:
        found = found.exclude(pk__in=_decided())
    if severity := chosen.get("severity"):
        found = found.filter(severity=severity)
    return found


def waiting() -> int:
    """How many complaints wait for a decision."""
    return Complaint.objects.exclude(pk__in=_decided()).count()


def _decided() -> QuerySet[ComplaintNote, Any]:
    """The ids of the complaints of which something was decided."""
    return ComplaintNote.objects.exclude(decision="").values("complaint")


def notes_of(complaint: Complaint) -> list[ComplaintNote]:
    """What was added to a complaint and decided of it, the oldest first.

    Args:
        complaint: The complaint.

    Returns:
        The notes, each with its act and its case.
    """
    notes = complaint.notes.select_related("operation", "case")
    return list(notes.order_by("pk"))


def about_revision(revision_id: int) -> Q:
    """Which complaints are about a revision: by a lot of it, or by a box that holds one.

    Args:
        revision_id: The revision.

    Returns:
        The condition. Where a complaint names the part, others in its box are not meant.
    """
    lots = Lot.objects.filter(revision=revision_id)
    boxes = Q(box__in=Box.objects.filter(lines__lot__in=lots))
    part = Q(part=None) | Q(part__in=lots.values("part"))
    return Q(lot__in=lots) | (boxes & part)
