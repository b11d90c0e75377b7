"""Shipments: what was scanned onto them is on them, and goes where they go."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery, Sum

from dispatch.models import ShipEvent, Shipment, ShipmentBox, ShipScan
from dispatch.shipments.steps import NAMED
from kitting.domain.stages import GONE_SHIPMENTS, BoxStage, ShipmentStage
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.newest import register_newest
from kitting.ledger.proof.stages import replay
from kitting.ledger.proof.streams import (
    Ids,
    composed,
    grouped,
    only,
    rows,
    side_by_side,
)
from kitting.ledger.proof.turns import by_turns
from kitting.models import Box

SHIPMENT = Shipment._meta.db_table
BOX = Box._meta.db_table

_OUT = (BoxStage.SENT, BoxStage.DELIVERED, BoxStage.RETURNED, BoxStage.VOIDED)
_FITS: dict[str, tuple[str, ...]] = {
    ShipmentStage.OPEN: (BoxStage.LOADED,),
    ShipmentStage.SENT: _OUT,
    ShipmentStage.DELIVERED: _OUT,  # a box that did not arrive stays sent
    ShipmentStage.CANCELLED: (),
}
"""In which stages a box may be that is live on a shipment of each stage."""

_MOVES: dict[str, Collection[str]] = {
    ShipmentStage.OPEN: {ShipmentStage.SENT, ShipmentStage.CANCELLED},
    ShipmentStage.SENT: {ShipmentStage.DELIVERED},
}


def scans(tally: Tally, ids: Ids = None) -> None:
    """A box is on a shipment if its last scan put it there, and on no other.

    Args:
        tally: Where scans are counted and faults noted.
        ids: The shipments; None for all of them.
    """
    every, made = ShipmentBox.objects.all(), ShipScan.objects.all()
    said = ("request", "promise", "pallet")
    by_turns(tally, every, made, ids, of="shipment", beside=said)


def boxes(tally: Tally) -> None:
    """Every box on a shipment is in a stage that fits it, and no other is on its way.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    live, lost = _boxes()
    for box, stage, shipment, its in rows(live):
        tally.count += 1
        if stage not in _FITS[its]:
            tally.add(
                BOX,
                box,
                f"The box is on shipment {shipment}, which is {its}.",
                " or ".join(_FITS[its]) or "no shipment",
                stage,
            )
    for box, stage in rows(lost):
        tally.add(BOX, box, "The box is on no shipment.", "labelled", stage)


@composed
def _boxes() -> Iterator[QuerySet[Any, Any]]:
    """Boxes on shipments, and those on none that are on their way."""
    live = ShipmentBox.objects.filter(live=True).order_by("pk")
    yield live.values_list(
        "box_id", "box__stage", "shipment__number", "shipment__stage"
    )
    away = (BoxStage.LOADED, BoxStage.SENT, BoxStage.DELIVERED, BoxStage.RETURNED)
    on_one = ShipmentBox.objects.filter(live=True).values("box")
    lost = Box.objects.filter(stage__in=away).exclude(pk__in=on_one).order_by("pk")
    yield lost.values_list("pk", "stage")


def counters(tally: Tally, ids: Ids = None) -> None:
    """A sent shipment counts the boxes and sets on it and knows who sent it and when.

    Args:
        tally: Where shipments are counted and faults noted.
        ids: The shipments; None for all of them.
    """
    [found] = _counters(ids)
    for row in rows(found):
        pk, stage, boxes_said, sets_said, sent_at, sent_by, on, held, at, by = row
        tally.count += 1
        gone = stage in GONE_SHIPMENTS
        same = tally.same
        same(SHIPMENT, pk, "It counts other boxes.", on if gone else 0, boxes_said)
        same(SHIPMENT, pk, "It counts other sets.", held if gone else 0, sets_said)
        same(SHIPMENT, pk, "It was sent at another moment.", at, sent_at)
        same(SHIPMENT, pk, "Somebody else sent it.", by or "", sent_by)


@composed
def _counters(ids: Ids) -> Iterator[QuerySet[Any, Any]]:
    """What shipments say of themselves, and the same counted and looked up."""
    sent = ShipEvent.objects.filter(shipment=OuterRef("pk"), after=ShipmentStage.SENT)
    live = Q(shipment_boxes__live=True)
    found = only(Shipment.objects.order_by("pk"), "pk", ids).annotate(
        on=Count("shipment_boxes", filter=live),
        held=Sum("shipment_boxes__box__size__sets", filter=live, default=0),
        at=Subquery(sent.values("operation__at")[:1]),
        by=Subquery(sent.values("operation__by_name")[:1]),
    )
    yield found.values_list(
        *("pk", "stage", "boxes", "sets", "sent_at", "sent_by"),
        *("on", "held", "at", "by"),
    )


def names(tally: Tally, ids: Ids = None) -> None:
    """A sent shipment names the lots and products in its boxes, and no other names any.

    Args:
        tally: Where shipments are counted and faults noted.
        ids: The shipments; None for all of them.
    """
    every = only(Shipment.objects.order_by("pk"), "pk", ids)
    gone = ShipmentBox.objects.filter(live=True, shipment__stage__in=GONE_SHIPMENTS)
    inside = only(gone.order_by("shipment_id"), "shipment_id", ids)
    for name, at in NAMED.items():
        said = every.values_list("pk", name)
        found = inside.values_list("shipment_id", f"box__{at}").distinct()
        what = f"It names other {name} than those in its boxes."
        both = side_by_side(grouped(rows(said)), grouped(rows(found)))
        for pk, (known, numbers) in both:
            tally.count += name == "lots"  # each shipment once
            held = " ".join(sorted(number for (number,) in numbers))
            tally.same(SHIPMENT, pk, what, held, known[0][0] if known else None)


def stages(tally: Tally, ids: Ids = None) -> None:
    """Replay the events of every shipment up to the stage it is in.

    Args:
        tally: Where events are counted and faults noted.
        ids: The shipments; None for all of them.
    """
    every = only(Shipment.objects.all(), "pk", ids)
    events = only(ShipEvent.objects.all(), "shipment_id", ids)
    replay(tally, every, events, "shipment_id", _MOVES)


register(
    ("shipment stages", "events", stages, Shipment, ShipEvent),
    ("shipment scans", "scans", scans, ShipmentBox, ShipScan),
    ("shipment boxes", "boxes", boxes, ShipmentBox, Box),
    ("shipment counters", "shipments", counters, Shipment),
    ("shipment lots and products", "shipments", names, Shipment, ShipmentBox),
)
for each in (
    ("shipment stages", "events", stages),
    ("shipment scans", "scans", scans),
    ("shipment counters", "shipments", counters),
    ("shipment lots and products", "shipments", names),
):
    register_newest(*each, (ShipEvent, "shipment_id"), (ShipScan, "shipment_id"))
