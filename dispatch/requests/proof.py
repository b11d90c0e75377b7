"""Requests: one is served where boxes with all its sets have left, and only there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from django.db.models import Q, QuerySet, Sum

from dispatch.domain.needs import RequestStage
from dispatch.models import Merging, Request
from kitting.domain.stages import GONE_SHIPMENTS, ShipmentStage
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import composed, rows

REQUEST = Request._meta.db_table


def served(tally: Tally) -> None:
    """Compare the stage of every request with what boxes have left that serve it.

    One may stay served whose boxes came back: its consignee was closed then.

    Args:
        tally: Where requests are counted and faults noted.
    """
    found, cancelled = _served()
    for pk, sets, stage, given, with_back in rows(found):
        tally.count += 1
        was_served = stage == RequestStage.SERVED and with_back >= sets
        if stage != RequestStage.CANCELLED and not was_served:
            right = RequestStage.SERVED if given >= sets else RequestStage.OPEN
            tally.same(REQUEST, pk, f"{given} of {sets} sets are sent.", right, stage)
    tally.each(REQUEST, cancelled, "Boxes wait to leave for it.", "none", "some")


@composed
def _served() -> Iterator[QuerySet[Any, Any]]:
    """What has left for each request, and cancelled ones for which boxes wait."""
    left = Q(loads__live=True, loads__shipment__stage__in=GONE_SHIPMENTS)
    gone = left & Q(loads__back=False)
    sent = Sum("loads__box__size__sets", filter=gone, default=0)
    once = Sum("loads__box__size__sets", filter=left, default=0)
    found = Request.objects.order_by("pk").annotate(sent=sent, once=once)
    yield found.values_list("pk", "sets", "stage", "sent", "once")
    waits = Q(loads__live=True, loads__shipment__stage=ShipmentStage.OPEN)
    cancelled = Request.objects.filter(waits, stage=RequestStage.CANCELLED)
    yield cancelled.order_by("pk").values_list("pk").distinct()


def consignees(tally: Tally) -> None:
    """Every box serves a request of the shipment's consignee, for the box's product.

    A request goes on as that of whomever its consignee was merged with, and a box that
    served it then serves it still.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    told, loads = _loads()
    led: dict[int, set[int]] = defaultdict(set)
    for one, into in rows(told):
        led[one].add(into)
    for pk, consignee, product, whom, what in rows(loads):
        tally.count += 1
        if whom not in _reached(consignee, led):
            tally.same(REQUEST, pk, "A box for another serves it.", consignee, whom)
        tally.same(REQUEST, pk, "A box of another product serves it.", product, what)


@composed
def _loads() -> Iterator[QuerySet[Any, Any]]:
    """Who was merged with whom, and what boxes serve each request."""
    yield Merging.objects.order_by().values_list("consignee", "into")
    loads = Request.objects.filter(loads__isnull=False).order_by("pk")
    yield loads.values_list(
        *("pk", "consignee_id", "product_id"),
        *("loads__shipment__consignee_id", "loads__box__size__product_id"),
    )


def _reached(one: int, led: Mapping[int, Collection[int]]) -> set[int]:
    """A consignee, and all that it ever was merged with."""
    found, new = {one}, {one}
    while new:
        new = {to for each in new for to in led.get(each, ())} - found
        found |= new
    return found


register(
    ("requests served", "requests", served, Request),
    ("requests and boxes", "boxes", consignees, Request),
)
