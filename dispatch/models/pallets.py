"""Pallets, the scans that build them, and which boxes stand on them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from dispatch.domain.pallets import PalletStage
from kitting.models.base import Guarded, once, one_of, word_field


class Pallet(models.Model):
    """Boxes that are moved and sent as one thing, under one label."""

    number = models.CharField(max_length=20, unique=True)
    sscc = models.CharField(max_length=18, unique=True, null=True)
    """Of the same counter as those of boxes; empty without a company prefix."""
    stage = word_field(PalletStage, default=PalletStage.OPEN)
    events_seen = models.PositiveSmallIntegerField(default=0)

    unsealed: ClassVar = {"stage": "its events", "events_seen": "its events"}

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        indexes = [models.Index(fields=["stage"], name="dispatch_pallet_stage")]
        constraints = [one_of("dispatch_pallet_stage_known", "stage", PalletStage)]

    def __str__(self) -> str:
        return self.number


class PalletBox(models.Model):
    """A box on a pallet; live until it is taken off or the pallet broken up."""

    pallet = models.ForeignKey(
        Pallet, on_delete=models.PROTECT, related_name="pallet_boxes", db_index=False
    )
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, related_name="pallet_boxes"
    )
    live = models.BooleanField(default=True)

    unsealed: ClassVar = dict.fromkeys(
        ("id", "pallet_id", "box_id", "live"), "its scans"
    )

    class Meta:
        default_permissions = ()
        constraints = [
            once("dispatch_palletbox_once", "pallet", "box"),
            once("dispatch_palletbox_one_live", "box", condition=Q(live=True)),
        ]

    def __str__(self) -> str:
        return f"box {self.box_id} on pallet {self.pallet_id}"


class PalletScan(Guarded):
    """A box put onto or taken off a pallet."""

    pallet = models.ForeignKey(Pallet, on_delete=models.PROTECT, related_name="scans")
    box = models.ForeignKey("kitting.Box", on_delete=models.PROTECT, related_name="+")
    on = models.BooleanField()

    def __str__(self) -> str:
        return f"box {self.box_id} {'on' if self.on else 'off'} {self.pallet_id}"


class PalletEvent(Guarded):
    """One change of a pallet's stage."""

    pallet = models.ForeignKey(
        Pallet, on_delete=models.PROTECT, related_name="events", db_index=False
    )
    nth = models.PositiveSmallIntegerField()
    before = models.CharField(max_length=12, blank=True)
    after = word_field(PalletStage)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_palletevent_nth", "pallet", "nth")]

    def __str__(self) -> str:
        return f"pallet {self.pallet_id}: {self.before} to {self.after}"
