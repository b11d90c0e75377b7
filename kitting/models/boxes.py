"""Benches, boxed kits, what is in them and what was printed for them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from kitting.domain.stages import BoxStage
from kitting.models.base import Guarded, check, once, one_of, word_field


class Bench(models.Model):
    """A packing station: a tablet, a scanner, a label printer, maybe a scale."""

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=60)
    place = models.OneToOneField(
        "kitting.Place", on_delete=models.PROTECT, related_name="bench"
    )
    active = models.BooleanField(default=True)
    sounds = models.BooleanField(default=True)
    scale_step_mg = models.PositiveIntegerField(null=True, blank=True)
    """The least step that the bench's scale shows; None for a bench without one."""
    scale_u_mg = models.PositiveIntegerField(null=True, blank=True)
    """Standard uncertainty of the scale itself."""
    scale_most_mg = models.PositiveIntegerField(null=True, blank=True)
    """The most that the scale weighs."""

    class Meta:
        default_permissions = ()
        ordering = ["code"]
        constraints = [
            check(
                "kitting_bench_scale_whole",
                Q(
                    scale_step_mg__isnull=True,
                    scale_u_mg__isnull=True,
                    scale_most_mg__isnull=True,
                )
                | Q(
                    scale_step_mg__isnull=False,
                    scale_u_mg__isnull=False,
                    scale_most_mg__isnull=False,
                    scale_step_mg__gte=1,
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Tablet(models.Model):
    """The tablet of a bench: the code that ties one, and the one that is tied."""

    bench = models.OneToOneField(Bench, on_delete=models.PROTECT, related_name="tablet")
    code_mark = models.CharField(max_length=64, db_index=True)
    """The newest code, hashed with the server's secret: its digits are soon tried."""
    code_until = models.DateTimeField(null=True)
    """Until when it ties a tablet; empty once it did."""
    code_by = models.ForeignKey(
        "kitting.User", on_delete=models.PROTECT, related_name="+"
    )
    token_sha256 = models.CharField(max_length=64, null=True, unique=True)
    """Of what the tied tablet carries, in hexadecimal; empty where none is tied."""
    tied_at = models.DateTimeField(null=True)

    shift_by = models.ForeignKey(
        "kitting.User", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Who answered last what is asked at the start of a shift."""
    shift_at = models.DateTimeField(null=True)
    pin_tries = models.PositiveSmallIntegerField(default=0)
    """PINs that were entered at it since the last right one."""
    tried_at = models.DateTimeField(null=True)

    unsealed: ClassVar = dict.fromkeys(
        ("pin_tries", "tried_at"), "trying a PIN is no act"
    )

    class Meta:
        default_permissions = ()
        constraints = [
            check(
                "kitting_tablet_tied_at_a_moment",
                Q(token_sha256__isnull=True, tied_at__isnull=True)
                | Q(token_sha256__isnull=False, tied_at__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return f"tablet of bench {self.bench_id}"


class Scale(models.Model):
    """The scale of a bench that sends what it shows, and what it showed last."""

    bench = models.OneToOneField(Bench, on_delete=models.PROTECT, related_name="scale")
    token_sha256 = models.CharField(max_length=64, null=True, unique=True)
    """Of the token behind which readings are sent; empty where none are taken."""
    mass_mg = models.PositiveIntegerField(null=True)
    """What lies still on it; None where nothing does, or nothing to go by was sent."""
    read_at = models.DateTimeField(null=True)
    loaded_at = models.DateTimeField(null=True)
    """Since when something is on it; None while it is empty."""

    unsealed: ClassVar = dict.fromkeys(
        ("mass_mg", "read_at", "loaded_at"),
        "what it shows at the moment: the act that closes a box keeps what it took",
    )

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"scale of bench {self.bench_id}"


class OpenBag(models.Model):
    """The bag of a part that a bench fills boxes from; at most one per part."""

    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, related_name="open_bags")
    part = models.ForeignKey("kitting.Part", on_delete=models.PROTECT, related_name="+")
    bag = models.OneToOneField(
        "kitting.Bag", on_delete=models.PROTECT, related_name="open_at"
    )
    taken_from = models.ForeignKey(
        Bench, on_delete=models.PROTECT, null=True, related_name="+"
    )
    """The bench where it was open before; that one is told, and where it is now."""

    unsealed: ClassVar = dict.fromkeys(
        ("id", "bench_id", "part_id", "bag_id", "taken_from_id"),
        "what is taken from a bag, and when it was opened, the bag says",
    )

    class Meta:
        default_permissions = ()
        constraints = [once("kitting_openbag_one_per_part", "bench", "part")]

    def __str__(self) -> str:
        return f"bag {self.bag_id} at bench {self.bench_id}"


class PackPlan(models.Model):
    """How many boxes of a size are wanted on a day, at all benches together."""

    day = models.DateField()
    size = models.ForeignKey(
        "kitting.BoxSize", on_delete=models.PROTECT, related_name="+"
    )
    boxes = models.PositiveIntegerField()

    class Meta:
        default_permissions = ()
        ordering = ["day", "size"]
        constraints = [
            once("kitting_packplan_once", "day", "size"),
            check("kitting_packplan_boxes", boxes__gte=1),
        ]

    def __str__(self) -> str:
        return f"{self.boxes} of {self.size_id} on {self.day}"


IN_WORK = Q(
    stage__in=[BoxStage.OPEN, BoxStage.CLOSED],
    place__isnull=True,
)
"""Boxes that stand at their bench until they are labelled, not put away meanwhile."""


class Box(models.Model):
    """A boxed kit, from an open carton to a ward."""

    number = models.CharField(max_length=20, unique=True)
    serial = models.CharField(max_length=20, unique=True, null=True)
    sscc = models.CharField(max_length=18, unique=True, null=True)
    recipe = models.ForeignKey(
        "kitting.Recipe", on_delete=models.PROTECT, related_name="boxes"
    )
    size = models.ForeignKey(
        "kitting.BoxSize", on_delete=models.PROTECT, related_name="boxes"
    )
    stage = word_field(BoxStage, default=BoxStage.OPEN)
    bench = models.ForeignKey(
        Bench, on_delete=models.PROTECT, null=True, related_name="boxes"
    )
    place = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, null=True, related_name="boxes"
    )
    packed_on = models.DateField(null=True)
    use_by = models.DateField(null=True)
    batch = models.CharField(max_length=20, blank=True, db_index=True)
    mass_mg = models.PositiveIntegerField(null=True)
    events_seen = models.PositiveSmallIntegerField(default=0)
    closed_at = models.DateTimeField(null=True)
    label_seen_at = models.DateTimeField(null=True)

    unsealed: ClassVar = {
        "stage": "its events",
        "events_seen": "its events",
        "place_id": "where it was put",
        "label_seen_at": "its events",
    }

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        indexes = [
            models.Index(
                fields=["stage", "size", "packed_on"], name="kitting_box_stage_size"
            ),
            models.Index(fields=["packed_on", "recipe"], name="kitting_box_packed_on"),
            models.Index(fields=["stage", "id"], name="kitting_box_stage"),
        ]
        constraints = [
            one_of("kitting_box_stage_known", "stage", BoxStage),
            check(
                "kitting_box_identity_complete",
                Q(stage__in=[BoxStage.OPEN, BoxStage.VOIDED])
                | Q(
                    serial__isnull=False,
                    packed_on__isnull=False,
                    closed_at__isnull=False,
                )
                & ~Q(batch=""),
            ),
            check(
                "kitting_box_weighed_to_close",
                Q(mass_mg__isnull=True) | Q(serial__isnull=False),
            ),
            once(
                "kitting_box_one_unlabelled_per_bench",
                "bench",
                condition=IN_WORK,
            ),
        ]

    def __str__(self) -> str:
        return self.serial or self.number

    @property
    def unlabelled(self) -> bool:
        """Whether its label was not scanned yet, at its bench or put away."""
        return self.stage in (BoxStage.OPEN, BoxStage.CLOSED)

    @property
    def in_work(self) -> bool:
        """Whether it stands at its bench and is not labelled yet; see ``IN_WORK``."""
        return self.unlabelled and self.place_id is None


class BoxEvent(Guarded):
    """One change of a box's stage."""

    box = models.ForeignKey(
        Box, on_delete=models.PROTECT, related_name="events", db_index=False
    )
    nth = models.PositiveSmallIntegerField()
    before = models.CharField(max_length=12, blank=True)
    after = word_field(BoxStage)
    reason = models.CharField(max_length=200, blank=True)
    label = models.CharField(max_length=12, null=True)
    """What became of the label of a box that was voided: scanned or destroyed."""

    class Meta:
        default_permissions = ()
        constraints = [once("kitting_boxevent_nth", "box", "nth")]

    def __str__(self) -> str:
        return f"box {self.box_id}: {self.before} to {self.after}"


class BoxPut(Guarded):
    """A box that was put down at a place, or taken from there to its bench again."""

    box = models.ForeignKey(Box, on_delete=models.PROTECT, related_name="puts")
    place = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, null=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"box {self.box_id} at {self.place_id or 'its bench'}"


class AllowedMass(Guarded):
    """That somebody lets an open box close at a mass outside of its window."""

    box = models.ForeignKey(
        Box, on_delete=models.PROTECT, related_name="allowed_masses"
    )
    mass_mg = models.PositiveIntegerField()
    within_mg = models.PositiveIntegerField()
    """How far another reading of the same box may be off that."""
    moves = models.PositiveIntegerField()
    """Movements into the box and out of it by then; after another it holds no more."""
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"box {self.box_id} at {self.mass_mg} mg"


class BoxHanded(Guarded):
    """An open box that went from one bench to another, to be finished there."""

    box = models.ForeignKey(Box, on_delete=models.PROTECT, related_name="handed")
    before = models.ForeignKey(
        Bench, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    bench = models.ForeignKey(
        Bench, on_delete=models.PROTECT, related_name="boxes_handed"
    )

    def __str__(self) -> str:
        return f"box {self.box_id} from {self.before_id} to {self.bench_id}"


class BoxLine(models.Model):
    """Pieces of one bag, cleared by one run, in one box."""

    box = models.ForeignKey(
        Box, on_delete=models.PROTECT, related_name="lines", db_index=False
    )
    bag = models.ForeignKey(
        "kitting.Bag",
        on_delete=models.PROTECT,
        related_name="box_lines",
        db_index=False,
    )
    run = models.ForeignKey(
        "kitting.Run",
        on_delete=models.PROTECT,
        null=True,
        related_name="box_lines",
        db_index=False,
    )
    lot = models.ForeignKey(
        "kitting.Lot",
        on_delete=models.PROTECT,
        related_name="box_lines",
        db_index=False,
    )
    pieces = models.PositiveIntegerField()

    unsealed: ClassVar = {
        "id": "movements into the box",
        "box_id": "movements into the box",
        "bag_id": "movements into the box",
        "run_id": "movements into the box",
        "lot_id": "the lot of the bag",
        "pieces": "movements into the box",
    }

    class Meta:
        default_permissions = ()
        ordering = ["id"]
        indexes = [
            models.Index(fields=["lot", "box", "pieces"], name="kitting_boxline_lot"),
            models.Index(fields=["bag", "box"], name="kitting_boxline_bag"),
            models.Index(fields=["run", "box"], name="kitting_boxline_run"),
        ]
        constraints = [
            once("kitting_boxline_once", "box", "bag", "run"),
            once(
                "kitting_boxline_once_without_run",
                "box",
                "bag",
                condition=Q(run__isnull=True),
            ),
            check("kitting_boxline_pieces", pieces__gte=1),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} of bag {self.bag_id} in box {self.box_id}"
