"""Protocols, meters, and the runs that clear bags."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from kitting.domain.margins import combined_ppm
from kitting.domain.stages import RunStage
from kitting.models.base import Guarded, check, once, one_of, word_field
from kitting.models.lots import Container


class Process(StrEnum):
    UVC_BELT = "uvc_belt"
    UVC_CABINET = "uvc_cabinet"
    LIQUID = "liquid"
    HEAT = "heat"


UVC = (Process.UVC_BELT, Process.UVC_CABINET)


class Side(StrEnum):
    TOP = "top"
    BOTTOM = "bottom"


class Moment(StrEnum):
    OPENING = "opening"
    CLOSING = "closing"


class Protocol(models.Model):
    """An approved disinfection procedure; a change is a new version.

    ``min_value`` is what must not be undercut for ``hold_s`` seconds without a break:
    a temperature in thousandths of a degree Celsius for dry heat, a concentration in
    ppm for a liquid.
    """

    code = models.CharField(max_length=12)
    version = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80)
    process = word_field(Process)
    required_top_uj_cm2 = models.PositiveIntegerField()
    required_bottom_uj_cm2 = models.PositiveIntegerField()
    turned = models.BooleanField(default=False)
    hold_s = models.PositiveIntegerField(null=True, blank=True)
    min_value = models.PositiveIntegerField(null=True, blank=True)
    low_nm = models.PositiveSmallIntegerField(null=True, blank=True)
    high_nm = models.PositiveSmallIntegerField(null=True, blank=True)
    max_passes = models.PositiveSmallIntegerField(null=True, blank=True)
    in_force_from = models.DateField()
    in_force_until = models.DateField(null=True, blank=True)
    evidence = models.TextField(blank=True)
    label_words = models.CharField(max_length=60, blank=True)
    signed_by = models.CharField(max_length=80, blank=True)

    class Meta:
        default_permissions = ()
        ordering = ["code", "version"]
        constraints = [
            once("kitting_protocol_once", "code", "version"),
            check(
                "kitting_protocol_requires_something",
                Q(required_top_uj_cm2__gte=1)
                | Q(required_bottom_uj_cm2__gte=1)
                | Q(
                    process__in=[Process.LIQUID, Process.HEAT],
                    hold_s__gte=1,
                    min_value__gte=1,
                ),
            ),
            one_of("kitting_protocol_process_known", "process", Process),
        ]

    def __str__(self) -> str:
        return f"{self.code} version {self.version}"

    def required(self) -> dict[str, int]:
        """Required dose per side in µJ/cm²; a side that needs none is left out."""
        sides = {
            str(Side.TOP): self.required_top_uj_cm2,
            str(Side.BOTTOM): self.required_bottom_uj_cm2,
        }
        return {side: dose for side, dose in sides.items() if dose}


class ProtocolLoad(models.Model):
    """What a protocol covers: part, revision, container, how many, how laid."""

    protocol = models.ForeignKey(
        Protocol, on_delete=models.PROTECT, related_name="loads"
    )
    part = models.ForeignKey("kitting.Part", on_delete=models.PROTECT, related_name="+")
    revision = models.ForeignKey(
        "kitting.Revision", on_delete=models.PROTECT, related_name="+"
    )
    container = word_field(Container)
    max_pieces = models.PositiveIntegerField()
    orientation = models.CharField(max_length=80, blank=True)

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_protocolload_once", "protocol", "revision", "container")
        ]

    def __str__(self) -> str:
        return f"{self.revision_id} in {self.container}"


class Cover(Guarded):
    """A quality officer's word that what a protocol says of one revision holds for another.

    It is of each load that the protocol has for ``like``, which was measured.
    """

    protocol = models.ForeignKey(
        Protocol, on_delete=models.PROTECT, related_name="covers"
    )
    revision = models.ForeignKey(
        "kitting.Revision", on_delete=models.PROTECT, related_name="covers"
    )
    like = models.ForeignKey(
        "kitting.Revision", on_delete=models.PROTECT, related_name="+"
    )
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [
            check("kitting_cover_has_a_reason", ~Q(reason="")),
            check("kitting_cover_of_another", ~Q(revision=models.F("like"))),
        ]

    def __str__(self) -> str:
        return f"revision {self.revision_id} like {self.like_id}"


class Withdrawal(Guarded):
    """The end of a cover: nothing goes on by it from then on."""

    cover = models.OneToOneField(
        Cover, on_delete=models.PROTECT, related_name="withdrawal"
    )
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [check("kitting_withdrawal_has_a_reason", ~Q(reason=""))]

    def __str__(self) -> str:
        return f"end of cover {self.cover_id}"


class Meter(models.Model):
    """A radiometer."""

    serial = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=60)

    class Meta:
        default_permissions = ()
        ordering = ["serial"]

    def __str__(self) -> str:
        return f"{self.name} {self.serial}"


class Calibration(Guarded):
    """A calibration of a meter: when, until when, and its expanded uncertainty."""

    meter = models.ForeignKey(
        Meter, on_delete=models.PROTECT, related_name="calibrations"
    )
    on = models.DateField()
    due = models.DateField()
    rel_u_ppm = models.PositiveIntegerField()
    low_nm = models.PositiveSmallIntegerField(null=True)
    high_nm = models.PositiveSmallIntegerField(null=True)

    class Meta:
        default_permissions = ()
        constraints = [
            check("kitting_calibration_dates", due__gte=models.F("on")),
            check("kitting_calibration_u", rel_u_ppm__lt=1_000_000),
        ]

    def __str__(self) -> str:
        return f"{self.meter_id} on {self.on}"


class Run(models.Model):
    """The interval on one line between an opening and a closing reading."""

    number = models.CharField(max_length=20, unique=True)
    line = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, related_name="runs"
    )
    protocol = models.ForeignKey(
        Protocol, on_delete=models.PROTECT, related_name="runs"
    )
    meter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="runs")
    stage = word_field(RunStage, default=RunStage.OPEN)
    zone_um = models.PositiveIntegerField(null=True, blank=True)
    belt_um_s = models.PositiveIntegerField(null=True, blank=True)
    exposure_ms = models.PositiveBigIntegerField()
    passes = models.PositiveSmallIntegerField(default=1)
    rel_u_ppm = models.PositiveIntegerField()
    belt_u_ppm = models.PositiveIntegerField(default=0)
    zone_u_ppm = models.PositiveIntegerField(default=0)
    decline_ppm = models.PositiveIntegerField(default=0)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    unsealed: ClassVar = {
        "stage": "the act that ended it",
        "closed_at": "the act that ended it",
    }

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        constraints = [
            one_of("kitting_run_stage_known", "stage", RunStage),
            once(
                "kitting_run_one_open_per_line",
                "line",
                condition=Q(stage=RunStage.OPEN),
            ),
            check("kitting_run_exposes", exposure_ms__gte=1, passes__gte=1),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def path_u_ppm(self) -> int:
        """Of the time in the light: by the belt's speed and the length of the zone."""
        return combined_ppm(self.belt_u_ppm, self.zone_u_ppm)


