"""Complaints and feedback: what was said, and what was decided of it."""

from __future__ import annotations

from typing import Final

from django.db import models
from django.db.models import F, Q

from dispatch.domain.complaints import Decision, Severity
from dispatch.models.cases import Case
from dispatch.models.consignees import Consignee
from kitting.models.base import Guarded, check, one_of, word_field

LONGEST: Final = {"what": 1000, "said_by": 80, "contact": 120, "point": 80, "text": 500}
"""Characters that the texts of a complaint may have."""


class Complaint(Guarded):
    """What somebody said of what was sent, as it was taken down; a later note corrects it."""

    number = models.CharField(max_length=20, unique=True)
    what = models.CharField(max_length=LONGEST["what"])
    """What happened, in the words of whoever says so."""
    severity = word_field(Severity)
    said_by = models.CharField(max_length=LONGEST["said_by"])
    contact = models.CharField(max_length=LONGEST["contact"], blank=True)
    """Where they can be reached."""
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, null=True, related_name="complaints"
    )
    point = models.CharField(max_length=LONGEST["point"], blank=True)
    """At which of its delivery points or wards."""
    happened_on = models.DateField(null=True)
    received_on = models.DateField(db_index=True)
    about = models.CharField(max_length=20, blank=True)
    """The number that it names; empty for none."""
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, null=True, related_name="complaints"
    )
    """The box of that number."""
    lot = models.ForeignKey(
        "kitting.Lot", on_delete=models.PROTECT, null=True, related_name="complaints"
    )
    """The lot of that number, or of the bag of that number."""
    part = models.ForeignKey(
        "kitting.Part", on_delete=models.PROTECT, null=True, related_name="complaints"
    )
    """Which part is at fault, where that is known."""

    class Meta:
        default_permissions = ()
        constraints = [
            one_of("dispatch_complaint_severity_known", "severity", Severity),
            check("dispatch_complaint_says_what", ~Q(what="") & ~Q(said_by="")),
            check(
                "dispatch_complaint_received_after",
                Q(happened_on=None) | Q(happened_on__lte=F("received_on")),
            ),
            check(
                "dispatch_complaint_about_one",
                Q(box=None, lot=None) | (Q(box=None) | Q(lot=None)) & ~Q(about=""),
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ComplaintNote(Guarded):
    """A note to a complaint, or what was decided of it; the newest decision counts."""

    complaint = models.ForeignKey(
        Complaint, on_delete=models.PROTECT, related_name="notes"
    )
    decision = word_field(Decision, blank=True)
    """Empty for a note."""
    text = models.CharField(max_length=LONGEST["text"])
    reply = models.CharField(max_length=LONGEST["text"], blank=True)
    """What was answered to whoever complained."""
    case = models.ForeignKey(
        Case, on_delete=models.PROTECT, null=True, related_name="complaint_notes"
    )

    class Meta:
        default_permissions = ()
        constraints = [
            one_of("dispatch_complaintnote_known", "decision", ["", *Decision]),
            check("dispatch_complaintnote_has_text", ~Q(text="")),
            check(
                "dispatch_complaintnote_case",
                Q(case__isnull=False, decision=Decision.CASE)
                | (Q(case=None) & ~Q(decision=Decision.CASE)),
            ),
        ]

    def __str__(self) -> str:
        return f"note {self.pk} to complaint {self.complaint_id}"
