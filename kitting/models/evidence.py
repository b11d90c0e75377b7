"""Defects, what became of rejected lots, counts, samples and evidence."""

from __future__ import annotations

from enum import StrEnum

from django.db import models
from django.db.models import Q

from kitting.models.base import Guarded, check, once, one_of, word_field
from kitting.models.lots import CountedBy


class Grade(StrEnum):
    CRITICAL = "critical"
    MAJOR = "major"
    MINOR = "minor"


class Fate(StrEnum):
    SORTED = "sorted"
    SENT_BACK = "sent_back"
    CONCESSION = "concession"
    SCRAPPED = "scrapped"


class Inspected(StrEnum):
    """What the quality officer may decide for a class of defect."""

    REDUCED = "reduced"
    NORMAL = "normal"


def rejected_from(accept: int, reject: int | None) -> int:
    """The rejection number of a class as it is kept."""
    return accept + 1 if reject is None else reject


class DefectKind(models.Model):
    """A kind of defect that the workshop looks for; the list is its own."""

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=40)
    grade = word_field(Grade, default=Grade.MAJOR)
    part = models.ForeignKey(
        "kitting.Part",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="defect_kinds",
    )
    in_use = models.BooleanField(default=True)

    class Meta:
        default_permissions = ()
        ordering = ["grade", "name"]
        constraints = [one_of("kitting_defectkind_grade_known", "grade", Grade)]

    def __str__(self) -> str:
        return self.name


class Defect(Guarded):
    """How many pieces of a check had a kind of defect."""

    check_made = models.ForeignKey(
        "kitting.Check", on_delete=models.PROTECT, related_name="defects"
    )
    kind = models.ForeignKey(
        DefectKind, on_delete=models.PROTECT, related_name="defects"
    )
    pieces = models.PositiveIntegerField()

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_defect_once", "check_made", "kind"),
            check("kitting_defect_pieces", pieces__gte=1),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} × {self.kind_id}"


