"""Shipments, the scans that load them, and what was received of them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from dispatch.domain.receipts import Found, Told
from dispatch.models.allotment import Promise
from dispatch.models.consignees import Consignee, Request
from dispatch.models.pallets import Pallet
from kitting.domain.stages import GONE_SHIPMENTS, ShipmentStage
from kitting.models.base import Guarded, check, once, one_of, word_field


class Shipment(models.Model):
    """Boxes that go to one consignee together."""

    number = models.CharField(max_length=20, unique=True)
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="shipments", db_index=False
    )
    stage = word_field(ShipmentStage, default=ShipmentStage.OPEN)
    point = models.CharField(max_length=80, blank=True)
    """At which of the consignee's delivery points or wards it is left."""
    reference = models.CharField(max_length=40, blank=True)
    """The consignee's own; like what follows it stays as it was at the sending."""
    haulier = models.CharField(max_length=80, blank=True)
    """Whose vehicle takes it: a firm, a service of the hospital."""
    driver = models.CharField(max_length=80, blank=True)
    vehicle = models.CharField(max_length=40, blank=True)
    seal = models.CharField(max_length=40, blank=True)
    """Number of the seal that closes the vehicle or the pallet."""
    events_seen = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True)
    sent_by = models.CharField(max_length=150, blank=True)
    boxes = models.PositiveIntegerField(default=0)
    sets = models.PositiveIntegerField(default=0)
    lots = models.TextField(blank=True)
    """Numbers of the lots that left in its boxes, so that a log of many is soon read."""
    products = models.TextField(blank=True)
    """Codes of the products that left in its boxes, likewise."""
    search = models.CharField(max_length=400, blank=True)

    unsealed: ClassVar = {
        "stage": "its events",
        "events_seen": "its events",
        "sent_at": "its events",
        "sent_by": "its events",
        "boxes": "its boxes",
        "sets": "its boxes",
        "lots": "its boxes",
        "products": "its boxes",
    }

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        indexes = [
            # The figures as well, so that those of a period are summed in the index.
            models.Index(
                fields=["sent_at", "id", "boxes", "sets"], name="dispatch_shipment_sent"
            ),
            models.Index(
                fields=["consignee", "sent_at", "id"], name="dispatch_shipment_whom"
            ),
            models.Index(
                fields=["stage", "sent_at", "id", "boxes", "sets"],
                name="dispatch_shipment_stage",
            ),
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
                    stage__in=GONE_SHIPMENTS,
                    sent_at__isnull=False,
                    boxes__gte=1,
                ),
            ),
            check(
                "dispatch_shipment_sent_with_somebody",
                ~Q(stage__in=GONE_SHIPMENTS) | ~Q(haulier="", driver=""),
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def whom(self) -> str:
        """Whom it goes to, with the delivery point or ward."""
        return ", ".join(filter(None, (self.consignee.name, self.point)))


class LogView(models.Model):
    """What is asked of the shipping log, under a name."""

    name = models.CharField(max_length=60, unique=True)
    asked = models.CharField(max_length=600)
    """As it stands in the address, without what says a page of it."""
    kept = models.ForeignKey(
        "kitting.Operation", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    """The act that kept it: nobody else gives its name another meaning."""

    class Meta:
        default_permissions = ()
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


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
    request = models.ForeignKey(
        Request, on_delete=models.PROTECT, null=True, related_name="loads"
    )
    """Which request it serves."""
    promise = models.ForeignKey(
        Promise, on_delete=models.PROTECT, null=True, related_name="loads"
    )
    """Which promise to that request it keeps."""
    pallet = models.ForeignKey(
        Pallet, on_delete=models.PROTECT, null=True, related_name="loads"
    )
    """On which pallet it came; empty for a box that was scanned by itself."""
    back = models.BooleanField(default=False)
    """Whether it came back unopened: it serves nothing any more."""
    passed = models.ForeignKey(
        "dispatch.PassedOn",
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_index=False,
    )
    """How it got to whoever has it now; empty while that is the shipment's consignee."""

    unsealed: ClassVar = {
        "id": "its scans",
        "shipment_id": "its scans",
        "box_id": "its scans",
        "live": "its scans",
        "request_id": "its scans",
        "promise_id": "its scans",
        "pallet_id": "its scans",
        "back": "what came back of it",
        "passed_id": "where it was passed on to",
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
    request = models.ForeignKey(
        Request, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    """Which request the box serves that came on."""
    promise = models.ForeignKey(
        Promise, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    """Which promise to that request it keeps."""
    pallet = models.ForeignKey(
        Pallet, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    """On which pallet the box came on."""

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


class Receipt(Guarded):
    """That a shipment was received; a later one of the same kind corrects it."""

    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, related_name="receipts"
    )
    way = word_field(Told)
    received_by = models.CharField(max_length=80)
    """Who received it, at the consignee, as written."""
    received_at = models.DateTimeField()
    boxes = models.PositiveIntegerField()
    """How many they counted."""
    note = models.CharField(max_length=200, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    """Why it corrects the one before; empty for the first."""
    differs = models.BooleanField()
    """Whether it says anything else than what was sent."""

    class Meta:
        default_permissions = ()
        indexes = [
            models.Index(
                fields=["shipment"],
                condition=Q(differs=True),
                name="dispatch_receipt_differs",
            )
        ]
        constraints = [one_of("dispatch_receipt_way_known", "way", Told)]

    def __str__(self) -> str:
        return f"shipment {self.shipment_id} received by {self.received_by}"


class ReceiptLink(models.Model):
    """The newest signed link behind which a consignee says what it received."""

    shipment = models.OneToOneField(
        Shipment, on_delete=models.PROTECT, related_name="link"
    )
    nth = models.PositiveSmallIntegerField(default=0)
    """How many there were; the earlier ones are good for nothing."""
    until = models.DateTimeField(null=True)
    """The last moment of it; empty where it was ended."""
    since = models.BigIntegerField(default=0)
    """Id of the newest receipt when it was given: by it were said only later ones."""

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"link {self.nth} of shipment {self.shipment_id}"


class ReceiptBox(Guarded):
    """What a receipt says of one box."""

    receipt = models.ForeignKey(
        Receipt, on_delete=models.PROTECT, related_name="of_boxes", db_index=False
    )
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, related_name="receipts"
    )
    found = word_field(Found)
    sets = models.PositiveIntegerField(null=True)
    """How many were counted in it; empty where nobody counted."""
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        default_permissions = ()
        constraints = [
            once("dispatch_receiptbox_once", "receipt", "box"),
            one_of("dispatch_receiptbox_found_known", "found", Found),
        ]

    def __str__(self) -> str:
        return f"box {self.box_id} {self.found}"


class Settlement(Guarded):
    """That somebody saw to what differs in the receipts of a shipment up to one."""

    receipt = models.ForeignKey(
        Receipt, on_delete=models.PROTECT, related_name="settlements"
    )
    note = models.CharField(max_length=200)
    """What came of it."""

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"receipts up to {self.receipt_id}: {self.note}"


class Return(Guarded):
    """A box, or loose sets of one, that came back: into quarantine, never to stock."""

    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, related_name="returns"
    )
    sets = models.PositiveIntegerField()
    opened = models.BooleanField()
    place = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    note = models.CharField(max_length=200)
    """Why it came back, and in what state."""

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_return_sets", sets__gte=1)]

    def __str__(self) -> str:
        return f"{self.sets} sets of box {self.box_id} back"


class ReturnUndone(Guarded):
    """That a return was recorded for the wrong box: it did not come back."""

    returned = models.OneToOneField(
        Return, on_delete=models.PROTECT, related_name="undone"
    )
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"return {self.returned_id} undone: {self.reason}"


class PassedOn(Guarded):
    """That a consignee passed a box on to another; the newest tells who has it."""

    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, related_name="passed_on"
    )
    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, related_name="passed_on"
    )
    giver = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="passed_to"
    )
    point = models.CharField(max_length=80, blank=True)
    told_by = models.CharField(max_length=80)
    """Who said so, as written."""
    on = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"box {self.box_id} passed on to {self.consignee_id}"
