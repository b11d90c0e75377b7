"""Receipts: a shipment is delivered by what is said of it, and so is each of its boxes."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery

from dispatch.domain.receipts import OURS, Found
from dispatch.models import Receipt, ReceiptBox, Shipment, ShipmentBox
from kitting.domain.stages import BoxStage, ShipmentStage
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.models import Box

RECEIPT = Receipt._meta.db_table
SHIPMENT = Shipment._meta.db_table
BOX = Box._meta.db_table


def receipts(tally: Tally) -> None:
    """A shipment is delivered where a receipt of ours says so, and nowhere else.

    Args:
        tally: Where receipts are counted and faults noted.
    """
    every = Receipt.objects.filter(shipment=OuterRef("pk"))
    found = Shipment.objects.order_by("pk").annotate(
        told=Exists(every), ours=Exists(every.filter(way__in=OURS))
    )
    either = found.filter(Q(told=True) | Q(stage=ShipmentStage.DELIVERED))
    for pk, stage, ours in rows(either.values_list("pk", "stage", "ours")):
        tally.count += 1
        right = ShipmentStage.DELIVERED if ours else ShipmentStage.SENT
        wrong = "Its stage and what is said of its delivery do not agree."
        tally.same(SHIPMENT, pk, wrong, str(right), stage)
    odd = ReceiptBox.objects.filter(receipt=OuterRef("pk")).exclude(found=Found.WHOLE)
    told = Receipt.objects.order_by("pk").annotate(odd=Exists(odd))
    for pk, sent, counted, odd_ones, differs in rows(
        told.values_list("pk", "shipment__boxes", "boxes", "odd", "differs")
    ):
        right = odd_ones or sent != counted
        tally.same(RECEIPT, pk, "What it says differs otherwise.", right, differs)


def boxes(tally: Tally) -> None:
    """A box stays sent while every receipt of ours says that it did not arrive.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    said = Receipt.objects.filter(shipment=OuterRef("shipment"), way__in=OURS)
    absent = ReceiptBox.objects.filter(
        receipt__shipment=OuterRef("shipment"),
        receipt__way__in=OURS,
        box=OuterRef("box"),
        found=Found.ABSENT,
    )
    live = ShipmentBox.objects.filter(
        live=True, shipment__stage=ShipmentStage.DELIVERED
    )
    found = live.order_by("pk").annotate(
        receipts=_count(said.order_by().values("shipment")),
        missed=_count(absent.order_by().values("box")),
    )
    wrong = "Its stage and what is said of its delivery do not agree."
    for box, stage, receipts, missed in rows(
        found.values_list("box_id", "box__stage", "receipts", "missed")
    ):
        tally.count += 1
        arrived = (receipts or 0) > (missed or 0)
        if stage in (BoxStage.SENT, BoxStage.DELIVERED):
            right = BoxStage.DELIVERED if arrived else BoxStage.SENT
            tally.same(BOX, box, wrong, str(right), stage)
    on_it = ShipmentBox.objects.filter(
        shipment=OuterRef("receipt__shipment"), box=OuterRef("box"), live=True
    )
    odd = ReceiptBox.objects.filter(~Exists(on_it)).order_by("pk")
    for (pk,) in rows(odd.values_list("pk")):
        tally.add(ReceiptBox._meta.db_table, pk, "Its box did not leave.", "on", "off")


def _count(found: QuerySet[Any, Any]) -> Subquery:
    return Subquery(found.annotate(each=Count("pk")).values("each"))


register(("receipts", "receipts", receipts), ("received boxes", "boxes", boxes))