class CheckedClass(Guarded):
    """The plan of one class of defect that a check followed, and what it found.

    The acceptable quality level is in thousandths of a percent; there is none where
    all pieces are looked at. A rejection number that is not kept is the one after the
    acceptance number: before reduced inspection there was no other.
    """

    check_made = models.ForeignKey(
        "kitting.Check", on_delete=models.PROTECT, related_name="classes"
    )
    defect_class = word_field(Grade)
    severity = models.CharField(max_length=12)
    letter = models.CharField(max_length=1, blank=True)
    aql = models.PositiveIntegerField(null=True)
    sample_size = models.PositiveIntegerField()
    accept = models.PositiveIntegerField()
    reject = models.PositiveIntegerField(null=True)
    found = models.PositiveIntegerField()

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_checkedclass_once", "check_made", "defect_class"),
            one_of("kitting_checkedclass_class_known", "defect_class", Grade),
            check(
                "kitting_checkedclass_found_in_sample",
                found__lte=models.F("sample_size"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.found} {self.defect_class} of {self.sample_size}"

    @property
    def rejected_from(self) -> int:
        """The rejection number."""
        return rejected_from(self.accept, self.reject)


class Resumption(Guarded):
    """A stopped source that may deliver a part again, and why."""

    part = models.ForeignKey(
        "kitting.Part", on_delete=models.PROTECT, related_name="resumptions"
    )
    source = models.CharField(max_length=60)
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        indexes = [
            models.Index(fields=["part", "source"], name="kitting_resumption_of")
        ]
        constraints = [check("kitting_resumption_has_a_reason", ~Q(reason=""))]

    def __str__(self) -> str:
        return f"part {self.part_id} from {self.source}"


class Switching(Guarded):
    """That a class of a part from a source goes to reduced inspection, or back."""

    part = models.ForeignKey(
        "kitting.Part", on_delete=models.PROTECT, related_name="switchings"
    )
    source = models.CharField(max_length=60)
    defect_class = word_field(Grade)
    to = word_field(Inspected)
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        indexes = [models.Index(fields=["part", "source"], name="kitting_switching_of")]
        constraints = [
            one_of(
                "kitting_switching_class_known",
                "defect_class",
                [Grade.MAJOR, Grade.MINOR],
            ),
            one_of("kitting_switching_to_known", "to", Inspected),
            check("kitting_switching_has_a_reason", ~Q(reason="")),
        ]

    def __str__(self) -> str:
        return f"{self.defect_class} of part {self.part_id}: {self.to}"


class Disposition(Guarded):
    """What became of rejected bags: sorted, sent back, accepted anyway, or scrapped."""

    lot = models.ForeignKey(
        "kitting.Lot", on_delete=models.PROTECT, related_name="dispositions"
    )
    bag = models.ForeignKey(
        "kitting.Bag", on_delete=models.PROTECT, null=True, related_name="dispositions"
    )
    fate = word_field(Fate)
    good = models.PositiveIntegerField(default=0)
    bad = models.PositiveIntegerField(default=0)
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [
            one_of("kitting_disposition_fate_known", "fate", Fate),
            check("kitting_disposition_has_a_reason", ~Q(reason="")),
        ]

    def __str__(self) -> str:
        return f"{self.fate} {self.lot_id}"


class Count(Guarded):
    """A bag that was counted again, and how."""

    bag = models.ForeignKey(
        "kitting.Bag", on_delete=models.PROTECT, related_name="counts"
    )
    counted_by = word_field(CountedBy)
    before = models.PositiveIntegerField()
    counted = models.PositiveIntegerField()
    stacks = models.PositiveIntegerField(null=True)
    stack_pieces = models.PositiveIntegerField(null=True)
    gross_mg = models.PositiveBigIntegerField(null=True)
    tare_mg = models.PositiveBigIntegerField(null=True)
    reference_pieces = models.PositiveIntegerField(null=True)
    reference_mg = models.PositiveBigIntegerField(null=True)
    spread_mg = models.PositiveIntegerField(null=True)
    scale_u_mg = models.PositiveIntegerField(null=True)
    sd_millipieces = models.PositiveBigIntegerField(null=True)
    confirmed_by = models.ForeignKey(
        "kitting.User", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """The checker on whose word what was found in a cleared bag stays there."""
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        default_permissions = ()
        constraints = [one_of("kitting_count_way_known", "counted_by", CountedBy)]

    def __str__(self) -> str:
        return f"{self.counted} in bag {self.bag_id}"


class Sample(Guarded):
    """Pieces that went to a laboratory or another test."""

    bag = models.ForeignKey(
        "kitting.Bag", on_delete=models.PROTECT, related_name="samples"
    )
    pieces = models.PositiveIntegerField()
    what_for = models.CharField(max_length=120)
    sent_to = models.CharField(max_length=80)

    class Meta:
        default_permissions = ()
        constraints = [check("kitting_sample_pieces", pieces__gte=1)]

    def __str__(self) -> str:
        return f"{self.pieces} of bag {self.bag_id} for {self.what_for}"


class SampleResult(Guarded):
    """What came back for a sample."""

    sample = models.OneToOneField(
        Sample, on_delete=models.PROTECT, related_name="result"
    )
    result = models.CharField(max_length=200)
    document = models.CharField(max_length=120, blank=True)

    def __str__(self) -> str:
        return self.result


class Evidence(Guarded):
    """A report that a protocol stands on."""

    code = models.CharField(max_length=20, unique=True)
    laboratory = models.CharField(max_length=80)
    surface = models.CharField(max_length=80)
    container = models.CharField(max_length=60, blank=True)
    measured = models.CharField(max_length=120)
    result = models.CharField(max_length=200)
    document = models.CharField(max_length=120)
    on = models.DateField()

    def __str__(self) -> str:
        return self.code


class ProtocolEvidence(Guarded):
    """Which evidence a version of a protocol points to."""

    protocol = models.ForeignKey(
        "kitting.Protocol", on_delete=models.PROTECT, related_name="evidence_rows"
    )
    evidence = models.ForeignKey(
        Evidence, on_delete=models.PROTECT, related_name="protocols"
    )

    class Meta:
        default_permissions = ()
        constraints = [once("kitting_protocolevidence_once", "protocol", "evidence")]

    def __str__(self) -> str:
        return f"{self.evidence_id} for {self.protocol_id}"


class Signature(Guarded):
    """A quality officer's name under a version of a protocol.

    ``mark`` is a hash over all that was signed, so that a change afterwards is found.
    """

    protocol = models.OneToOneField(
        "kitting.Protocol", on_delete=models.PROTECT, related_name="signature"
    )
    meaning = models.CharField(max_length=80)
    mark = models.BinaryField(max_length=32)

    def __str__(self) -> str:
        return f"protocol {self.protocol_id}: {self.meaning}"


class Retirement(Guarded):
    """The end of a version of a protocol: its last day, and why.

    ``was_until`` is the day until which it was signed, where there was one.
    """

    protocol = models.OneToOneField(
        "kitting.Protocol", on_delete=models.PROTECT, related_name="retirement"
    )
    last_day = models.DateField()
    was_until = models.DateField(null=True)
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [check("kitting_retirement_has_a_reason", ~Q(reason=""))]

    def __str__(self) -> str:
        return f"protocol {self.protocol_id} until {self.last_day}"
