"""Recall cases: what they reach, and the boxes that each look found."""

from __future__ import annotations

from typing import Final

from django.db import models
from django.db.models import Q

from dispatch.models.consignees import Consignee
from dispatch.models.shipments import Shipment
from kitting.domain.stages import BoxStage
from kitting.models.base import Guarded, check, once, word_field

LONGEST_HAZARD: Final = 500
LONGEST_CLASS: Final = 80


class Case(Guarded):
    """A fault that is followed to every box that it reaches."""

    number = models.CharField(max_length=20, unique=True)
    hazard = models.CharField(max_length=LONGEST_HAZARD)
    """What it can do to whom, in words."""
    rated = models.CharField(max_length=LONGEST_CLASS, blank=True)
    """The class that a quality officer gave it under local law, as written; never
    computed."""

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_case_has_a_hazard", ~Q(hazard=""))]

    def __str__(self) -> str:
        return self.number


class CaseLook(Guarded):
    """One look of a case for boxes: the first opened it, others widened it or not."""

    case = models.ForeignKey(
        Case, on_delete=models.PROTECT, related_name="looks", db_index=False
    )
    nth = models.PositiveIntegerField()
    reason = models.CharField(max_length=200, blank=True)
    """Why it was opened or widened; empty where it only looked again."""

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_caselook_nth", "case", "nth")]

    def __str__(self) -> str:
        return f"look {self.nth} of case {self.case_id}"


class CaseHold(Guarded):
    """A hold of a case: what it stands on is in its scope until it is lifted."""

    look = models.ForeignKey(CaseLook, on_delete=models.PROTECT, related_name="holds")
    hold = models.OneToOneField(
        "kitting.Hold", on_delete=models.PROTECT, related_name="of_case"
    )

    def __str__(self) -> str:
        return f"hold {self.hold_id} of look {self.look_id}"


class Sought(Guarded):
    """A bag or box of a case that was looked for: it is in quarantine, or was not found."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="sought")
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, null=True, related_name="+"
    )
    bag = models.ForeignKey(
        "kitting.Bag", on_delete=models.PROTECT, null=True, related_name="+"
    )
    at = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Where it was on record; empty for nowhere."""
    into = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """The quarantine that it was brought to; empty where it was not found."""
    reason = models.CharField(max_length=200, blank=True)
    """Where somebody looked for what was not found."""

    class Meta:
        default_permissions = ()
        constraints = [
            check(
                "dispatch_sought_is_one_thing",
                Q(box=None, bag__isnull=False) | Q(bag=None, box__isnull=False),
            ),
            check(
                "dispatch_sought_found_or_reason",
                (Q(into=None) & ~Q(reason="")) | Q(into__isnull=False, reason=""),
            ),
        ]

    def __str__(self) -> str:
        return f"looked for {self.box_id or self.bag_id} of case {self.case_id}"


class CaseBox(Guarded):
    """A box that a case reaches, as it was when a look found it."""

    case = models.ForeignKey(
        Case, on_delete=models.PROTECT, related_name="boxes", db_index=False
    )
    look = models.ForeignKey(CaseLook, on_delete=models.PROTECT, related_name="boxes")
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, related_name="cases"
    )
    stage = word_field(BoxStage)
    pieces = models.PositiveIntegerField()
    """Of its scope, in the box."""
    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, null=True, related_name="+"
    )
    """On which it was; empty for none."""
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Who had it or was to get it."""

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_casebox_once", "case", "box")]

    def __str__(self) -> str:
        return f"box {self.box_id} in case {self.case_id}"