class Reading(Guarded):
    """One irradiance reading of a run."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="readings")
    point = models.PositiveSmallIntegerField()
    side = word_field(Side)
    moment = word_field(Moment)
    uw_cm2 = models.PositiveIntegerField()

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_reading_once", "run", "point", "side", "moment"),
            one_of("kitting_reading_side_known", "side", Side),
            one_of("kitting_reading_moment_known", "moment", Moment),
        ]

    def __str__(self) -> str:
        return f"{self.moment} {self.side} {self.point}: {self.uw_cm2} µW/cm²"


class RunVerdict(Guarded):
    """The computed dose of a run and whether it was enough; a row per side."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="verdicts")
    side = word_field(Side)
    required_uj_cm2 = models.PositiveBigIntegerField()
    dose_uj_cm2 = models.PositiveBigIntegerField()
    low_uj_cm2 = models.PositiveBigIntegerField()
    rel_u_ppm = models.PositiveIntegerField()
    passed = models.BooleanField()

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_runverdict_once", "run", "side"),
            one_of("kitting_runverdict_side_known", "side", Side),
        ]

    def __str__(self) -> str:
        return f"{self.run_id} {self.side}: {self.low_uj_cm2} µJ/cm²"


class RunBag(models.Model):
    """A bag's stay in a run, from when it went on until the verdict."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="run_bags")
    bag = models.ForeignKey(
        "kitting.Bag", on_delete=models.PROTECT, related_name="run_bags"
    )
    on_at = models.DateTimeField()
    off_at = models.DateTimeField(null=True, blank=True)
    live = models.BooleanField(default=True)
    original = models.ForeignKey(
        "kitting.Bag", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """The bag that the pieces were in then, where they were repacked since."""
    cover = models.ForeignKey(
        Cover, on_delete=models.PROTECT, null=True, related_name="stays"
    )
    """What it went on by, where the protocol does not name the revision itself."""

    unsealed: ClassVar = {
        "live": "the stage of its run",
    }

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_runbag_once", "run", "bag"),
            once("kitting_runbag_one_live", "bag", condition=Q(live=True)),
        ]

    def __str__(self) -> str:
        return f"bag {self.bag_id} in run {self.run_id}"


class MeterFault(Guarded):
    """A meter that was found to read wrong: every run since its last calibration."""

    meter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="faults")
    found_on = models.DateField()
    reason = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"meter {self.meter_id} found wrong on {self.found_on}"


class Lamp(models.Model):
    """A lamp of a line, from its fitting until it is changed."""

    line = models.ForeignKey(
        "kitting.Place", on_delete=models.PROTECT, related_name="lamps"
    )
    name = models.CharField(max_length=60)
    fitted_on = models.DateField()
    taken_out_on = models.DateField(null=True, blank=True)
    rated_hours = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        default_permissions = ()
        ordering = ["line", "name", "fitted_on"]

    def __str__(self) -> str:
        return self.name


class LampHours(Guarded):
    """The hours that a lamp has burnt, as read on a day."""

    lamp = models.ForeignKey(Lamp, on_delete=models.PROTECT, related_name="hours")
    on = models.DateField()
    hours = models.PositiveIntegerField()

    def __str__(self) -> str:
        return f"{self.hours} h on {self.on}"


class Dosimeter(Guarded):
    """A dosimeter that was carried through a run on one side of a part."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="dosimeters")
    nth = models.PositiveSmallIntegerField()
    side = word_field(Side)
    uj_cm2 = models.PositiveBigIntegerField()
    rel_u_ppm = models.PositiveIntegerField()

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_dosimeter_nth", "run", "nth"),
            one_of("kitting_dosimeter_side_known", "side", Side),
        ]

    def __str__(self) -> str:
        return f"{self.uj_cm2} µJ/cm² on {self.side} in run {self.run_id}"


class RunValue(Guarded):
    """A logged value of a run by heat (thousandths of °C) or liquid (ppm)."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="values")
    at = models.DateTimeField()
    value = models.IntegerField()

    class Meta:
        default_permissions = ()
        constraints = [once("kitting_runvalue_once", "run", "at")]

    def __str__(self) -> str:
        return f"{self.value} at {self.at} in run {self.run_id}"


class Interruption(Guarded):
    """A line that stopped during a run: the passes under way count nothing."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="interruptions")
    reason = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"run {self.run_id} interrupted"
