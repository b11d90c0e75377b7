"""What the pages of requests show: who asked, what is left, which boxes would do."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, F, Q, QuerySet, Sum

from dispatch.consignees.queries import same_as
from dispatch.domain.boxmix import Mix, Nearest, best_mix, nearest
from dispatch.domain.fetching import free_of
from dispatch.domain.needs import RequestStage
from dispatch.models import Request, Shipment, ShipmentBox
from dispatch.requests.queries.promises import Promises
from kitting.domain.stages import GONE_SHIPMENTS, ShipmentStage
from kitting.ledger import clock
from kitting.ledger.kept import Kept
from kitting.ledger.reach import Reach
from kitting.models import BoxSize
from kitting.packing.queries.boxes import ready_boxes


def with_figures(rows: QuerySet[Request]) -> QuerySet[Request]:
    """Requests with what they were given.

    Args:
        rows: The requests.

    Returns:
        Them, with their consignee and product, ``sent``, ``loaded`` (sets that have
        left, and that are on open shipments) and ``left``, the neediest first.
    """
    live = Q(loads__live=True, loads__back=False)

    def sets(*stages: str) -> Sum:
        of = live & Q(loads__shipment__stage__in=stages)
        return Sum("loads__box__size__sets", filter=of, default=0)

    return (
        rows.select_related("consignee__merged_into", "product")
        .annotate(sent=sets(*GONE_SHIPMENTS), loaded=sets(ShipmentStage.OPEN))
        .annotate(left=F("sets") - F("sent") - F("loaded"))
        .order_by("tier", F("needed_by").asc(nulls_last=True), "pk")
    )


def filtered(filters: Mapping[str, Any]) -> QuerySet[Request]:
    """Requests as the filters choose them.

    Args:
        filters: Any of stage, consignee and product, as ``RequestFilterForm`` gives
            them; without a stage the open ones, and "all" for every stage.

    Returns:
        The requests; see ``with_figures``.
    """
    rows = Request.objects.all()
    stage = filters.get("stage") or RequestStage.OPEN
    if stage != "all":
        rows = rows.filter(stage=stage)
    if consignee := filters.get("consignee"):
        rows = rows.filter(consignee__in=same_as(consignee.pk))
    if product := filters.get("product"):
        rows = rows.filter(product=product)
    return with_figures(rows)


def is_late(row: Request) -> bool:
    """Tell whether an open request was needed before today."""
    by = row.needed_by
    return row.stage == RequestStage.OPEN and by is not None and by < clock.today()


@dataclass(frozen=True)
class Totals:
    """Sums over requests."""

    requests: int
    sets: int
    left: int


def totals(rows: Collection[Any]) -> Totals:
    """Count requests, sets asked, and sets that nobody was given yet.

    Args:
        rows: From ``with_figures``.
    """
    left = [max(0, row.left) for row in rows if row.stage == RequestStage.OPEN]
    return Totals(len(rows), sum(row.sets for row in rows), sum(left))


def open_for(shipment: Shipment) -> list[Request]:
    """The open requests that a shipment may serve, the neediest first.

    Args:
        shipment: The shipment; one to a ward serves no request of another.

    Returns:
        The requests; see ``with_figures``.
    """
    rows = _OPEN_OF(shipment.consignee_id)
    there = {"", shipment.point}
    return [row for row in rows if not shipment.point or row.point in there]


_OPEN_OF = Kept(
    lambda consignee: with_figures(
        Request.objects.filter(
            consignee__in=same_as(consignee).order_by().values("pk"),
            stage=RequestStage.OPEN,
        )
    )
)


def shipments_of(row: Request) -> QuerySet[Shipment]:
    """The shipments with boxes that serve a request, newest first.

    Args:
        row: The request.

    Returns:
        Each with ``its_boxes`` and ``its_sets``: those that serve this request.
    """
    serving = Q(shipment_boxes__live=True, shipment_boxes__request=row)
    return (
        Shipment.objects.filter(serving)
        .annotate(
            its_boxes=Count("shipment_boxes", filter=serving),
            its_sets=Sum("shipment_boxes__box__size__sets", filter=serving),
        )
        .order_by("-pk")
    )


def to_take_off(row: Any) -> list[ShipmentBox]:
    """The boxes on open shipments that a request can do without, the last loaded first.

    Args:
        row: The request, from ``with_figures``.

    Returns:
        Each with its box and shipment; what is left serves the request whole.
    """
    spare, found = -row.left, []
    if spare <= 0:
        return []
    on = row.loads.filter(live=True, shipment__stage=ShipmentStage.OPEN)
    for load in on.select_related("box__size", "shipment").order_by("-pk"):
        if load.box.size.sets <= spare:
            spare -= load.box.size.sets
            found.append(load)
    return found


def open_already(row: Request) -> QuerySet[Shipment]:
    """The open shipments that may serve a request, newest first.

    Args:
        row: The request; one to another ward does not.
    """
    there = Shipment.objects.filter(
        consignee=row.consignee.stays, stage=ShipmentStage.OPEN
    )
    if row.point:
        there = there.filter(point__in=["", row.point])
    return there.order_by("-pk")


# -- Which boxes would do ----------------------------------------------------------------


@dataclass(frozen=True)
class Would:
    """Which boxes would serve some sets."""

    sets: int
    any: Mix | None
    """Of boxes yet to be packed as well, those that are ready first; None without sizes."""
    ready: Nearest
    """Of boxes alone that are ready to go and promised to nobody."""
    exact: bool
    """Whether ready boxes come out even."""


def left_of(row: Any, reach: Reach, promises: Promises) -> Would | None:
    """Find the boxes that would serve what is left of a request beyond its promises.

    Args:
        row: The request, from ``with_figures``.
        reach: What the standing holds reach.
        promises: Those of its product.

    Returns:
        The boxes; None where nothing is left.
    """
    left = row.left - promises.sets_to(row.pk)
    return would_serve(left, row.product_id, reach, promises) if left > 0 else None


def would_serve(sets: int, product_id: int, reach: Reach, promises: Promises) -> Would:
    """Find the boxes that would serve a request, of those that are promised to nobody.

    Args:
        sets: How many sets, 1 or more.
        product_id: The product.
        reach: What the standing holds reach.
        promises: Those of the product.

    Returns:
        The boxes.
    """
    of_product = BoxSize.objects.filter(product=product_id)
    in_use = [*of_product.filter(active=True).values_list("sets", flat=True)]
    ready = ready_by_size(product_id, reach, clock.today())
    there = free_of(ready, promises.total())
    any_ = best_mix(sets, in_use, packed=there) if in_use else None
    there_now = nearest(sets, there, there) if there else Nearest(None, None)
    above = there_now.above
    return Would(sets, any_, there_now, above is not None and above.surplus == 0)


@dataclass(frozen=True)
class PromisedTo:
    """Boxes of a size that are promised to a request."""

    sets: int
    boxes: int
    promised: int
    """Boxes of the size that are promised to anybody."""
    ready: int
    """How many of the size are ready; they go to whoever of those loads them first."""
    allotments: tuple[str, ...]
    """The numbers of those that promised them, the oldest first."""


def promised_to(row: Request, reach: Reach, promises: Promises) -> list[PromisedTo]:
    """What is promised to a request and not loaded yet.

    Args:
        row: The request.
        reach: What the standing holds reach.
        promises: Those of its product.

    Returns:
        By size, the largest first.
    """
    boxes = promises.to(row.pk)
    if not boxes:
        return []
    ready, total = ready_by_size(row.product_id, reach, clock.today()), promises.total()
    by = [
        (each.sets, each.allotment)
        for each in promises.rows
        if each.request_id == row.pk
    ]
    return [
        PromisedTo(
            sets,
            boxes[sets],
            total[sets],
            ready.get(sets, 0),
            tuple(dict.fromkeys(number for of, number in by if of == sets)),
        )
        for sets in sorted(boxes, reverse=True)
    ]


def ready_by_size(product_id: int, reach: Reach, today: date) -> dict[int, int]:
    """Count the boxes of a product that are ready to go.

    Args:
        product_id: The product.
        reach: What the standing holds reach.
        today: The workshop's day.

    Returns:
        Size in sets to boxes, 1 or more.
    """
    ready = ready_boxes(reach, today).filter(size__product=product_id)
    counts = ready.order_by().values("size__sets").annotate(boxes=Count("pk"))
    return dict(counts.values_list("size__sets", "boxes"))
