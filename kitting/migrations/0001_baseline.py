"""Every table as it is now; made anew until 0.1.0, then migrations only add."""

from __future__ import annotations

from typing import TYPE_CHECKING

import django.contrib.auth.models
import django.contrib.auth.validators
import django.db.models.deletion
import django.db.models.expressions
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import kitting.domain.stages
import kitting.ledger.tables
import kitting.models.base
import kitting.models.catalogue
import kitting.models.evidence
import kitting.models.lots
import kitting.models.runs
from kitting.ledger.guards import drop_guards, install_guards

if TYPE_CHECKING:
    from django.apps.registry import Apps
    from django.db.backends.base.schema import BaseDatabaseSchemaEditor


def install(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    install_guards(schema_editor.connection)


def drop(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    drop_guards(schema_editor.connection)


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        kitting.ledger.tables.Tables(
            operations=[
                migrations.CreateModel(
                    name="Place",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=12, unique=True)),
                        ("name", models.CharField(max_length=60)),
                        (
                            "kind",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.catalogue.PlaceKind
                                ),
                                default=kitting.models.catalogue.PlaceKind["SHELF"],
                                max_length=12,
                            ),
                        ),
                        ("active", models.BooleanField(default=True)),
                    ],
                    options={
                        "ordering": ["code"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("kind", "shelf"),
                                    ("kind", "rack"),
                                    ("kind", "bench"),
                                    ("kind", "line"),
                                    ("kind", "boxes ready"),
                                    ("kind", "dock"),
                                    ("kind", "quarantine"),
                                    _connector="OR",
                                ),
                                name="kitting_place_kind_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Bench",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=12, unique=True)),
                        ("name", models.CharField(max_length=60)),
                        (
                            "place",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="bench",
                                to="kitting.place",
                            ),
                        ),
                        ("active", models.BooleanField(default=True)),
                        ("sounds", models.BooleanField(default=True)),
                        (
                            "scale_most_mg",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                        (
                            "scale_step_mg",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                        (
                            "scale_u_mg",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                    ],
                    options={
                        "ordering": ["code"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("scale_most_mg__isnull", True),
                                        ("scale_step_mg__isnull", True),
                                        ("scale_u_mg__isnull", True),
                                    ),
                                    models.Q(
                                        ("scale_most_mg__isnull", False),
                                        ("scale_step_mg__gte", 1),
                                        ("scale_step_mg__isnull", False),
                                        ("scale_u_mg__isnull", False),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_bench_scale_whole",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Carrier",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("number", models.CharField(max_length=20, unique=True)),
                        ("name", models.CharField(max_length=60)),
                        (
                            "place",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="carriers",
                                to="kitting.place",
                            ),
                        ),
                    ],
                    options={
                        "ordering": ["number"],
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Method",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=20, unique=True)),
                        ("machine_group", models.CharField(max_length=60)),
                        (
                            "settings_version",
                            models.CharField(blank=True, max_length=20),
                        ),
                        ("active", models.BooleanField(default=True)),
                    ],
                    options={
                        "ordering": ["code"],
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Part",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=12, unique=True)),
                        ("name", models.CharField(max_length=60)),
                        (
                            "unit",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.catalogue.Unit
                                ),
                                default=kitting.models.catalogue.Unit["PIECE"],
                                max_length=12,
                            ),
                        ),
                        ("mass_mg", models.PositiveIntegerField(blank=True, null=True)),
                        (
                            "spread_mg",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                        ("needs_check", models.BooleanField(default=True)),
                        ("needs_clearing", models.BooleanField(default=True)),
                        ("sampled", models.BooleanField(default=False)),
                        ("check_level", models.CharField(default="II", max_length=4)),
                        ("aql_major", models.PositiveIntegerField(default=1000)),
                        ("aql_minor", models.PositiveIntegerField(default=2500)),
                        (
                            "max_dose_uj_cm2",
                            models.PositiveBigIntegerField(blank=True, null=True),
                        ),
                        (
                            "open_hours",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                        ("latex", models.BooleanField(default=False)),
                        ("manual", models.BooleanField(default=False)),
                    ],
                    options={
                        "ordering": ["code"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("unit", "piece"),
                                    ("unit", "gram"),
                                    ("unit", "mm"),
                                    _connector="OR",
                                ),
                                name="kitting_part_unit_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Revision",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="revisions",
                                to="kitting.part",
                            ),
                        ),
                        ("code", models.CharField(max_length=12)),
                        ("changed", models.CharField(blank=True, max_length=200)),
                        ("approved_by", models.CharField(blank=True, max_length=60)),
                        ("from_lot", models.CharField(blank=True, max_length=40)),
                        ("old_stock", models.CharField(blank=True, max_length=200)),
                        ("manual_changes", models.BooleanField(default=False)),
                        ("active", models.BooleanField(default=True)),
                    ],
                    options={
                        "ordering": ["part", "code"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("part", "code"), name="kitting_revision_once"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Lot",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("number", models.CharField(max_length=20, unique=True)),
                        ("source", models.CharField(max_length=60)),
                        ("source_key", models.CharField(max_length=180)),
                        (
                            "source_number",
                            models.CharField(blank=True, db_index=True, max_length=40),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lots",
                                to="kitting.part",
                            ),
                        ),
                        (
                            "revision",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lots",
                                to="kitting.revision",
                            ),
                        ),
                        (
                            "method",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lots",
                                to="kitting.method",
                            ),
                        ),
                        ("made_on", models.DateField()),
                        ("use_by", models.DateField(blank=True, null=True)),
                        (
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.lots.LotStage
                                ),
                                default=kitting.models.lots.LotStage["OPEN"],
                                max_length=12,
                            ),
                        ),
                        (
                            "verdict",
                            models.CharField(
                                blank=True,
                                choices=kitting.models.base.Words(
                                    kitting.models.lots.Verdict
                                ),
                                default=kitting.models.lots.Verdict["NONE"],
                                max_length=12,
                            ),
                        ),
                    ],
                    options={
                        "ordering": ["-id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["part", "use_by"],
                                name="kitting_lot_part_use_by",
                            ),
                            models.Index(
                                fields=["source_key", "source"],
                                name="kitting_lot_source",
                            ),
                            models.Index(
                                fields=["stage", "verdict"], name="kitting_lot_stage"
                            ),
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("stage", "open"),
                                    ("stage", "closed"),
                                    ("stage", "cancelled"),
                                    _connector="OR",
                                ),
                                name="kitting_lot_stage_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("verdict", ""),
                                    ("verdict", "accepted"),
                                    ("verdict", "rejected"),
                                    _connector="OR",
                                ),
                                name="kitting_lot_verdict_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("use_by__isnull", True),
                                    ("use_by__gte", models.F("made_on")),
                                    _connector="OR",
                                ),
                                name="kitting_lot_use_by_after_made_on",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Meter",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("serial", models.CharField(max_length=30, unique=True)),
                        ("name", models.CharField(max_length=60)),
                    ],
                    options={
                        "ordering": ["serial"],
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Protocol",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=12)),
                        ("version", models.PositiveSmallIntegerField()),
                        ("name", models.CharField(max_length=80)),
                        (
                            "process",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.runs.Process
                                ),
                                max_length=12,
                            ),
                        ),
                        ("required_top_uj_cm2", models.PositiveIntegerField()),
                        ("required_bottom_uj_cm2", models.PositiveIntegerField()),
                        ("turned", models.BooleanField(default=False)),
                        ("hold_s", models.PositiveIntegerField(blank=True, null=True)),
                        (
                            "min_value",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                        (
                            "low_nm",
                            models.PositiveSmallIntegerField(blank=True, null=True),
                        ),
                        (
                            "high_nm",
                            models.PositiveSmallIntegerField(blank=True, null=True),
                        ),
                        (
                            "max_passes",
                            models.PositiveSmallIntegerField(blank=True, null=True),
                        ),
                        ("in_force_from", models.DateField()),
                        ("in_force_until", models.DateField(blank=True, null=True)),
                        ("evidence", models.TextField(blank=True)),
                        ("label_words", models.CharField(blank=True, max_length=60)),
                        ("signed_by", models.CharField(blank=True, max_length=80)),
                    ],
                    options={
                        "ordering": ["code", "version"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("code", "version"), name="kitting_protocol_once"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("required_top_uj_cm2__gte", 1),
                                    ("required_bottom_uj_cm2__gte", 1),
                                    models.Q(
                                        ("hold_s__gte", 1),
                                        ("min_value__gte", 1),
                                        (
                                            "process__in",
                                            [
                                                kitting.models.runs.Process["LIQUID"],
                                                kitting.models.runs.Process["HEAT"],
                                            ],
                                        ),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_protocol_requires_something",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("process", "uvc_belt"),
                                    ("process", "uvc_cabinet"),
                                    ("process", "liquid"),
                                    ("process", "heat"),
                                    _connector="OR",
                                ),
                                name="kitting_protocol_process_known",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Run",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("number", models.CharField(max_length=20, unique=True)),
                        (
                            "line",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="runs",
                                to="kitting.place",
                            ),
                        ),
                        (
                            "protocol",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="runs",
                                to="kitting.protocol",
                            ),
                        ),
                        (
                            "meter",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="runs",
                                to="kitting.meter",
                            ),
                        ),
                        (
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.RunStage
                                ),
                                default=kitting.domain.stages.RunStage["OPEN"],
                                max_length=12,
                            ),
                        ),
                        ("zone_um", models.PositiveIntegerField(blank=True, null=True)),
                        (
                            "belt_um_s",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                        ("exposure_ms", models.PositiveBigIntegerField()),
                        ("passes", models.PositiveSmallIntegerField(default=1)),
                        ("rel_u_ppm", models.PositiveIntegerField()),
                        ("belt_u_ppm", models.PositiveIntegerField(default=0)),
                        ("zone_u_ppm", models.PositiveIntegerField(default=0)),
                        ("decline_ppm", models.PositiveIntegerField(default=0)),
                        ("opened_at", models.DateTimeField()),
                        ("closed_at", models.DateTimeField(blank=True, null=True)),
                    ],
                    options={
                        "ordering": ["-id"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("stage", "open"),
                                    ("stage", "released"),
                                    ("stage", "failed"),
                                    _connector="OR",
                                ),
                                name="kitting_run_stage_known",
                            ),
                            models.UniqueConstraint(
                                condition=models.Q(
                                    ("stage", kitting.domain.stages.RunStage["OPEN"])
                                ),
                                fields=("line",),
                                name="kitting_run_one_open_per_line",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("exposure_ms__gte", 1), ("passes__gte", 1)
                                ),
                                name="kitting_run_exposes",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Bag",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("number", models.CharField(max_length=20, unique=True)),
                        (
                            "lot",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="bags",
                                to="kitting.lot",
                            ),
                        ),
                        (
                            "container",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.lots.Container
                                ),
                                default=kitting.models.lots.Container["TOTE"],
                                max_length=12,
                            ),
                        ),
                        (
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.BagStage
                                ),
                                default=kitting.domain.stages.BagStage["ARRIVED"],
                                max_length=12,
                            ),
                        ),
                        (
                            "place",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="bags",
                                to="kitting.place",
                            ),
                        ),
                        (
                            "carrier",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="bags",
                                to="kitting.carrier",
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                        ("moves", models.PositiveIntegerField(default=0)),
                        ("opened_at", models.DateTimeField(blank=True, null=True)),
                        (
                            "cleared_run",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="cleared_bags",
                                to="kitting.run",
                            ),
                        ),
                        ("passes", models.PositiveIntegerField(default=0)),
                    ],
                    options={
                        "ordering": ["id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["stage", "lot"], name="kitting_bag_stage_lot"
                            )
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("stage", "arrived"),
                                    ("stage", "accepted"),
                                    ("stage", "in_run"),
                                    ("stage", "exposed"),
                                    ("stage", "cleared"),
                                    ("stage", "used_up"),
                                    ("stage", "rejected"),
                                    _connector="OR",
                                ),
                                name="kitting_bag_stage_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("container", "tote"),
                                    ("container", "film pack"),
                                    ("container", "bundle"),
                                    ("container", "open tray"),
                                    ("container", "roll"),
                                    _connector="OR",
                                ),
                                name="kitting_bag_container_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("pieces__gte", 0)),
                                name="kitting_bag_pieces_gte_0",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("pieces", 0),
                                        (
                                            "stage",
                                            kitting.domain.stages.BagStage["USED_UP"],
                                        ),
                                    ),
                                    models.Q(
                                        models.Q(
                                            (
                                                "stage",
                                                kitting.domain.stages.BagStage[
                                                    "USED_UP"
                                                ],
                                            ),
                                            _negated=True,
                                        ),
                                        ("pieces__gte", 1),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_bag_used_up_is_empty",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="OpenBag",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "bench",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="open_bags",
                                to="kitting.bench",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.part",
                            ),
                        ),
                        (
                            "bag",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="open_at",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "taken_from",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.bench",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("bench", "part"),
                                name="kitting_openbag_one_per_part",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Product",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=8, unique=True)),
                        ("name", models.CharField(max_length=60)),
                        ("language", models.CharField(default="en", max_length=8)),
                        (
                            "profile",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.catalogue.Profile
                                ),
                                default=kitting.models.catalogue.Profile["NONE"],
                                max_length=12,
                            ),
                        ),
                        ("cautions", models.TextField(blank=True)),
                        (
                            "cautions_reviewed_by",
                            models.CharField(blank=True, max_length=80),
                        ),
                        ("reference", models.CharField(blank=True, max_length=20)),
                        ("single_use", models.BooleanField(default=False)),
                        ("set_slips", models.BooleanField(default=False)),
                    ],
                    options={
                        "ordering": ["code"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("profile", "none"),
                                    ("profile", "ppe"),
                                    ("profile", "device"),
                                    _connector="OR",
                                ),
                                name="kitting_product_profile_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="BoxSize",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "product",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="sizes",
                                to="kitting.product",
                            ),
                        ),
                        ("sets", models.PositiveIntegerField()),
                        (
                            "gtin",
                            models.CharField(
                                blank=True, max_length=14, null=True, unique=True
                            ),
                        ),
                        (
                            "carton",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.part",
                            ),
                        ),
                        ("weigh", models.BooleanField(default=False)),
                        ("active", models.BooleanField(default=True)),
                    ],
                    options={
                        "ordering": ["product", "sets"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("product", "sets"), name="kitting_boxsize_once"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("sets__gte", 1)),
                                name="kitting_boxsize_sets",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="PackPlan",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("day", models.DateField()),
                        (
                            "size",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.boxsize",
                            ),
                        ),
                        ("boxes", models.PositiveIntegerField()),
                    ],
                    options={
                        "ordering": ["day", "size"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("day", "size"), name="kitting_packplan_once"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("boxes__gte", 1)),
                                name="kitting_packplan_boxes",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Recipe",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "product",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="recipes",
                                to="kitting.product",
                            ),
                        ),
                        ("version", models.PositiveSmallIntegerField()),
                        ("in_force", models.BooleanField(default=True)),
                    ],
                    options={
                        "ordering": ["product", "version"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("product", "version"),
                                name="kitting_recipe_once",
                            ),
                            models.UniqueConstraint(
                                condition=models.Q(("in_force", True)),
                                fields=("product",),
                                name="kitting_recipe_one_in_force",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Box",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("number", models.CharField(max_length=20, unique=True)),
                        (
                            "serial",
                            models.CharField(max_length=20, null=True, unique=True),
                        ),
                        (
                            "sscc",
                            models.CharField(max_length=18, null=True, unique=True),
                        ),
                        (
                            "recipe",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="kitting.recipe",
                            ),
                        ),
                        (
                            "size",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="kitting.boxsize",
                            ),
                        ),
                        (
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.BoxStage
                                ),
                                default=kitting.domain.stages.BoxStage["OPEN"],
                                max_length=12,
                            ),
                        ),
                        (
                            "bench",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="kitting.bench",
                            ),
                        ),
                        (
                            "place",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="kitting.place",
                            ),
                        ),
                        ("packed_on", models.DateField(null=True)),
                        ("use_by", models.DateField(null=True)),
                        (
                            "batch",
                            models.CharField(blank=True, db_index=True, max_length=20),
                        ),
                        ("mass_mg", models.PositiveIntegerField(null=True)),
                        ("events_seen", models.PositiveSmallIntegerField(default=0)),
                        ("closed_at", models.DateTimeField(null=True)),
                        ("label_seen_at", models.DateTimeField(null=True)),
                    ],
                    options={
                        "ordering": ["-id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["stage", "size", "packed_on"],
                                name="kitting_box_stage_size",
                            ),
                            models.Index(
                                fields=["packed_on", "recipe"],
                                name="kitting_box_packed_on",
                            ),
                            models.Index(
                                fields=["stage", "id"], name="kitting_box_stage"
                            ),
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("stage", "open"),
                                    ("stage", "closed"),
                                    ("stage", "labelled"),
                                    ("stage", "loaded"),
                                    ("stage", "sent"),
                                    ("stage", "delivered"),
                                    ("stage", "returned"),
                                    ("stage", "voided"),
                                    _connector="OR",
                                ),
                                name="kitting_box_stage_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    (
                                        "stage__in",
                                        [
                                            kitting.domain.stages.BoxStage["OPEN"],
                                            kitting.domain.stages.BoxStage["VOIDED"],
                                        ],
                                    ),
                                    models.Q(
                                        ("closed_at__isnull", False),
                                        ("packed_on__isnull", False),
                                        ("serial__isnull", False),
                                        models.Q(("batch", ""), _negated=True),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_box_identity_complete",
                            ),
                            models.UniqueConstraint(
                                condition=models.Q(
                                    ("place__isnull", True),
                                    (
                                        "stage__in",
                                        [
                                            kitting.domain.stages.BoxStage["OPEN"],
                                            kitting.domain.stages.BoxStage["CLOSED"],
                                        ],
                                    ),
                                ),
                                fields=("bench",),
                                name="kitting_box_one_unlabelled_per_bench",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("mass_mg__isnull", True),
                                    ("serial__isnull", False),
                                    _connector="OR",
                                ),
                                name="kitting_box_weighed_to_close",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="User",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "password",
                            models.CharField(max_length=128, verbose_name="password"),
                        ),
                        (
                            "last_login",
                            models.DateTimeField(
                                blank=True, null=True, verbose_name="last login"
                            ),
                        ),
                        (
                            "is_superuser",
                            models.BooleanField(
                                default=False,
                                help_text="Designates that this user has all permissions without explicitly assigning them.",
                                verbose_name="superuser status",
                            ),
                        ),
                        (
                            "username",
                            models.CharField(
                                error_messages={
                                    "unique": "A user with that username already exists."
                                },
                                help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                                max_length=150,
                                unique=True,
                                validators=[
                                    django.contrib.auth.validators.UnicodeUsernameValidator()
                                ],
                                verbose_name="username",
                            ),
                        ),
                        (
                            "first_name",
                            models.CharField(
                                blank=True, max_length=150, verbose_name="first name"
                            ),
                        ),
                        (
                            "last_name",
                            models.CharField(
                                blank=True, max_length=150, verbose_name="last name"
                            ),
                        ),
                        (
                            "email",
                            models.EmailField(
                                blank=True, max_length=254, verbose_name="email address"
                            ),
                        ),
                        (
                            "is_staff",
                            models.BooleanField(
                                default=False,
                                help_text="Designates whether the user can log into this admin site.",
                                verbose_name="staff status",
                            ),
                        ),
                        (
                            "is_active",
                            models.BooleanField(
                                default=True,
                                help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                                verbose_name="active",
                            ),
                        ),
                        (
                            "date_joined",
                            models.DateTimeField(
                                default=django.utils.timezone.now,
                                verbose_name="date joined",
                            ),
                        ),
                        ("sign_outs", models.PositiveIntegerField(default=0)),
                        (
                            "groups",
                            models.ManyToManyField(
                                blank=True,
                                help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                                related_name="user_set",
                                related_query_name="user",
                                to="auth.group",
                                verbose_name="groups",
                            ),
                        ),
                        (
                            "user_permissions",
                            models.ManyToManyField(
                                blank=True,
                                help_text="Specific permissions for this user.",
                                related_name="user_set",
                                related_query_name="user",
                                to="auth.permission",
                                verbose_name="user permissions",
                            ),
                        ),
                        (
                            "pin",
                            models.CharField(blank=True, default="", max_length=128),
                        ),
                        ("password_until", models.DateTimeField(blank=True, null=True)),
                    ],
                    options={
                        "verbose_name": "user",
                        "verbose_name_plural": "users",
                        "abstract": False,
                        "default_permissions": (),
                    },
                    managers=[
                        ("objects", django.contrib.auth.models.UserManager()),
                    ],
                ),
                migrations.CreateModel(
                    name="Operation",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("site", models.PositiveSmallIntegerField()),
                        ("key", models.BinaryField(max_length=16, unique=True)),
                        ("name", models.CharField(max_length=40)),
                        ("mark", models.BinaryField(max_length=32)),
                        (
                            "by",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to=settings.AUTH_USER_MODEL,
                            ),
                        ),
                        ("by_name", models.CharField(max_length=150)),
                        (
                            "bench",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.bench",
                            ),
                        ),
                        ("at", models.DateTimeField()),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(fields=["at"], name="kitting_operation_at"),
                            models.Index(
                                fields=["name"], name="kitting_operation_name"
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="BoxEvent",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="events",
                                to="kitting.box",
                            ),
                        ),
                        ("nth", models.PositiveSmallIntegerField()),
                        ("before", models.CharField(blank=True, max_length=12)),
                        (
                            "after",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.BoxStage
                                ),
                                max_length=12,
                            ),
                        ),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        ("label", models.CharField(max_length=12, null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("box", "nth"), name="kitting_boxevent_nth"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="BoxPut",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="puts",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "place",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.place",
                            ),
                        ),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="BoxLine",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lines",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="box_lines",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="box_lines",
                                to="kitting.run",
                            ),
                        ),
                        (
                            "lot",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="box_lines",
                                to="kitting.lot",
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                    ],
                    options={
                        "ordering": ["id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["lot", "box", "pieces"],
                                name="kitting_boxline_lot",
                            ),
                            models.Index(
                                fields=["bag", "box"], name="kitting_boxline_bag"
                            ),
                            models.Index(
                                fields=["run", "box"], name="kitting_boxline_run"
                            ),
                        ],
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("box", "bag", "run"),
                                name="kitting_boxline_once",
                            ),
                            models.UniqueConstraint(
                                condition=models.Q(("run__isnull", True)),
                                fields=("box", "bag"),
                                name="kitting_boxline_once_without_run",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("pieces__gte", 1)),
                                name="kitting_boxline_pieces",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Yield",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="yields",
                                to="kitting.part",
                            ),
                        ),
                        (
                            "material",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="yields_from",
                                to="kitting.part",
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                        ("amount", models.PositiveIntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("part", "material"), name="kitting_yield_once"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("amount__gte", 1), ("pieces__gte", 1)
                                ),
                                name="kitting_yield_positive",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="MethodPart",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "method",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="made_with_it",
                                to="kitting.method",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.part",
                            ),
                        ),
                    ],
                    options={
                        "ordering": ["method", "part__code"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("method", "part"),
                                name="kitting_methodpart_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="MethodRelease",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "method",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="release",
                                to="kitting.method",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="LabelWord",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("language", models.CharField(max_length=8)),
                        ("word", models.CharField(max_length=60)),
                        ("text", models.CharField(max_length=80)),
                        ("reviewed_by", models.CharField(blank=True, max_length=80)),
                    ],
                    options={
                        "ordering": ["language", "word"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("language", "word"),
                                name="kitting_labelword_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="RecipeLine",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "recipe",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lines",
                                to="kitting.recipe",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.part",
                            ),
                        ),
                        (
                            "per",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.catalogue.Per
                                ),
                                default=kitting.models.catalogue.Per["SET"],
                                max_length=12,
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                        (
                            "revision",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.revision",
                            ),
                        ),
                        ("sets", models.PositiveIntegerField(null=True)),
                    ],
                    options={
                        "ordering": ["recipe", "id"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("recipe", "part"),
                                name="kitting_recipeline_once",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("pieces__gte", 1)),
                                name="kitting_recipeline_pieces",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("sets__gte", 1)),
                                name="kitting_recipeline_sets",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("per", "set"), ("per", "box"), _connector="OR"
                                ),
                                name="kitting_recipeline_per_known",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="RecipeSubstitute",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "line",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="substitutes",
                                to="kitting.recipeline",
                            ),
                        ),
                        ("nth", models.PositiveSmallIntegerField()),
                        (
                            "revision",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="stands_in",
                                to="kitting.revision",
                            ),
                        ),
                    ],
                    options={
                        "ordering": ["line_id", "nth"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("line", "nth"),
                                name="kitting_recipesubstitute_nth",
                            ),
                            models.UniqueConstraint(
                                fields=("line", "revision"),
                                name="kitting_recipesubstitute_once",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="RecipePair",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "recipe",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="pairs",
                                to="kitting.recipe",
                            ),
                        ),
                        (
                            "revision",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.revision",
                            ),
                        ),
                        (
                            "other",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.revision",
                            ),
                        ),
                    ],
                    options={
                        "ordering": ["recipe", "id"],
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("recipe", "revision", "other"),
                                name="kitting_recipepair_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="LotOrigin",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "lot",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="origins",
                                to="kitting.lot",
                            ),
                        ),
                        (
                            "from_lot",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="uses",
                                to="kitting.lot",
                            ),
                        ),
                        ("amount", models.PositiveIntegerField()),
                        ("waste", models.PositiveIntegerField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["from_lot", "lot"],
                                name="kitting_lotorigin_back",
                            )
                        ],
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("lot", "from_lot"),
                                name="kitting_lotorigin_once",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("lot", models.F("from_lot")), _negated=True
                                ),
                                name="kitting_lotorigin_not_itself",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("amount__gte", 1)),
                                name="kitting_lotorigin_amount",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Movement",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="movements",
                                to="kitting.bag",
                            ),
                        ),
                        ("nth", models.PositiveIntegerField()),
                        (
                            "lot",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="movements",
                                to="kitting.lot",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="movements",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.run",
                            ),
                        ),
                        (
                            "other",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "kind",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.MovementKind
                                ),
                                max_length=12,
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                        ("delta", models.IntegerField()),
                        ("after", models.PositiveIntegerField()),
                        ("stage_before", models.CharField(blank=True, max_length=12)),
                        (
                            "stage_after",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.BagStage
                                ),
                                max_length=12,
                            ),
                        ),
                        (
                            "place",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.place",
                            ),
                        ),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        (
                            "counted_by",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.lots.CountedBy
                                ),
                                max_length=12,
                                null=True,
                            ),
                        ),
                        (
                            "corrects",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="corrected_by",
                                to="kitting.movement",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["lot", "kind"], name="kitting_movement_lot_kind"
                            )
                        ],
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("bag", "nth"), name="kitting_movement_nth"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("pieces__gte", 1)),
                                name="kitting_movement_pieces",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("delta", 0),
                                    ("delta", models.F("pieces")),
                                    (
                                        "delta",
                                        django.db.models.expressions.CombinedExpression(
                                            models.F("pieces"), "*", models.Value(-1)
                                        ),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_movement_delta",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("after__gte", 0)),
                                name="kitting_movement_after_gte_0",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("kind", "received"),
                                    ("kind", "found"),
                                    ("kind", "accepted"),
                                    ("kind", "rejected"),
                                    ("kind", "went_on"),
                                    ("kind", "came_off"),
                                    ("kind", "cleared"),
                                    ("kind", "not_cleared"),
                                    ("kind", "placed"),
                                    ("kind", "repacked"),
                                    ("kind", "set_back"),
                                    ("kind", "packed"),
                                    ("kind", "unpacked"),
                                    ("kind", "sampled"),
                                    ("kind", "made_into"),
                                    ("kind", "sent_back"),
                                    ("kind", "scrapped"),
                                    ("kind", "missing"),
                                    ("kind", "cancelled"),
                                    _connector="OR",
                                ),
                                name="kitting_movement_kind_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        (
                                            "kind",
                                            kitting.domain.stages.MovementKind[
                                                "REPACKED"
                                            ],
                                        ),
                                        ("other__isnull", False),
                                        models.Q(
                                            ("other", models.F("bag")), _negated=True
                                        ),
                                    ),
                                    models.Q(
                                        models.Q(
                                            (
                                                "kind",
                                                kitting.domain.stages.MovementKind[
                                                    "REPACKED"
                                                ],
                                            ),
                                            _negated=True,
                                        ),
                                        ("other__isnull", True),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_movement_repacked_with_another",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Check",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "lot",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="checks",
                                to="kitting.lot",
                            ),
                        ),
                        ("plan", models.CharField(max_length=80)),
                        ("found", models.PositiveIntegerField(default=0)),
                        (
                            "verdict",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.lots.Verdict
                                ),
                                max_length=12,
                            ),
                        ),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        ("severity", models.CharField(max_length=12, null=True)),
                        ("level", models.CharField(max_length=4, null=True)),
                        ("lot_pieces", models.PositiveIntegerField(null=True)),
                        ("sample_size", models.PositiveIntegerField(null=True)),
                        ("looked", models.PositiveIntegerField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["verdict"], name="kitting_check_verdict"
                            )
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("verdict", "accepted"),
                                    ("verdict", "rejected"),
                                    _connector="OR",
                                ),
                                name="kitting_check_verdict_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="DefectKind",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=12, unique=True)),
                        ("name", models.CharField(max_length=40)),
                        (
                            "grade",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.evidence.Grade
                                ),
                                default=kitting.models.evidence.Grade["MAJOR"],
                                max_length=12,
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="defect_kinds",
                                to="kitting.part",
                            ),
                        ),
                        ("in_use", models.BooleanField(default=True)),
                    ],
                    options={
                        "ordering": ["grade", "name"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("grade", "critical"),
                                    ("grade", "major"),
                                    ("grade", "minor"),
                                    _connector="OR",
                                ),
                                name="kitting_defectkind_grade_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Defect",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "check_made",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="defects",
                                to="kitting.check",
                            ),
                        ),
                        (
                            "kind",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="defects",
                                to="kitting.defectkind",
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("check_made", "kind"),
                                name="kitting_defect_once",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("pieces__gte", 1)),
                                name="kitting_defect_pieces",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="CheckedClass",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "check_made",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="classes",
                                to="kitting.check",
                            ),
                        ),
                        (
                            "defect_class",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.evidence.Grade
                                ),
                                max_length=12,
                            ),
                        ),
                        ("severity", models.CharField(max_length=12)),
                        ("letter", models.CharField(blank=True, max_length=1)),
                        ("aql", models.PositiveIntegerField(null=True)),
                        ("sample_size", models.PositiveIntegerField()),
                        ("accept", models.PositiveIntegerField()),
                        ("reject", models.PositiveIntegerField(null=True)),
                        ("found", models.PositiveIntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("check_made", "defect_class"),
                                name="kitting_checkedclass_once",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("defect_class", "critical"),
                                    ("defect_class", "major"),
                                    ("defect_class", "minor"),
                                    _connector="OR",
                                ),
                                name="kitting_checkedclass_class_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("found__lte", models.F("sample_size"))
                                ),
                                name="kitting_checkedclass_found_in_sample",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Resumption",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="resumptions",
                                to="kitting.part",
                            ),
                        ),
                        ("source", models.CharField(max_length=60)),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["part", "source"], name="kitting_resumption_of"
                            )
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="kitting_resumption_has_a_reason",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Switching",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="switchings",
                                to="kitting.part",
                            ),
                        ),
                        ("source", models.CharField(max_length=60)),
                        (
                            "defect_class",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.evidence.Grade
                                ),
                                max_length=12,
                            ),
                        ),
                        (
                            "to",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.evidence.Inspected
                                ),
                                max_length=12,
                            ),
                        ),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["part", "source"], name="kitting_switching_of"
                            )
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("defect_class", "major"),
                                    ("defect_class", "minor"),
                                    _connector="OR",
                                ),
                                name="kitting_switching_class_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("to", "reduced"), ("to", "normal"), _connector="OR"
                                ),
                                name="kitting_switching_to_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="kitting_switching_has_a_reason",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Disposition",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "lot",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="dispositions",
                                to="kitting.lot",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="dispositions",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "fate",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.evidence.Fate
                                ),
                                max_length=12,
                            ),
                        ),
                        ("good", models.PositiveIntegerField(default=0)),
                        ("bad", models.PositiveIntegerField(default=0)),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("fate", "sorted"),
                                    ("fate", "sent_back"),
                                    ("fate", "concession"),
                                    ("fate", "scrapped"),
                                    _connector="OR",
                                ),
                                name="kitting_disposition_fate_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="kitting_disposition_has_a_reason",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Count",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="counts",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "counted_by",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.lots.CountedBy
                                ),
                                max_length=12,
                            ),
                        ),
                        ("before", models.PositiveIntegerField()),
                        ("counted", models.PositiveIntegerField()),
                        ("stacks", models.PositiveIntegerField(null=True)),
                        ("stack_pieces", models.PositiveIntegerField(null=True)),
                        ("gross_mg", models.PositiveBigIntegerField(null=True)),
                        ("tare_mg", models.PositiveBigIntegerField(null=True)),
                        ("reference_pieces", models.PositiveIntegerField(null=True)),
                        ("reference_mg", models.PositiveBigIntegerField(null=True)),
                        ("spread_mg", models.PositiveIntegerField(null=True)),
                        ("scale_u_mg", models.PositiveIntegerField(null=True)),
                        ("sd_millipieces", models.PositiveBigIntegerField(null=True)),
                        (
                            "confirmed_by",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to=settings.AUTH_USER_MODEL,
                            ),
                        ),
                        ("reason", models.CharField(blank=True, max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("counted_by", "hand"),
                                    ("counted_by", "machine"),
                                    ("counted_by", "weight"),
                                    ("counted_by", "stack"),
                                    _connector="OR",
                                ),
                                name="kitting_count_way_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Sample",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="samples",
                                to="kitting.bag",
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                        ("what_for", models.CharField(max_length=120)),
                        ("sent_to", models.CharField(max_length=80)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("pieces__gte", 1)),
                                name="kitting_sample_pieces",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="SampleResult",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "sample",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="result",
                                to="kitting.sample",
                            ),
                        ),
                        ("result", models.CharField(max_length=200)),
                        ("document", models.CharField(blank=True, max_length=120)),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Evidence",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        ("code", models.CharField(max_length=20, unique=True)),
                        ("laboratory", models.CharField(max_length=80)),
                        ("surface", models.CharField(max_length=80)),
                        ("container", models.CharField(blank=True, max_length=60)),
                        ("measured", models.CharField(max_length=120)),
                        ("result", models.CharField(max_length=200)),
                        ("document", models.CharField(max_length=120)),
                        ("on", models.DateField()),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="ProtocolEvidence",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "protocol",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="evidence_rows",
                                to="kitting.protocol",
                            ),
                        ),
                        (
                            "evidence",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="protocols",
                                to="kitting.evidence",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("protocol", "evidence"),
                                name="kitting_protocolevidence_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Signature",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "protocol",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="signature",
                                to="kitting.protocol",
                            ),
                        ),
                        ("meaning", models.CharField(max_length=80)),
                        ("mark", models.BinaryField(max_length=32)),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Retirement",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "protocol",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="retirement",
                                to="kitting.protocol",
                            ),
                        ),
                        ("last_day", models.DateField()),
                        ("was_until", models.DateField(null=True)),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="kitting_retirement_has_a_reason",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Hold",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "lot",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="kitting.lot",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="kitting.run",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "revision",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="kitting.revision",
                            ),
                        ),
                        (
                            "method",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="kitting.method",
                            ),
                        ),
                        (
                            "source",
                            models.CharField(blank=True, max_length=60, null=True),
                        ),
                        (
                            "protocol",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="kitting.protocol",
                            ),
                        ),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("bag__isnull", True),
                                        ("box__isnull", True),
                                        ("lot__isnull", False),
                                        ("method__isnull", True),
                                        ("protocol__isnull", True),
                                        ("revision__isnull", True),
                                        ("run__isnull", True),
                                        ("source__isnull", True),
                                    ),
                                    models.Q(
                                        ("bag__isnull", False),
                                        ("box__isnull", True),
                                        ("lot__isnull", True),
                                        ("method__isnull", True),
                                        ("protocol__isnull", True),
                                        ("revision__isnull", True),
                                        ("run__isnull", True),
                                        ("source__isnull", True),
                                    ),
                                    models.Q(
                                        ("bag__isnull", True),
                                        ("box__isnull", True),
                                        ("lot__isnull", True),
                                        ("method__isnull", True),
                                        ("protocol__isnull", True),
                                        ("revision__isnull", True),
                                        ("run__isnull", False),
                                        ("source__isnull", True),
                                    ),
                                    models.Q(
                                        ("bag__isnull", True),
                                        ("box__isnull", False),
                                        ("lot__isnull", True),
                                        ("method__isnull", True),
                                        ("protocol__isnull", True),
                                        ("revision__isnull", True),
                                        ("run__isnull", True),
                                        ("source__isnull", True),
                                    ),
                                    models.Q(
                                        ("bag__isnull", True),
                                        ("box__isnull", True),
                                        ("lot__isnull", True),
                                        ("method__isnull", True),
                                        ("protocol__isnull", True),
                                        ("revision__isnull", False),
                                        ("run__isnull", True),
                                        ("source__isnull", True),
                                    ),
                                    models.Q(
                                        ("bag__isnull", True),
                                        ("box__isnull", True),
                                        ("lot__isnull", True),
                                        ("method__isnull", False),
                                        ("protocol__isnull", True),
                                        ("revision__isnull", True),
                                        ("run__isnull", True),
                                        ("source__isnull", True),
                                    ),
                                    models.Q(
                                        ("bag__isnull", True),
                                        ("box__isnull", True),
                                        ("lot__isnull", True),
                                        ("method__isnull", True),
                                        ("protocol__isnull", True),
                                        ("revision__isnull", True),
                                        ("run__isnull", True),
                                        ("source__isnull", False),
                                    ),
                                    models.Q(
                                        ("bag__isnull", True),
                                        ("box__isnull", True),
                                        ("lot__isnull", True),
                                        ("method__isnull", True),
                                        ("protocol__isnull", False),
                                        ("revision__isnull", True),
                                        ("run__isnull", True),
                                        ("source__isnull", True),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_hold_exactly_one_target",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="kitting_hold_has_a_reason",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Lift",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "hold",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lift",
                                to="kitting.hold",
                            ),
                        ),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Link",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="link",
                                to="kitting.operation",
                            ),
                        ),
                        ("site", models.PositiveSmallIntegerField()),
                        ("seq", models.PositiveBigIntegerField()),
                        ("form", models.PositiveSmallIntegerField()),
                        ("outcome", models.TextField()),
                        ("hash", models.BinaryField(max_length=32)),
                        ("keyed", models.BinaryField(max_length=32, null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("site", "seq"), name="kitting_link_once"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="JournalHead",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("site", models.PositiveSmallIntegerField(unique=True)),
                        ("seq", models.PositiveBigIntegerField(default=0)),
                        ("hash", models.BinaryField(max_length=32)),
                        ("at", models.DateTimeField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="RowSeal",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        ("of", models.CharField(max_length=60)),
                        ("row", models.BigIntegerField()),
                        ("text", models.TextField(blank=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["of", "row"], name="kitting_rowseal_row"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Touched",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("act", models.BigIntegerField()),
                        ("of", models.CharField(max_length=60)),
                        ("row", models.BigIntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Stock",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=20, unique=True)),
                        ("name", models.CharField(max_length=60)),
                        ("width_um", models.PositiveIntegerField()),
                        ("height_um", models.PositiveIntegerField()),
                        ("margin_um", models.PositiveIntegerField(default=0)),
                        ("gap_um", models.PositiveIntegerField(default=0)),
                        ("head_dots", models.PositiveIntegerField(default=8)),
                        ("head_um", models.PositiveIntegerField(default=1000)),
                        ("page_width_um", models.PositiveIntegerField(null=True)),
                        ("page_height_um", models.PositiveIntegerField(null=True)),
                        ("left_um", models.PositiveIntegerField(default=0)),
                        ("top_um", models.PositiveIntegerField(default=0)),
                        ("columns", models.PositiveSmallIntegerField(default=1)),
                        ("rows", models.PositiveSmallIntegerField(default=1)),
                        ("gap_across_um", models.PositiveIntegerField(default=0)),
                        ("gap_down_um", models.PositiveIntegerField(default=0)),
                        ("active", models.BooleanField(default=True)),
                    ],
                    options={
                        "ordering": ["code"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("page_height_um__isnull", True),
                                        ("page_width_um__isnull", True),
                                    ),
                                    models.Q(
                                        ("page_height_um__isnull", False),
                                        ("page_width_um__isnull", False),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_stock_roll_or_sheet",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("columns__gte", 1),
                                    ("head_dots__gte", 1),
                                    ("head_um__gte", 1),
                                    ("height_um__gte", 1),
                                    ("rows__gte", 1),
                                    ("width_um__gte", 1),
                                ),
                                name="kitting_stock_has_a_size",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Printer",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code", models.CharField(max_length=20, unique=True)),
                        ("name", models.CharField(max_length=60)),
                        ("address", models.CharField(max_length=255)),
                        (
                            "stock",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="printers",
                                to="kitting.stock",
                            ),
                        ),
                        ("head_dots", models.PositiveIntegerField(default=8)),
                        ("head_um", models.PositiveIntegerField(default=1000)),
                        (
                            "bench",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="printers",
                                to="kitting.bench",
                            ),
                        ),
                        ("active", models.BooleanField(default=True)),
                        ("asleep_until", models.DateTimeField(null=True)),
                    ],
                    options={
                        "ordering": ["code"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("head_dots__gte", 1), ("head_um__gte", 1)
                                ),
                                name="kitting_printer_has_dots",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="PrintJob",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "printer",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="jobs",
                                to="kitting.printer",
                            ),
                        ),
                        ("name", models.CharField(max_length=60, unique=True)),
                        ("kind", models.CharField(max_length=12)),
                        ("title", models.CharField(max_length=80)),
                        ("labels", models.PositiveIntegerField()),
                        ("width_um", models.PositiveIntegerField()),
                        ("height_um", models.PositiveIntegerField()),
                        ("document", models.BinaryField(null=True)),
                        ("pdf_sha", models.BinaryField(max_length=32)),
                        (
                            "state",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.PrintState
                                ),
                                default=kitting.domain.stages.PrintState["QUEUED"],
                                max_length=12,
                            ),
                        ),
                        ("asked_at", models.DateTimeField()),
                        ("asked_by", models.CharField(max_length=150)),
                        ("sent_at", models.DateTimeField(null=True)),
                        ("sent_to", models.CharField(max_length=255, null=True)),
                        ("ended_at", models.DateTimeField(null=True)),
                        ("up_time", models.PositiveBigIntegerField(null=True)),
                        ("ipp_job", models.PositiveBigIntegerField(null=True)),
                        ("naps", models.PositiveSmallIntegerField(default=0)),
                        ("next_try", models.DateTimeField(null=True)),
                        ("worked_until", models.DateTimeField(null=True)),
                        ("trouble", models.CharField(blank=True, max_length=40)),
                        ("told", models.JSONField(default=dict)),
                        ("unsure", models.BooleanField(default=False)),
                        ("stop_asked", models.BooleanField(default=False)),
                    ],
                    options={
                        "ordering": ["-id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["state", "id"], name="kitting_printjob_state"
                            )
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("state", "queued"),
                                    ("state", "sent"),
                                    ("state", "printing"),
                                    ("state", "done"),
                                    ("state", "failed"),
                                    ("state", "cancelled"),
                                    _connector="OR",
                                ),
                                name="kitting_printjob_state_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("document__isnull", False),
                                    (
                                        "state__in",
                                        [
                                            kitting.domain.stages.PrintState["DONE"],
                                            kitting.domain.stages.PrintState[
                                                "CANCELLED"
                                            ],
                                        ],
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_printjob_has_a_document",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Print",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="prints",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="prints",
                                to="kitting.bag",
                            ),
                        ),
                        ("kind", models.CharField(max_length=12)),
                        ("number", models.CharField(max_length=40)),
                        ("copy", models.PositiveSmallIntegerField()),
                        ("nth", models.PositiveIntegerField()),
                        ("data_sha", models.BinaryField(max_length=32)),
                        ("pdf_sha", models.BinaryField(max_length=32)),
                        ("renderer", models.CharField(max_length=40)),
                        ("paper", models.CharField(max_length=120)),
                        (
                            "printer",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="prints",
                                to="kitting.printer",
                            ),
                        ),
                        (
                            "job",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="prints",
                                to="kitting.printjob",
                            ),
                        ),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        ("first", models.CharField(max_length=12, null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["pdf_sha"], name="kitting_print_document"
                            )
                        ],
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("box", "copy"), name="kitting_print_box_copy"
                            ),
                            models.UniqueConstraint(
                                fields=("bag", "copy"), name="kitting_print_bag_copy"
                            ),
                            models.UniqueConstraint(
                                fields=("kind", "number", "copy"),
                                name="kitting_print_label_copy",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("box__isnull", True),
                                    ("bag__isnull", True),
                                    _connector="OR",
                                ),
                                name="kitting_print_one_subject",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("copy", 1),
                                    models.Q(("reason", ""), _negated=True),
                                    _connector="OR",
                                ),
                                name="kitting_print_reprint_has_a_reason",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ProtocolLoad",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "protocol",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="loads",
                                to="kitting.protocol",
                            ),
                        ),
                        (
                            "part",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.part",
                            ),
                        ),
                        (
                            "revision",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.revision",
                            ),
                        ),
                        (
                            "container",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.lots.Container
                                ),
                                max_length=12,
                            ),
                        ),
                        ("max_pieces", models.PositiveIntegerField()),
                        ("orientation", models.CharField(blank=True, max_length=80)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("protocol", "revision", "container"),
                                name="kitting_protocolload_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Cover",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "protocol",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="covers",
                                to="kitting.protocol",
                            ),
                        ),
                        (
                            "revision",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="covers",
                                to="kitting.revision",
                            ),
                        ),
                        (
                            "like",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.revision",
                            ),
                        ),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="kitting_cover_has_a_reason",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("revision", models.F("like")), _negated=True
                                ),
                                name="kitting_cover_of_another",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Withdrawal",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "cover",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="withdrawal",
                                to="kitting.cover",
                            ),
                        ),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="kitting_withdrawal_has_a_reason",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Calibration",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "meter",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="calibrations",
                                to="kitting.meter",
                            ),
                        ),
                        ("on", models.DateField()),
                        ("due", models.DateField()),
                        ("rel_u_ppm", models.PositiveIntegerField()),
                        ("low_nm", models.PositiveSmallIntegerField(null=True)),
                        ("high_nm", models.PositiveSmallIntegerField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("due__gte", models.F("on"))),
                                name="kitting_calibration_dates",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("rel_u_ppm__lt", 1000000)),
                                name="kitting_calibration_u",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Reading",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="readings",
                                to="kitting.run",
                            ),
                        ),
                        ("point", models.PositiveSmallIntegerField()),
                        (
                            "side",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.runs.Side
                                ),
                                max_length=12,
                            ),
                        ),
                        (
                            "moment",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.runs.Moment
                                ),
                                max_length=12,
                            ),
                        ),
                        ("uw_cm2", models.PositiveIntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("run", "point", "side", "moment"),
                                name="kitting_reading_once",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("side", "top"), ("side", "bottom"), _connector="OR"
                                ),
                                name="kitting_reading_side_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("moment", "opening"),
                                    ("moment", "closing"),
                                    _connector="OR",
                                ),
                                name="kitting_reading_moment_known",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="RunVerdict",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="verdicts",
                                to="kitting.run",
                            ),
                        ),
                        (
                            "side",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.runs.Side
                                ),
                                max_length=12,
                            ),
                        ),
                        ("required_uj_cm2", models.PositiveBigIntegerField()),
                        ("dose_uj_cm2", models.PositiveBigIntegerField()),
                        ("low_uj_cm2", models.PositiveBigIntegerField()),
                        ("rel_u_ppm", models.PositiveIntegerField()),
                        ("passed", models.BooleanField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("run", "side"), name="kitting_runverdict_once"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("side", "top"), ("side", "bottom"), _connector="OR"
                                ),
                                name="kitting_runverdict_side_known",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="RunBag",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="run_bags",
                                to="kitting.run",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="run_bags",
                                to="kitting.bag",
                            ),
                        ),
                        ("on_at", models.DateTimeField()),
                        ("off_at", models.DateTimeField(blank=True, null=True)),
                        ("live", models.BooleanField(default=True)),
                        (
                            "original",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "cover",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="stays",
                                to="kitting.cover",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("run", "bag"), name="kitting_runbag_once"
                            ),
                            models.UniqueConstraint(
                                condition=models.Q(("live", True)),
                                fields=("bag",),
                                name="kitting_runbag_one_live",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="MeterFault",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "meter",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="faults",
                                to="kitting.meter",
                            ),
                        ),
                        ("found_on", models.DateField()),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Lamp",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "line",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lamps",
                                to="kitting.place",
                            ),
                        ),
                        ("name", models.CharField(max_length=60)),
                        ("fitted_on", models.DateField()),
                        ("taken_out_on", models.DateField(blank=True, null=True)),
                        (
                            "rated_hours",
                            models.PositiveIntegerField(blank=True, null=True),
                        ),
                    ],
                    options={
                        "ordering": ["line", "name", "fitted_on"],
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="LampHours",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "lamp",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="hours",
                                to="kitting.lamp",
                            ),
                        ),
                        ("on", models.DateField()),
                        ("hours", models.PositiveIntegerField()),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Dosimeter",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="dosimeters",
                                to="kitting.run",
                            ),
                        ),
                        ("nth", models.PositiveSmallIntegerField()),
                        (
                            "side",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.models.runs.Side
                                ),
                                max_length=12,
                            ),
                        ),
                        ("uj_cm2", models.PositiveBigIntegerField()),
                        ("rel_u_ppm", models.PositiveIntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("run", "nth"), name="kitting_dosimeter_nth"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("side", "top"), ("side", "bottom"), _connector="OR"
                                ),
                                name="kitting_dosimeter_side_known",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="RunValue",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="values",
                                to="kitting.run",
                            ),
                        ),
                        ("at", models.DateTimeField()),
                        ("value", models.IntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("run", "at"), name="kitting_runvalue_once"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Interruption",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "run",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="interruptions",
                                to="kitting.run",
                            ),
                        ),
                        ("reason", models.CharField(max_length=200)),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Counter",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("site", models.PositiveSmallIntegerField()),
                        ("name", models.CharField(max_length=20)),
                        ("next", models.PositiveBigIntegerField(default=1)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("site", "name"), name="kitting_counter_once"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="SkippedNumbers",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        ("site", models.PositiveSmallIntegerField()),
                        ("counter", models.CharField(max_length=20)),
                        ("first", models.PositiveBigIntegerField()),
                        ("stop", models.PositiveBigIntegerField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("stop__gt", models.F("first"))),
                                name="kitting_skippednumbers_some",
                            ),
                            models.UniqueConstraint(
                                fields=("operation", "site", "counter"),
                                name="kitting_skippednumbers_once",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="AllowedMass",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("mass_mg", models.PositiveIntegerField()),
                        ("within_mg", models.PositiveIntegerField()),
                        ("moves", models.PositiveIntegerField()),
                        ("reason", models.CharField(max_length=200)),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="allowed_masses",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="BoxHanded",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "before",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.bench",
                            ),
                        ),
                        (
                            "bench",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes_handed",
                                to="kitting.bench",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="handed",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Badge",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "user",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="badges",
                                to=settings.AUTH_USER_MODEL,
                            ),
                        ),
                        (
                            "token_sha256",
                            models.BinaryField(max_length=32, unique=True),
                        ),
                        (
                            "issue",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "revocation",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        ("revoked_at", models.DateTimeField(blank=True, null=True)),
                        ("pin_tries", models.PositiveSmallIntegerField(default=0)),
                        ("tried_at", models.DateTimeField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("revocation__isnull", True),
                                        ("revoked_at__isnull", True),
                                    ),
                                    models.Q(
                                        ("revocation__isnull", False),
                                        ("revoked_at__isnull", False),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_badge_revoked_by_an_act",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Scale",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        (
                            "token_sha256",
                            models.CharField(max_length=64, null=True, unique=True),
                        ),
                        ("mass_mg", models.PositiveIntegerField(null=True)),
                        ("read_at", models.DateTimeField(null=True)),
                        ("loaded_at", models.DateTimeField(null=True)),
                        (
                            "bench",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="scale",
                                to="kitting.bench",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Tablet",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("code_mark", models.CharField(db_index=True, max_length=64)),
                        ("code_until", models.DateTimeField(null=True)),
                        (
                            "token_sha256",
                            models.CharField(max_length=64, null=True, unique=True),
                        ),
                        ("tied_at", models.DateTimeField(null=True)),
                        (
                            "bench",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="tablet",
                                to="kitting.bench",
                            ),
                        ),
                        (
                            "code_by",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to=settings.AUTH_USER_MODEL,
                            ),
                        ),
                        ("pin_tries", models.PositiveSmallIntegerField(default=0)),
                        ("tried_at", models.DateTimeField(null=True)),
                        ("shift_at", models.DateTimeField(null=True)),
                        (
                            "shift_by",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to=settings.AUTH_USER_MODEL,
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("tied_at__isnull", True),
                                        ("token_sha256__isnull", True),
                                    ),
                                    models.Q(
                                        ("tied_at__isnull", False),
                                        ("token_sha256__isnull", False),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_tablet_tied_at_a_moment",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Workshop",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("site", models.PositiveSmallIntegerField(default=1)),
                        ("name", models.CharField(max_length=80)),
                        ("address", models.TextField(blank=True)),
                        ("country", models.CharField(blank=True, max_length=2)),
                        ("time_zone", models.CharField(default="UTC", max_length=40)),
                        ("gs1_prefix", models.CharField(blank=True, max_length=12)),
                        ("contact", models.CharField(blank=True, max_length=60)),
                        ("two_people", models.BooleanField(default=True)),
                        ("idle_min", models.PositiveSmallIntegerField(default=60)),
                        (
                            "scrap_reasons",
                            models.TextField(
                                blank=True,
                                default="Dropped\nDamaged\nSoiled\nCutting waste",
                            ),
                        ),
                        ("demo", models.BooleanField(default=False)),
                        ("ahead_s", models.BigIntegerField(default=0)),
                        ("print_worker_at", models.DateTimeField(null=True)),
                        ("backup_at", models.DateTimeField(null=True)),
                        ("clock_said_at", models.DateTimeField(null=True)),
                        ("clock_boot", models.CharField(blank=True, max_length=36)),
                        ("clock_ticks_s", models.BigIntegerField(default=0)),
                        ("proved_at", models.DateTimeField(null=True)),
                        ("proved_seq", models.PositiveBigIntegerField(null=True)),
                        ("checked_at", models.DateTimeField(null=True)),
                        ("fault_at", models.DateTimeField(null=True)),
                        ("guessed_at", models.DateTimeField(null=True)),
                        (
                            "guessed_name",
                            models.CharField(blank=True, default="", max_length=150),
                        ),
                        (
                            "version",
                            models.CharField(blank=True, default="", max_length=20),
                        ),
                        ("shift_questions", models.TextField(blank=True, default="")),
                        (
                            "night_contact",
                            models.CharField(blank=True, default="", max_length=60),
                        ),
                    ],
                    options={
                        "permissions": [
                            ("see_work", "See the work of the day"),
                            ("take_in", "Take in lots and bags"),
                            ("check_lots", "Check lots"),
                            (
                                "accept_under_concession",
                                "Accept under concession, or reject a lot against its plan",
                            ),
                            (
                                "keep_methods",
                                "Add and change methods: machines and settings",
                            ),
                            ("release_methods", "Release methods from their trial"),
                            (
                                "set_checks",
                                "Set how parts are checked, and for which defects",
                            ),
                            ("count_bags", "Count bags again and take samples"),
                            (
                                "record_results",
                                "Record what laboratories found in samples",
                            ),
                            ("repack", "Repack pieces, and scrap them"),
                            ("put_away", "Put bags, carriers and boxes away"),
                            (
                                "sign_protocols",
                                "Sign protocols and keep their evidence",
                            ),
                            ("keep_meters", "Keep meters and lamps"),
                            ("run_line", "Run the disinfection line"),
                            ("pack", "Pack boxes at a bench"),
                            ("print_labels", "Print labels"),
                            ("send_boxes", "Make up and send shipments"),
                            ("recall", "Trace lots and boxes"),
                            ("place_holds", "Place holds"),
                            ("lift_holds", "Lift holds"),
                            ("void_boxes", "Void boxes"),
                            (
                                "allow_masses",
                                "Let a box close at a mass outside its window",
                            ),
                            ("set_up", "Change the set-up"),
                        ],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("pk", 1)),
                                name="kitting_workshop_one_row",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("site__gte", 1), ("site__lte", 9)),
                                name="kitting_workshop_site_1_to_9",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("demo", True), ("ahead_s", 0), _connector="OR"
                                ),
                                name="kitting_workshop_only_a_demo_is_ahead",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("proved_at__isnull", True),
                                        ("proved_seq__isnull", True),
                                    ),
                                    models.Q(
                                        ("proved_at__isnull", False),
                                        ("proved_seq__isnull", False),
                                    ),
                                    _connector="OR",
                                ),
                                name="kitting_workshop_proved_whole",
                            ),
                        ],
                    },
                ),
            ],
        ),
        migrations.RunPython(install, drop),
    ]
