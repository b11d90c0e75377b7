"""Recall drills: a lot drawn at random, how long it took to say who has it, calls."""

from __future__ import annotations

from typing import Final

from django.db import models
from django.db.models import F, Q

from dispatch.models.consignees import Consignee
from kitting.models.base import Guarded, check

LONGEST: Final = {"said_by": 80, "remarks": 500}
"""Characters that the texts of a drill may have."""


class Drill(Guarded):
    """That a drill was begun: nothing is held, and nobody is written to."""

    lot = models.ForeignKey(
        "kitting.Lot", on_delete=models.PROTECT, related_name="drills"
    )
    seed = models.CharField(max_length=32)
    """By which the lot was drawn; see ``in_order``."""
    lots = models.PositiveIntegerField()
    """Among how many it was drawn: those with boxes that were sent."""
    calling = models.BooleanField()
    """Whether the consignees are called as well."""

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_drill_among", Q(lots__gte=1))]

    def __str__(self) -> str:
        return f"drill {self.pk}"


class DrillList(Guarded):
    """That the list of a drill is complete: every box and consignee is known."""

    drill = models.OneToOneField(Drill, on_delete=models.PROTECT, related_name="list")
    boxes = models.PositiveIntegerField()
    """With a consignee, with some of the lot in them."""
    pieces = models.PositiveBigIntegerField()
    """Received and found, in the lot's own unit."""
    located = models.PositiveBigIntegerField()
    """Of these, those of which the balance says where they are, or what they became."""

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_drilllist_located", Q(located__lte=F("pieces")))]

    def __str__(self) -> str:
        return f"list of drill {self.drill_id}"


class DrillCall(Guarded):
    """A call to a consignee in a drill."""

    drill = models.ForeignKey(Drill, on_delete=models.PROTECT, related_name="calls")
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    answered = models.BooleanField()
    said_by = models.CharField(max_length=LONGEST["said_by"], blank=True)
    """Who answered, as written."""

    class Meta:
        default_permissions = ()
        constraints = [
            check("dispatch_drillcall_who", Q(answered=False) | ~Q(said_by=""))
        ]

    def __str__(self) -> str:
        return f"call to consignee {self.consignee_id} in drill {self.drill_id}"


class DrillEnd(Guarded):
    """That a drill is over."""

    drill = models.OneToOneField(Drill, on_delete=models.PROTECT, related_name="end")
    remarks = models.CharField(max_length=LONGEST["remarks"])
    """What went well, and what is to be better next time."""

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_drillend_has_remarks", ~Q(remarks=""))]

    def __str__(self) -> str:
        return f"end of drill {self.drill_id}"
