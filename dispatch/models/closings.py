"""How cases end: their closings, boxes that stayed unaccounted for, and reopenings."""

from __future__ import annotations

from typing import Final

from django.db import models
from django.db.models import Q

from dispatch.models.cases import Case
from kitting.models.base import Guarded, check, once

LONGEST_DECISION: Final = 1000


class Closing(Guarded):
    """A case is closed, with what was decided; it stays so until it is reopened."""

    case = models.ForeignKey(
        Case, on_delete=models.PROTECT, related_name="closings", db_index=False
    )
    nth = models.PositiveIntegerField()
    cause = models.CharField(max_length=LONGEST_DECISION)
    """What was wrong, and how it came about."""
    done = models.CharField(max_length=LONGEST_DECISION)
    """What was done about it."""
    prevention = models.CharField(max_length=LONGEST_DECISION)
    """What keeps it from happening again."""

    class Meta:
        default_permissions = ()
        constraints = [
            check(
                "dispatch_closing_is_decided",
                ~Q(cause="") & ~Q(done="") & ~Q(prevention=""),
            ),
            once("dispatch_closing_nth", "case", "nth"),
        ]

    def __str__(self) -> str:
        return f"closing {self.nth} of case {self.case_id}"


class ClosingBox(Guarded):
    """A box of which nobody knows the end: why the case is closed all the same."""

    closing = models.ForeignKey(
        Closing, on_delete=models.PROTECT, related_name="boxes", db_index=False
    )
    box = models.ForeignKey("kitting.Box", on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [
            check("dispatch_closingbox_has_a_reason", ~Q(reason="")),
            once("dispatch_closingbox_once", "closing", "box"),
        ]

    def __str__(self) -> str:
        return f"box {self.box_id} at closing {self.closing_id}"


class Reopening(Guarded):
    """A case that was closed is open again."""

    closing = models.OneToOneField(
        Closing, on_delete=models.PROTECT, related_name="reopening"
    )
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_reopening_has_a_reason", ~Q(reason=""))]

    def __str__(self) -> str:
        return f"reopening of closing {self.closing_id}"
