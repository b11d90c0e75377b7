"""Lots, bags, and the ledger of every piece."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from kitting.domain.stages import BagStage, MovementKind
from kitting.models.base import Guarded, check, once, one_of, word_field


class LotStage(StrEnum):
    OPEN = "open"
    CLOSED = "closed"
    CANCELLED = "cancelled"


class Verdict(StrEnum):
    NONE = ""
    ACCEPTED = "accepted"
    REJECTED = "rejected"


class Container(StrEnum):
    TOTE = "tote"
    PACK = "film pack"
    BUNDLE = "bundle"
    TRAY = "open tray"
    ROLL = "roll"


SEALED = frozenset({Container.PACK})
"""Containers whose pieces are as they were cleared only while nobody opens them."""


class Lot(models.Model):
    """Pieces of one part made under the same conditions."""

    number = models.CharField(max_length=20, unique=True)
    source = models.CharField(max_length=60)
    source_key = models.CharField(max_length=180)
    """The source as holds compare it: see ``ledger.reach.fold``."""
    source_number = models.CharField(max_length=40, blank=True, db_index=True)
    part = models.ForeignKey(
        "kitting.Part", on_delete=models.PROTECT, related_name="lots", db_index=False
    )
    revision = models.ForeignKey(
        "kitting.Revision", on_delete=models.PROTECT, related_name="lots"
    )
    method = models.ForeignKey(
        "kitting.Method",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="lots",
    )
    made_on = models.DateField()
    use_by = models.DateField(null=True, blank=True)
    stage = word_field(LotStage, default=LotStage.OPEN)
    verdict = word_field(Verdict, default=Verdict.NONE, blank=True)

    unsealed: ClassVar = {
        "verdict": "its checks",
    }

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["part", "use_by"], name="kitting_lot_part_use_by"),
            models.Index(fields=["source_key", "source"], name="kitting_lot_source"),
            models.Index(fields=["stage", "verdict"], name="kitting_lot_stage"),
        ]
        constraints = [
            one_of("kitting_lot_stage_known", "stage", LotStage),
            one_of("kitting_lot_verdict_known", "verdict", Verdict),
            check(
                "kitting_lot_use_by_after_made_on",
                Q(use_by__isnull=True) | Q(use_by__gte=F("made_on")),
            ),
        ]

    def __str__(self) -> str:
        return self.number


class LotOrigin(Guarded):
    """From which lot another lot was made, and how much of it."""

    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="origins", db_index=False
    )
    from_lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="uses", db_index=False
    )
    amount = models.PositiveIntegerField()
    """What went into its pieces."""
    waste = models.PositiveIntegerField(null=True)
    """What was cut off and scrapped besides."""

    class Meta:
        default_permissions = ()
        indexes = [
            models.Index(fields=["from_lot", "lot"], name="kitting_lotorigin_back")
        ]
        constraints = [
            once("kitting_lotorigin_once", "lot", "from_lot"),
            check("kitting_lotorigin_not_itself", ~Q(lot=F("from_lot"))),
            check("kitting_lotorigin_amount", amount__gte=1),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} from {self.from_lot_id}"


class CountedBy(StrEnum):
    HAND = "hand"
    MACHINE = "machine"
    WEIGHT = "weight"
    STACK = "stack"


class Carrier(models.Model):
    """A rack, pole or trolley of many bags that is scanned once and moves them all."""

    number = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60)
    place = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, null=True, related_name="carriers"
    )

    class Meta:
        default_permissions = ()
        ordering = ["number"]

    def __str__(self) -> str:
        return self.number


class Bag(models.Model):
    """One container of pieces of one lot: the unit that is scanned."""

    number = models.CharField(max_length=20, unique=True)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="bags")
    container = word_field(Container, default=Container.TOTE)
    stage = word_field(BagStage, default=BagStage.ARRIVED)
    place = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, null=True, related_name="bags"
    )
    carrier = models.ForeignKey(
        Carrier, on_delete=models.PROTECT, null=True, related_name="bags"
    )
    pieces = models.PositiveIntegerField()
    moves = models.PositiveIntegerField(default=0)
    opened_at = models.DateTimeField(null=True, blank=True)
    cleared_run = models.ForeignKey(
        "kitting.Run",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="cleared_bags",
    )
    passes = models.PositiveIntegerField(default=0)

    unsealed: ClassVar = {
        "stage": "its movements",
        "pieces": "its movements",
        "moves": "its movements",
        "place_id": "its movements",
        "carrier_id": "acts that hung it",
        "passes": "its runs",
    }

    class Meta:
        default_permissions = ()
        ordering = ["id"]
        indexes = [models.Index(fields=["stage", "lot"], name="kitting_bag_stage_lot")]
        constraints = [
            one_of("kitting_bag_stage_known", "stage", BagStage),
            one_of("kitting_bag_container_known", "container", Container),
            check("kitting_bag_pieces_gte_0", pieces__gte=0),
            check(
                "kitting_bag_used_up_is_empty",
                Q(stage=BagStage.USED_UP, pieces=0)
                | (~Q(stage=BagStage.USED_UP) & Q(pieces__gte=1)),
            ),
        ]

    def __str__(self) -> str:
        return self.number


class Movement(Guarded):
    """One change of a bag: its count, its stage or its place."""

    bag = models.ForeignKey(
        Bag, on_delete=models.PROTECT, related_name="movements", db_index=False
    )
    nth = models.PositiveIntegerField()
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="movements", db_index=False
    )
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, null=True, related_name="movements"
    )
    run = models.ForeignKey(
        "kitting.Run", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Which run had cleared what left for a box, another bag or lot, or came back."""
    other = models.ForeignKey(
        Bag, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    """The bag on the other side, where pieces were repacked."""
    kind = word_field(MovementKind)
    pieces = models.PositiveIntegerField()
    delta = models.IntegerField()
    after = models.PositiveIntegerField()
    stage_before = models.CharField(max_length=12, blank=True)
    stage_after = word_field(BagStage)
    place = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, null=True, related_name="+"
    )
    reason = models.CharField(max_length=200, blank=True)
    counted_by = word_field(CountedBy, null=True)
    corrects = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, related_name="corrected_by"
    )

    class Meta:
        default_permissions = ()
        indexes = [
            models.Index(fields=["lot", "kind"], name="kitting_movement_lot_kind")
        ]
        constraints = [
            once("kitting_movement_nth", "bag", "nth"),
            check("kitting_movement_pieces", pieces__gte=1),
            check(
                "kitting_movement_delta",
                Q(delta=0) | Q(delta=F("pieces")) | Q(delta=-F("pieces")),
            ),
            check("kitting_movement_after_gte_0", after__gte=0),
            one_of("kitting_movement_kind_known", "kind", MovementKind),
            check(
                "kitting_movement_repacked_with_another",
                Q(kind=MovementKind.REPACKED, other__isnull=False) & ~Q(other=F("bag"))
                | ~Q(kind=MovementKind.REPACKED) & Q(other__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.pieces} of bag {self.bag_id}"


class Check(Guarded):
    """The incoming inspection of a lot and its verdict."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="checks")
    plan = models.CharField(max_length=80)
    found = models.PositiveIntegerField(default=0)
    verdict = word_field(Verdict)
    reason = models.CharField(max_length=200, blank=True)
    severity = models.CharField(max_length=12, null=True)
    level = models.CharField(max_length=4, null=True)
    lot_pieces = models.PositiveIntegerField(null=True)
    sample_size = models.PositiveIntegerField(null=True)
    looked = models.PositiveIntegerField(null=True)
    """Pieces that the checker says were all looked at; null where nobody said so."""

    class Meta:
        default_permissions = ()
        indexes = [models.Index(fields=["verdict"], name="kitting_check_verdict")]
        constraints = [
            one_of(
                "kitting_check_verdict_known",
                "verdict",
                [Verdict.ACCEPTED, Verdict.REJECTED],
            )
        ]

    def __str__(self) -> str:
        return f"{self.verdict} {self.lot_id}"
