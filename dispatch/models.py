"""Consignees, shipments and the scans that load them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from dispatch.domain.folding import fold
from kitting.domain.stages import ShipmentStage
from kitting.models.base import Guarded, check, once, one_of, word_field


class Consignee(models.Model):
    """A hospital or other place that receives boxes."""

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=80)
    address = models.TextField(blank=True)
    """As the workshop wrote it: printed where the address is not given in parts."""
    country = models.CharField(max_length=2, blank=True)
    """As in ISO 3166-1; the parts are set in the order of its post."""
    street = models.TextField(blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    city = models.CharField(max_length=80, blank=True)
    region = models.CharField(max_length=80, blank=True)
    contact = models.CharField(max_length=120, blank=True)
    language = models.CharField(max_length=8, default="en")
    """That of its packing lists."""
    search = models.CharField(max_length=255, blank=True)

    class Meta:
        default_permissions = ()
        ordering = ["name"]
        constraints = [
            check(
                "dispatch_consignee_parts_have_a_country",
                ~Q(country="") | Q(street="", postcode="", city="", region=""),
            )
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: object, **kwargs: object) -> None:
        self.search = fold(f"{self.code} {self.name}")[:255]
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class Shipment(models.Model):
    """Boxes that go to one consignee together."""

    number = models.CharField(max_length=20, unique=True)
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="shipments", db_index=False
    )
    stage = word_field(ShipmentStage, default=ShipmentStage.OPEN)
    reference = models.CharField(max_length=40, blank=True)
    events_seen = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True)
    sent_by = models.CharField(max_length=150, blank=True)
    boxes = models.PositiveIntegerField(default=0)
    sets = models.PositiveIntegerField(default=0)
    search = models.CharField(max_length=400, blank=True)

    unsealed: ClassVar = {
        "stage": "its events",
        "events_seen": "its events",
        "sent_at": "its events",
        "sent_by": "its events",
        "boxes": "its boxes",
        "sets": "its boxes",
    }

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["sent_at", "id"], name="dispatch_shipment_sent"),
            models.Index(
                fields=["consignee", "sent_at", "id"], name="dispatch_shipment_whom"
            ),
            models.Index(fields=["stage"], name="dispatch_shipment_stage"),
        ]
        constraints = [
            one_of("dispatch_shipment_stage_known", "stage", ShipmentStage),
            check(
                "dispatch_shipment_sent_has_a_time",
                Q(
                    stage__in=[ShipmentStage.OPEN, ShipmentStage.CANCELLED],
                    sent_at__isnull=True,
                )
                | Q(
                    stage__in=[ShipmentStage.SENT, ShipmentStage.DELIVERED],
                    sent_at__isnull=False,
                    boxes__gte=1,
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ShipmentBox(models.Model):
    """A box in a shipment; live until it is taken off or the shipment cancelled."""

    shipment = models.ForeignKey(
        Shipment,
        on_delete=models.PROTECT,
        related_name="shipment_boxes",
        db_index=False,
    )
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, related_name="shipment_boxes"
    )
    live = models.BooleanField(default=True)

    unsealed: ClassVar = {
        "id": "its scans",
        "shipment_id": "its scans",
        "box_id": "its scans",
        "live": "its scans",
    }

    class Meta:
        default_permissions = ()
        constraints = [
            once("dispatch_shipmentbox_once", "shipment", "box"),
            once("dispatch_shipmentbox_one_live", "box", condition=Q(live=True)),
        ]

    def __str__(self) -> str:
        return f"box {self.box_id} in shipment {self.shipment_id}"


class ShipScan(Guarded):
    """A box scanned onto or off a shipment."""

    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, related_name="scans"
    )
    box = models.ForeignKey("kitting.Box", on_delete=models.PROTECT, related_name="+")
    on = models.BooleanField()

    def __str__(self) -> str:
        return f"box {self.box_id} {'on' if self.on else 'off'} {self.shipment_id}"


class ShipEvent(Guarded):
    """One change of a shipment's stage."""

    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, related_name="events", db_index=False
    )
    nth = models.PositiveSmallIntegerField()
    before = models.CharField(max_length=12, blank=True)
    after = word_field(ShipmentStage)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_shipevent_nth", "shipment", "nth")]

    def __str__(self) -> str:
        return f"shipment {self.shipment_id}: {self.before} to {self.after}"
