"""Who was told of a case: calls, and what undoes them."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from dispatch.domain.notices import LONGEST, Outcome
from dispatch.models.cases import Case
from dispatch.models.consignees import Consignee
from kitting.models.base import Guarded, check, one_of, word_field


class CaseCall(Guarded):
    """A call to a consignee about a case; good until it is undone."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="calls")
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    outcome = word_field(Outcome)
    spoke_to = models.CharField(max_length=LONGEST["spoke_to"], blank=True)
    """Who was reached, as written; empty where nobody was."""
    said = models.CharField(max_length=LONGEST["said"], blank=True)
    """What they said, or where it was left, such as on a machine."""
    stopped = models.BooleanField()
    """Whether they said that nobody uses the boxes or passes them on any more."""
    set_aside = models.BooleanField()
    """Whether they said that the boxes stand apart."""
    told_on = models.BooleanField()
    """Whether they said that they told whomever they passed boxes on to."""

    class Meta:
        default_permissions = ()
        constraints = [
            one_of("dispatch_casecall_outcome_known", "outcome", Outcome),
            check(
                "dispatch_casecall_reached_somebody",
                (Q(outcome=Outcome.REACHED) & ~Q(spoke_to=""))
                | Q(spoke_to="", stopped=False, set_aside=False, told_on=False)
                & ~Q(outcome=Outcome.REACHED),
            ),
        ]

    def __str__(self) -> str:
        return f"call to {self.consignee_id} about case {self.case_id}"


class CallUndone(Guarded):
    """That a call was noted wrongly: it counts for nothing, and stays on record."""

    call = models.OneToOneField(
        CaseCall, on_delete=models.PROTECT, related_name="undone"
    )
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"call {self.call_id} undone: {self.reason}"
