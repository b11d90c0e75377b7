"""Inner steps of requests: which one a box serves, and which are served."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from datetime import date

from django.db.models import Sum

from dispatch.domain.fetching import deal
from dispatch.domain.needs import RequestStage
from dispatch.models import Request, Shipment, ShipmentBox
from dispatch.requests.queries import ready_by_size
from kitting.domain.stages import GONE_SHIPMENTS
from kitting.ledger import bulk, locking
from kitting.ledger.reach import standing_reach
from kitting.models import Box


def to_serve(shipment: Shipment, box: Box, today: date) -> Request | None:
    """Choose the request that a box on a shipment serves.

    The one for which the fetch list says to bring a box of its size; where it says so
    for none, the neediest. Those that have what they asked for, sent or on a shipment,
    are passed over, and so are those of another ward than the shipment's.

    Args:
        shipment: The shipment, locked.
        box: The box, locked, with its size, not ready any more.
        today: The workshop's day.

    Returns:
        The request, locked; None if none of its product is left to serve.
    """
    rows = _LOCKED(shipment.consignee_id, box.size.product_id)
    there = {"", shipment.point} if shipment.point else {row.point for row in rows}
    asked = sorted((row for row in rows if row.point in there), key=_turn)
    given = sets_given(asked)
    lacks = {row: row.sets - given.get(row.pk, 0) for row in asked}
    lacking = [row for row in asked if lacks[row] > 0]
    if len(lacking) < 2:
        return next(iter(lacking), None)
    ready = Counter(ready_by_size(box.size.product_id, standing_reach(), today))
    ready[box.size.sets] += 1
    mixes = zip(lacking, deal([lacks[row] for row in lacking], ready), strict=True)
    named = (row for row, mix in mixes if mix and box.size.sets in mix.counts)
    return next(named, lacking[0])


_LOCKED = locking.finding(
    lambda consignee, product: Request.objects.filter(
        consignee=consignee, product=product, stage=RequestStage.OPEN
    )
)


def _turn(row: Request) -> tuple[int, date, int]:
    return row.tier, row.needed_by or date.max, row.pk


def sets_given(asked: Collection[Request], *, sent: bool = False) -> dict[int, int]:
    """Count the sets that boxes hold which serve some requests.

    Args:
        asked: The requests.
        sent: Only those that have left.

    Returns:
        Sets by request; one without any is not named.
    """
    if not asked:
        return {}
    loads = ShipmentBox.objects.filter(request__in=[row.pk for row in asked], live=True)
    if sent:
        loads = loads.filter(shipment__stage__in=GONE_SHIPMENTS)
    sums = loads.values("request").annotate(sets=Sum("box__size__sets"))
    return dict(sums.values_list("request", "sets"))


def settle(asked: Iterable[Request]) -> list[Request]:
    """Let requests be served or open as the boxes say that have left.

    Args:
        asked: The requests, locked, with the sets that they ask for now.

    Returns:
        Those whose stage is another one now; they are not saved.
    """
    rows = [row for row in asked if row.stage != RequestStage.CANCELLED]
    gone = sets_given(rows, sent=True)
    changed = []
    for row in rows:
        served = gone.get(row.pk, 0) >= row.sets
        stage = RequestStage.SERVED if served else RequestStage.OPEN
        if row.stage != stage:
            row.stage = stage
            changed.append(row)
    return changed


def serve(shipment_id: int) -> None:
    """Let the requests be served for which nothing is left once a shipment has gone.

    Args:
        shipment_id: The shipment, locked, sent.
    """
    loads = ShipmentBox.objects.filter(shipment=shipment_id, live=True)
    ids = loads.exclude(request=None).values_list("request", flat=True)
    bulk.update(settle(locking.lock_rows(Request, ids).values()), ["stage"])
