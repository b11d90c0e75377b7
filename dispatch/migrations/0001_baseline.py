"""Every table as it is now; made anew until 0.1.0, then migrations only add."""

from __future__ import annotations

from typing import TYPE_CHECKING

import django.db.models.deletion
from django.db import migrations, models

import dispatch.domain.complaints
import dispatch.domain.effectiveness
import dispatch.domain.needs
import dispatch.domain.notices
import dispatch.domain.pallets
import dispatch.domain.receipts
import dispatch.domain.replies
import kitting.domain.stages
import kitting.ledger.tables
import kitting.models.base
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
        ("kitting", "0001_baseline"),
    ]

    operations = [
        kitting.ledger.tables.Tables(
            operations=[
                migrations.CreateModel(
                    name="Consignee",
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
                        ("name", models.CharField(max_length=80)),
                        ("address", models.TextField(blank=True)),
                        ("country", models.CharField(blank=True, max_length=2)),
                        ("street", models.TextField(blank=True)),
                        ("postcode", models.CharField(blank=True, max_length=20)),
                        ("city", models.CharField(blank=True, max_length=80)),
                        ("region", models.CharField(blank=True, max_length=80)),
                        ("contact", models.CharField(blank=True, max_length=120)),
                        ("language", models.CharField(default="en", max_length=8)),
                        ("search", models.CharField(blank=True, max_length=255)),
                        ("active", models.BooleanField(default=True)),
                        (
                            "gln",
                            models.CharField(
                                blank=True, max_length=13, null=True, unique=True
                            ),
                        ),
                        ("night_contact", models.CharField(blank=True, max_length=120)),
                        ("opening", models.CharField(blank=True, max_length=120)),
                        ("points", models.TextField(blank=True)),
                        (
                            "merged_into",
                            models.ForeignKey(
                                blank=True,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="merged",
                                to="dispatch.consignee",
                            ),
                        ),
                        ("email", models.EmailField(blank=True, max_length=120)),
                    ],
                    options={
                        "ordering": ["name"],
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(("country", ""), _negated=True),
                                    models.Q(
                                        ("city", ""),
                                        ("postcode", ""),
                                        ("region", ""),
                                        ("street", ""),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_consignee_parts_have_a_country",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("merged_into__isnull", True),
                                    ("active", False),
                                    _connector="OR",
                                ),
                                name="dispatch_consignee_merged_is_closed",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Shipment",
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
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="shipments",
                                to="dispatch.consignee",
                            ),
                        ),
                        (
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.ShipmentStage
                                ),
                                default=kitting.domain.stages.ShipmentStage["OPEN"],
                                max_length=12,
                            ),
                        ),
                        ("reference", models.CharField(blank=True, max_length=40)),
                        ("events_seen", models.PositiveSmallIntegerField(default=0)),
                        ("sent_at", models.DateTimeField(null=True)),
                        ("sent_by", models.CharField(blank=True, max_length=150)),
                        ("boxes", models.PositiveIntegerField(default=0)),
                        ("sets", models.PositiveIntegerField(default=0)),
                        ("search", models.CharField(blank=True, max_length=400)),
                        ("point", models.CharField(blank=True, max_length=80)),
                        ("driver", models.CharField(blank=True, max_length=80)),
                        ("haulier", models.CharField(blank=True, max_length=80)),
                        ("seal", models.CharField(blank=True, max_length=40)),
                        ("vehicle", models.CharField(blank=True, max_length=40)),
                        ("lots", models.TextField(blank=True)),
                        ("products", models.TextField(blank=True)),
                    ],
                    options={
                        "ordering": ["-id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["sent_at", "id", "boxes", "sets"],
                                name="dispatch_shipment_sent",
                            ),
                            models.Index(
                                fields=["consignee", "sent_at", "id"],
                                name="dispatch_shipment_whom",
                            ),
                            models.Index(
                                fields=["stage", "sent_at", "id", "boxes", "sets"],
                                name="dispatch_shipment_stage",
                            ),
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("stage", "open"),
                                    ("stage", "sent"),
                                    ("stage", "delivered"),
                                    ("stage", "cancelled"),
                                    _connector="OR",
                                ),
                                name="dispatch_shipment_stage_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("sent_at__isnull", True),
                                        (
                                            "stage__in",
                                            [
                                                kitting.domain.stages.ShipmentStage[
                                                    "OPEN"
                                                ],
                                                kitting.domain.stages.ShipmentStage[
                                                    "CANCELLED"
                                                ],
                                            ],
                                        ),
                                    ),
                                    models.Q(
                                        ("boxes__gte", 1),
                                        ("sent_at__isnull", False),
                                        (
                                            "stage__in",
                                            [
                                                kitting.domain.stages.ShipmentStage[
                                                    "SENT"
                                                ],
                                                kitting.domain.stages.ShipmentStage[
                                                    "DELIVERED"
                                                ],
                                            ],
                                        ),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_shipment_sent_has_a_time",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        (
                                            "stage__in",
                                            (
                                                kitting.domain.stages.ShipmentStage[
                                                    "SENT"
                                                ],
                                                kitting.domain.stages.ShipmentStage[
                                                    "DELIVERED"
                                                ],
                                            ),
                                        ),
                                        _negated=True,
                                    ),
                                    models.Q(
                                        ("driver", ""), ("haulier", ""), _negated=True
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_shipment_sent_with_somebody",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ShipEvent",
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
                            "shipment",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="events",
                                to="dispatch.shipment",
                            ),
                        ),
                        ("nth", models.PositiveSmallIntegerField()),
                        ("before", models.CharField(blank=True, max_length=12)),
                        (
                            "after",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.ShipmentStage
                                ),
                                max_length=12,
                            ),
                        ),
                        ("reason", models.CharField(blank=True, max_length=200)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("shipment", "nth"),
                                name="dispatch_shipevent_nth",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Request",
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
                        ("sets", models.PositiveIntegerField()),
                        ("tier", models.PositiveSmallIntegerField()),
                        ("needed_by", models.DateField(null=True)),
                        ("asked_on", models.DateField()),
                        (
                            "way",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.needs.Way
                                ),
                                max_length=12,
                            ),
                        ),
                        ("caller", models.CharField(blank=True, max_length=80)),
                        ("reference", models.CharField(blank=True, max_length=40)),
                        ("note", models.CharField(blank=True, max_length=200)),
                        (
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.needs.RequestStage
                                ),
                                default=dispatch.domain.needs.RequestStage["OPEN"],
                                max_length=12,
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="requests",
                                to="dispatch.consignee",
                            ),
                        ),
                        (
                            "product",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.product",
                            ),
                        ),
                        ("taken_by", models.CharField(max_length=150)),
                        ("point", models.CharField(blank=True, max_length=80)),
                    ],
                    options={
                        "ordering": ["-id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(
                                fields=["consignee", "product", "stage"],
                                name="dispatch_request_whom",
                            ),
                            models.Index(
                                fields=["stage", "tier"], name="dispatch_request_stage"
                            ),
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("stage", "open"),
                                    ("stage", "served"),
                                    ("stage", "cancelled"),
                                    _connector="OR",
                                ),
                                name="dispatch_request_stage_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("way", "telephone"),
                                    ("way", "mail"),
                                    ("way", "letter"),
                                    ("way", "visit"),
                                    ("way", "file"),
                                    _connector="OR",
                                ),
                                name="dispatch_request_way_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("sets__range", (1, 100000))),
                                name="dispatch_request_sets",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("tier__range", (1, 3))),
                                name="dispatch_request_tier",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Receipt",
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
                            "way",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.receipts.Told
                                ),
                                max_length=12,
                            ),
                        ),
                        ("received_by", models.CharField(max_length=80)),
                        ("received_at", models.DateTimeField()),
                        ("boxes", models.PositiveIntegerField()),
                        ("note", models.CharField(blank=True, max_length=200)),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "shipment",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="receipts",
                                to="dispatch.shipment",
                            ),
                        ),
                        ("differs", models.BooleanField()),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("way", "note"),
                                    ("way", "call"),
                                    ("way", "page"),
                                    ("way", "link"),
                                    _connector="OR",
                                ),
                                name="dispatch_receipt_way_known",
                            )
                        ],
                        "indexes": [
                            models.Index(
                                condition=models.Q(("differs", True)),
                                fields=["shipment"],
                                name="dispatch_receipt_differs",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ReceiptBox",
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
                            "found",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.receipts.Found
                                ),
                                max_length=12,
                            ),
                        ),
                        ("sets", models.PositiveIntegerField(null=True)),
                        ("note", models.CharField(blank=True, max_length=200)),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="receipts",
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
                        (
                            "receipt",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="of_boxes",
                                to="dispatch.receipt",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("receipt", "box"),
                                name="dispatch_receiptbox_once",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("found", "whole"),
                                    ("found", "short"),
                                    ("found", "damaged"),
                                    ("found", "absent"),
                                    _connector="OR",
                                ),
                                name="dispatch_receiptbox_found_known",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Settlement",
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
                        ("note", models.CharField(max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "receipt",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="settlements",
                                to="dispatch.receipt",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Allotment",
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
                        ("day", models.DateField()),
                        ("window", models.PositiveSmallIntegerField()),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "product",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.product",
                            ),
                        ),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="AllotmentLine",
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
                        ("tier", models.PositiveSmallIntegerField()),
                        ("lacked", models.PositiveIntegerField()),
                        ("code", models.CharField(max_length=12)),
                        ("asked", models.PositiveIntegerField()),
                        ("given", models.PositiveIntegerField()),
                        ("received", models.PositiveIntegerField()),
                        ("share_hundredths", models.PositiveIntegerField()),
                        ("weight_tenths", models.PositiveSmallIntegerField()),
                        ("floor", models.PositiveIntegerField()),
                        ("why", models.CharField(blank=True, max_length=200)),
                        (
                            "allotment",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lines",
                                to="dispatch.allotment",
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
                            "request",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="allotted",
                                to="dispatch.request",
                            ),
                        ),
                        (
                            "whom",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
                            ),
                        ),
                        ("first", models.BooleanField(default=False)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("allotment", "request"),
                                name="dispatch_allotmentline_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="AllotmentSize",
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
                        ("ready", models.PositiveIntegerField()),
                        ("packing", models.PositiveIntegerField()),
                        (
                            "allotment",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="sizes",
                                to="dispatch.allotment",
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
                            "size",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.boxsize",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("allotment", "size"),
                                name="dispatch_allotmentsize_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Promise",
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
                        ("proposed", models.PositiveIntegerField()),
                        ("boxes", models.PositiveIntegerField()),
                        (
                            "line",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="promises",
                                to="dispatch.allotmentline",
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
                            "size",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.boxsize",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("line", "size"), name="dispatch_promise_once"
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("boxes__gte", 1),
                                    ("proposed__gte", 1),
                                    _connector="OR",
                                ),
                                name="dispatch_promise_some",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="PromiseRelease",
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
                        ("boxes", models.PositiveIntegerField()),
                        ("reason", models.CharField(max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "promise",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="releases",
                                to="dispatch.promise",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("boxes__gte", 1)),
                                name="dispatch_promiserelease_some",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="PassedOn",
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
                        ("point", models.CharField(blank=True, max_length=80)),
                        ("told_by", models.CharField(max_length=80)),
                        ("on", models.DateField()),
                        ("note", models.CharField(blank=True, max_length=200)),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="passed_on",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="passed_to",
                                to="dispatch.consignee",
                            ),
                        ),
                        (
                            "giver",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                            "shipment",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="passed_on",
                                to="dispatch.shipment",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Return",
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
                        ("sets", models.PositiveIntegerField()),
                        ("opened", models.BooleanField()),
                        ("note", models.CharField(max_length=200)),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="returns",
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
                        (
                            "place",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.place",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("sets__gte", 1)),
                                name="dispatch_return_sets",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Merging",
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
                            "consignee",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="mergings",
                                to="dispatch.consignee",
                            ),
                        ),
                        (
                            "into",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                    name="Pallet",
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
                            "sscc",
                            models.CharField(max_length=18, null=True, unique=True),
                        ),
                        (
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.pallets.PalletStage
                                ),
                                default=dispatch.domain.pallets.PalletStage["OPEN"],
                                max_length=12,
                            ),
                        ),
                        ("events_seen", models.PositiveSmallIntegerField(default=0)),
                    ],
                    options={
                        "ordering": ["-id"],
                        "default_permissions": (),
                        "indexes": [
                            models.Index(fields=["stage"], name="dispatch_pallet_stage")
                        ],
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("stage", "open"),
                                    ("stage", "broken_up"),
                                    _connector="OR",
                                ),
                                name="dispatch_pallet_stage_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ShipmentBox",
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
                            "shipment",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="shipment_boxes",
                                to="dispatch.shipment",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="shipment_boxes",
                                to="kitting.box",
                            ),
                        ),
                        ("live", models.BooleanField(default=True)),
                        (
                            "request",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="loads",
                                to="dispatch.request",
                            ),
                        ),
                        (
                            "promise",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="loads",
                                to="dispatch.promise",
                            ),
                        ),
                        ("back", models.BooleanField(default=False)),
                        (
                            "passed",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.passedon",
                            ),
                        ),
                        (
                            "pallet",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="loads",
                                to="dispatch.pallet",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("shipment", "box"),
                                name="dispatch_shipmentbox_once",
                            ),
                            models.UniqueConstraint(
                                condition=models.Q(("live", True)),
                                fields=("box",),
                                name="dispatch_shipmentbox_one_live",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ShipScan",
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
                            "shipment",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="scans",
                                to="dispatch.shipment",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.box",
                            ),
                        ),
                        ("on", models.BooleanField()),
                        (
                            "request",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.request",
                            ),
                        ),
                        (
                            "promise",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.promise",
                            ),
                        ),
                        (
                            "pallet",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.pallet",
                            ),
                        ),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="PalletScan",
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
                        ("on", models.BooleanField()),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
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
                        (
                            "pallet",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="scans",
                                to="dispatch.pallet",
                            ),
                        ),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="PalletBox",
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
                        ("live", models.BooleanField(default=True)),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="pallet_boxes",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "pallet",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="pallet_boxes",
                                to="dispatch.pallet",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("pallet", "box"), name="dispatch_palletbox_once"
                            ),
                            models.UniqueConstraint(
                                condition=models.Q(("live", True)),
                                fields=("box",),
                                name="dispatch_palletbox_one_live",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="PalletEvent",
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
                        ("nth", models.PositiveSmallIntegerField()),
                        ("before", models.CharField(blank=True, max_length=12)),
                        (
                            "after",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.pallets.PalletStage
                                ),
                                max_length=12,
                            ),
                        ),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "pallet",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="events",
                                to="dispatch.pallet",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("pallet", "nth"),
                                name="dispatch_palletevent_nth",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="LogView",
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
                        ("name", models.CharField(max_length=60, unique=True)),
                        ("asked", models.CharField(max_length=600)),
                        (
                            "kept",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                    ],
                    options={
                        "ordering": ["name"],
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="ReceiptLink",
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
                        ("nth", models.PositiveSmallIntegerField(default=0)),
                        ("until", models.DateTimeField(null=True)),
                        (
                            "shipment",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="link",
                                to="dispatch.shipment",
                            ),
                        ),
                        ("since", models.BigIntegerField(default=0)),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="ReturnUndone",
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
                        ("reason", models.CharField(max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "returned",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="undone",
                                to="dispatch.return",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Case",
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
                        ("hazard", models.CharField(max_length=500)),
                        ("rated", models.CharField(blank=True, max_length=80)),
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("hazard", ""), _negated=True),
                                name="dispatch_case_has_a_hazard",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="CaseLook",
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
                        ("nth", models.PositiveIntegerField()),
                        ("reason", models.CharField(blank=True, max_length=200)),
                        (
                            "case",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="looks",
                                to="dispatch.case",
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
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("case", "nth"), name="dispatch_caselook_nth"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="CaseHold",
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
                            "hold",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="of_case",
                                to="kitting.hold",
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
                            "look",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="holds",
                                to="dispatch.caselook",
                            ),
                        ),
                    ],
                    options={
                        "abstract": False,
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="CaseBox",
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
                            "stage",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    kitting.domain.stages.BoxStage
                                ),
                                max_length=12,
                            ),
                        ),
                        ("pieces", models.PositiveIntegerField()),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="cases",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "case",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="dispatch.case",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                            "shipment",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.shipment",
                            ),
                        ),
                        (
                            "look",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="dispatch.caselook",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("case", "box"), name="dispatch_casebox_once"
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="EffectCheck",
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
                            "level",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.effectiveness.Level
                                ),
                                max_length=12,
                            ),
                        ),
                        ("share", models.PositiveSmallIntegerField()),
                        ("seed", models.CharField(max_length=32)),
                        (
                            "case",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="effect_checks",
                                to="dispatch.case",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        (
                                            "level",
                                            dispatch.domain.effectiveness.Level["A"],
                                        ),
                                        ("share", 100),
                                    ),
                                    models.Q(
                                        (
                                            "level",
                                            dispatch.domain.effectiveness.Level["B"],
                                        ),
                                        ("share__range", (11, 99)),
                                    ),
                                    models.Q(
                                        (
                                            "level",
                                            dispatch.domain.effectiveness.Level["C"],
                                        ),
                                        ("share", 10),
                                    ),
                                    models.Q(
                                        (
                                            "level",
                                            dispatch.domain.effectiveness.Level["D"],
                                        ),
                                        ("share", 2),
                                    ),
                                    models.Q(
                                        (
                                            "level",
                                            dispatch.domain.effectiveness.Level["E"],
                                        ),
                                        ("share", 0),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_effectcheck_share",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="EffectConsignee",
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
                        ("nth", models.PositiveIntegerField()),
                        ("drawn", models.BooleanField()),
                        (
                            "check_of",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="consignees",
                                to="dispatch.effectcheck",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("check_of", "nth"),
                                name="dispatch_effectconsignee_nth",
                            ),
                            models.UniqueConstraint(
                                fields=("check_of", "consignee"),
                                name="dispatch_effectconsignee_once",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="EffectAnswer",
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
                        ("got", models.BooleanField()),
                        ("understood", models.BooleanField()),
                        ("acted", models.BooleanField()),
                        ("said_by", models.CharField(max_length=80)),
                        ("note", models.CharField(blank=True, max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "of",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="answers",
                                to="dispatch.effectconsignee",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("said_by", ""), _negated=True),
                                name="dispatch_effectanswer_has_who",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Closing",
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
                        ("nth", models.PositiveIntegerField()),
                        ("cause", models.CharField(max_length=1000)),
                        ("done", models.CharField(max_length=1000)),
                        ("prevention", models.CharField(max_length=1000)),
                        (
                            "case",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="closings",
                                to="dispatch.case",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(("cause", ""), _negated=True),
                                    models.Q(("done", ""), _negated=True),
                                    models.Q(("prevention", ""), _negated=True),
                                ),
                                name="dispatch_closing_is_decided",
                            ),
                            models.UniqueConstraint(
                                fields=("case", "nth"), name="dispatch_closing_nth"
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ClosingBox",
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
                        ("reason", models.CharField(max_length=200)),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "closing",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="dispatch.closing",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="dispatch_closingbox_has_a_reason",
                            ),
                            models.UniqueConstraint(
                                fields=("closing", "box"),
                                name="dispatch_closingbox_once",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Reopening",
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
                        ("reason", models.CharField(max_length=200)),
                        (
                            "closing",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="reopening",
                                to="dispatch.closing",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="dispatch_reopening_has_a_reason",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="CaseCall",
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
                            "outcome",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.notices.Outcome
                                ),
                                max_length=12,
                            ),
                        ),
                        ("spoke_to", models.CharField(blank=True, max_length=80)),
                        ("said", models.CharField(blank=True, max_length=200)),
                        ("stopped", models.BooleanField()),
                        ("set_aside", models.BooleanField()),
                        ("told_on", models.BooleanField()),
                        (
                            "case",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="calls",
                                to="dispatch.case",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                        ("called_at", models.DateTimeField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("outcome", "reached"),
                                    ("outcome", "no_answer"),
                                    ("outcome", "wrong_number"),
                                    _connector="OR",
                                ),
                                name="dispatch_casecall_outcome_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        (
                                            "outcome",
                                            dispatch.domain.notices.Outcome["REACHED"],
                                        ),
                                        models.Q(("spoke_to", ""), _negated=True),
                                    ),
                                    models.Q(
                                        ("set_aside", False),
                                        ("spoke_to", ""),
                                        ("stopped", False),
                                        ("told_on", False),
                                        models.Q(
                                            (
                                                "outcome",
                                                dispatch.domain.notices.Outcome[
                                                    "REACHED"
                                                ],
                                            ),
                                            _negated=True,
                                        ),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_casecall_reached_somebody",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="CallUndone",
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
                        ("reason", models.CharField(max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "call",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="undone",
                                to="dispatch.casecall",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                    },
                ),
                migrations.CreateModel(
                    name="Reply",
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
                            "way",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.replies.By
                                ),
                                max_length=12,
                            ),
                        ),
                        ("told_by", models.CharField(max_length=80)),
                        ("nth", models.PositiveSmallIntegerField(null=True)),
                        ("note", models.CharField(blank=True, max_length=200)),
                        (
                            "case",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="replies",
                                to="dispatch.case",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                        ("said_at", models.DateTimeField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("way", "call"),
                                    ("way", "letter"),
                                    ("way", "visit"),
                                    ("way", "link"),
                                    _connector="OR",
                                ),
                                name="dispatch_reply_way_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("nth__isnull", False),
                                        ("way", dispatch.domain.replies.By["LINK"]),
                                    ),
                                    models.Q(
                                        models.Q(
                                            ("way", dispatch.domain.replies.By["LINK"]),
                                            _negated=True,
                                        ),
                                        ("nth", None),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_reply_by_a_link",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ReplyBox",
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
                            "answer",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.replies.Answer
                                ),
                                max_length=12,
                            ),
                        ),
                        ("sets", models.PositiveIntegerField()),
                        ("whom", models.CharField(blank=True, max_length=80)),
                        (
                            "box",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="replies",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                            "reply",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="lines",
                                to="dispatch.reply",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("reply", "box", "answer"),
                                name="dispatch_replybox_once",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("answer", "found"),
                                    ("answer", "quarantine"),
                                    ("answer", "returned"),
                                    ("answer", "used"),
                                    ("answer", "destroyed"),
                                    ("answer", "passed"),
                                    ("answer", "unknown"),
                                    _connector="OR",
                                ),
                                name="dispatch_replybox_answer_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("sets__gte", 1)),
                                name="dispatch_replybox_sets",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        (
                                            "answer",
                                            dispatch.domain.replies.Answer["PASSED"],
                                        ),
                                        models.Q(("whom", ""), _negated=True),
                                    ),
                                    models.Q(
                                        models.Q(
                                            (
                                                "answer",
                                                dispatch.domain.replies.Answer[
                                                    "PASSED"
                                                ],
                                            ),
                                            _negated=True,
                                        ),
                                        ("consignee", None),
                                        ("whom", ""),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_replybox_passed_to_somebody",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ReplyLink",
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
                        ("nth", models.PositiveSmallIntegerField()),
                        (
                            "case",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="ended_links",
                                to="dispatch.case",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("case", "consignee", "nth"),
                                name="dispatch_replylink_nth",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ReplyTerm",
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
                        ("days", models.PositiveSmallIntegerField()),
                        (
                            "case",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="terms",
                                to="dispatch.case",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("days__lte", 90)),
                                name="dispatch_replyterm_days",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Sought",
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
                        ("reason", models.CharField(blank=True, max_length=200)),
                        (
                            "at",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.place",
                            ),
                        ),
                        (
                            "bag",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.bag",
                            ),
                        ),
                        (
                            "box",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "case",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="sought",
                                to="dispatch.case",
                            ),
                        ),
                        (
                            "into",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.place",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(("bag__isnull", False), ("box", None)),
                                    models.Q(("bag", None), ("box__isnull", False)),
                                    _connector="OR",
                                ),
                                name="dispatch_sought_is_one_thing",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("into", None),
                                        models.Q(("reason", ""), _negated=True),
                                    ),
                                    models.Q(("into__isnull", False), ("reason", "")),
                                    _connector="OR",
                                ),
                                name="dispatch_sought_found_or_reason",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Complaint",
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
                        ("what", models.CharField(max_length=1000)),
                        (
                            "severity",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.complaints.Severity
                                ),
                                max_length=12,
                            ),
                        ),
                        ("said_by", models.CharField(max_length=80)),
                        ("contact", models.CharField(blank=True, max_length=120)),
                        ("point", models.CharField(blank=True, max_length=80)),
                        ("happened_on", models.DateField(null=True)),
                        ("received_on", models.DateField(db_index=True)),
                        ("about", models.CharField(blank=True, max_length=20)),
                        (
                            "box",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="complaints",
                                to="kitting.box",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="complaints",
                                to="dispatch.consignee",
                            ),
                        ),
                        (
                            "lot",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="complaints",
                                to="kitting.lot",
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
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="complaints",
                                to="kitting.part",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("severity", "injury"),
                                    ("severity", "could"),
                                    ("severity", "fault"),
                                    ("severity", "looks"),
                                    ("severity", "wish"),
                                    _connector="OR",
                                ),
                                name="dispatch_complaint_severity_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(("what", ""), _negated=True),
                                    models.Q(("said_by", ""), _negated=True),
                                ),
                                name="dispatch_complaint_says_what",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("happened_on", None),
                                    ("happened_on__lte", models.F("received_on")),
                                    _connector="OR",
                                ),
                                name="dispatch_complaint_received_after",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(("box", None), ("lot", None)),
                                    models.Q(
                                        models.Q(
                                            ("box", None),
                                            ("lot", None),
                                            _connector="OR",
                                        ),
                                        models.Q(("about", ""), _negated=True),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_complaint_about_one",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="ComplaintNote",
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
                            "decision",
                            models.CharField(
                                blank=True,
                                choices=kitting.models.base.Words(
                                    dispatch.domain.complaints.Decision
                                ),
                                max_length=12,
                            ),
                        ),
                        ("text", models.CharField(max_length=500)),
                        ("reply", models.CharField(blank=True, max_length=500)),
                        (
                            "case",
                            models.ForeignKey(
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="complaint_notes",
                                to="dispatch.case",
                            ),
                        ),
                        (
                            "complaint",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="notes",
                                to="dispatch.complaint",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("decision", ""),
                                    ("decision", "none"),
                                    ("decision", "traced"),
                                    ("decision", "case"),
                                    _connector="OR",
                                ),
                                name="dispatch_complaintnote_known",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(("text", ""), _negated=True),
                                name="dispatch_complaintnote_has_text",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(
                                        ("case__isnull", False),
                                        (
                                            "decision",
                                            dispatch.domain.complaints.Decision["CASE"],
                                        ),
                                    ),
                                    models.Q(
                                        ("case", None),
                                        models.Q(
                                            (
                                                "decision",
                                                dispatch.domain.complaints.Decision[
                                                    "CASE"
                                                ],
                                            ),
                                            _negated=True,
                                        ),
                                    ),
                                    _connector="OR",
                                ),
                                name="dispatch_complaintnote_case",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Letter",
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
                        ("nth", models.PositiveSmallIntegerField()),
                        ("urgent", models.BooleanField()),
                        ("hazard", models.CharField(max_length=500)),
                        ("to_do", models.CharField(max_length=500)),
                        ("language", models.CharField(max_length=8)),
                        ("address", models.TextField()),
                        ("contact", models.CharField(max_length=60)),
                        ("night_contact", models.CharField(max_length=60)),
                        (
                            "case",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="letters",
                                to="dispatch.case",
                            ),
                        ),
                        (
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
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
                        ("answer_by", models.DateField(null=True)),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("case", "consignee", "nth"),
                                name="dispatch_letter_nth",
                            ),
                            models.CheckConstraint(
                                condition=models.Q(
                                    models.Q(("hazard", ""), _negated=True),
                                    models.Q(("to_do", ""), _negated=True),
                                ),
                                name="dispatch_letter_says",
                            ),
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="LetterBox",
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
                        ("lots", models.TextField()),
                        ("new", models.BooleanField()),
                        (
                            "letter",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="boxes",
                                to="dispatch.letter",
                            ),
                        ),
                        (
                            "listed",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="letters",
                                to="dispatch.casebox",
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
                            "passed_to",
                            models.ForeignKey(
                                db_index=False,
                                null=True,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
                            ),
                        ),
                        (
                            "shipment",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.shipment",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("letter", "listed"),
                                name="dispatch_letterbox_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="LetterSent",
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
                            "way",
                            models.CharField(
                                choices=kitting.models.base.Words(
                                    dispatch.domain.notices.Way
                                ),
                                max_length=12,
                            ),
                        ),
                        ("to", models.CharField(max_length=200)),
                        ("fault", models.CharField(blank=True, max_length=200)),
                        (
                            "letter",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="sendings",
                                to="dispatch.letter",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("way", "email"), ("way", "paper"), _connector="OR"
                                ),
                                name="dispatch_lettersent_way_known",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Replacement",
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
                            "listed",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="replacements",
                                to="dispatch.casebox",
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
                            "request",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="replaces",
                                to="dispatch.request",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.UniqueConstraint(
                                fields=("listed", "request"),
                                name="dispatch_replacement_once",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="Drill",
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
                        ("seed", models.CharField(max_length=32)),
                        ("lots", models.PositiveIntegerField()),
                        ("calling", models.BooleanField()),
                        (
                            "lot",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="drills",
                                to="kitting.lot",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("lots__gte", 1)),
                                name="dispatch_drill_among",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="DrillCall",
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
                        ("answered", models.BooleanField()),
                        ("said_by", models.CharField(blank=True, max_length=80)),
                        (
                            "consignee",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="dispatch.consignee",
                            ),
                        ),
                        (
                            "drill",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="calls",
                                to="dispatch.drill",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("answered", False),
                                    models.Q(("said_by", ""), _negated=True),
                                    _connector="OR",
                                ),
                                name="dispatch_drillcall_who",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="DrillEnd",
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
                        ("remarks", models.CharField(max_length=500)),
                        (
                            "drill",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="end",
                                to="dispatch.drill",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("remarks", ""), _negated=True),
                                name="dispatch_drillend_has_remarks",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="DrillList",
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
                        ("boxes", models.PositiveIntegerField()),
                        ("pieces", models.PositiveBigIntegerField()),
                        ("located", models.PositiveBigIntegerField()),
                        (
                            "drill",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="list",
                                to="dispatch.drill",
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
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(
                                    ("located__lte", models.F("pieces"))
                                ),
                                name="dispatch_drilllist_located",
                            )
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="LetterBack",
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
                        ("reason", models.CharField(max_length=200)),
                        (
                            "operation",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="+",
                                to="kitting.operation",
                            ),
                        ),
                        (
                            "sending",
                            models.OneToOneField(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="back",
                                to="dispatch.lettersent",
                            ),
                        ),
                    ],
                    options={
                        "default_permissions": (),
                        "constraints": [
                            models.CheckConstraint(
                                condition=models.Q(("reason", ""), _negated=True),
                                name="dispatch_letterback_has_a_reason",
                            )
                        ],
                    },
                ),
            ],
        ),
        migrations.RunPython(install, drop),
    ]
