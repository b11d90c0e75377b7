"""Consignees, and what they ask for."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from dispatch.domain.folding import fold
from dispatch.domain.needs import MOST_SETS, RequestStage, Tier, Way
from kitting.models.base import Guarded, check, one_of, word_field


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
    night_contact = models.CharField(max_length=120, blank=True)
    email = models.EmailField(max_length=120, blank=True)
    """Where letters about a recall go."""
    opening = models.CharField(max_length=120, blank=True)
    """When it takes deliveries."""
    gln = models.CharField(max_length=13, unique=True, null=True, blank=True)
    points = models.TextField(blank=True)
    """Its delivery points and wards, a line for each."""
    active = models.BooleanField(default=True)
    language = models.CharField(max_length=8, default="en")
    """That of its packing lists."""
    search = models.CharField(max_length=255, blank=True)
    merged_into = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="merged"
    )
    """The one that it is: both were on record. What is past stays its own.

    Where that one was merged in turn it is the last of them; ``Merging`` knows the way."""

    class Meta:
        default_permissions = ()
        ordering = ["name"]
        constraints = [
            check(
                "dispatch_consignee_merged_is_closed",
                Q(merged_into__isnull=True) | Q(active=False),
            ),
            check(
                "dispatch_consignee_parts_have_a_country",
                ~Q(country="") | Q(street="", postcode="", city="", region=""),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: object, **kwargs: object) -> None:
        self.search = fold(f"{self.code} {self.name}")[:255]
        super().save(*args, **kwargs)  # type: ignore[arg-type]

    @property
    def stays(self) -> Consignee:
        """The one that it turned out to be; itself where it was not merged."""
        return self.merged_into or self


class Merging(Guarded):
    """That a consignee was said to be another one; true until it is opened again."""

    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="mergings"
    )
    into = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"consignee {self.consignee_id} is {self.into_id}"


class Request(models.Model):
    """What a consignee asked for."""

    number = models.CharField(max_length=20, unique=True)
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="requests", db_index=False
    )
    product = models.ForeignKey(
        "kitting.Product", on_delete=models.PROTECT, related_name="+"
    )
    sets = models.PositiveIntegerField()
    tier = models.PositiveSmallIntegerField()
    """How much it is needed: see ``Tier``."""
    needed_by = models.DateField(null=True)
    asked_on = models.DateField()
    way = word_field(Way)
    caller = models.CharField(max_length=80, blank=True)
    """Who asked, at the consignee."""
    taken_by = models.CharField(max_length=150)
    """Who took it down."""
    point = models.CharField(max_length=80, blank=True)
    """At which of its delivery points or wards it is needed."""
    reference = models.CharField(max_length=40, blank=True)
    note = models.CharField(max_length=200, blank=True)
    stage = word_field(RequestStage, default=RequestStage.OPEN)

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        indexes = [
            models.Index(
                fields=["consignee", "product", "stage"], name="dispatch_request_whom"
            ),
            models.Index(fields=["stage", "tier"], name="dispatch_request_stage"),
        ]
        constraints = [
            one_of("dispatch_request_stage_known", "stage", RequestStage),
            one_of("dispatch_request_way_known", "way", Way),
            check("dispatch_request_sets", sets__range=(1, MOST_SETS)),
            check(
                "dispatch_request_tier", tier__range=(int(min(Tier)), int(max(Tier)))
            ),
        ]

    def __str__(self) -> str:
        return self.number
