"""Inner steps of requests: which one a box serves, and which are served."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass
from datetime import date
from typing import Final

from django.db.models import Sum

from dispatch.consignees.queries import same_as
from dispatch.consignees.steps import need_consignee, need_point
from dispatch.domain.fetching import deal
from dispatch.domain.needs import LONGEST, MOST_SETS, Asked, RequestStage, Tier
from dispatch.models import Request, Shipment, ShipmentBox
from dispatch.requests.queries.promises import Promises, open_promises
from dispatch.requests.queries.requests import ready_by_size
from kitting.domain import numbers
from kitting.domain.errors import Refused
from kitting.domain.stages import GONE_SHIPMENTS
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.counters import take
from kitting.ledger.needs import need_length
from kitting.ledger.operations import Act
from kitting.ledger.reach import Reach
from kitting.models import Box, Product

MOST_NAMED: Final = 3
"""To so many consignees a refusal says that boxes are promised."""


@dataclass(frozen=True)
class Serves:
    """What a box on a shipment is for."""

    request: Request | None = None
    """The request, locked; None if none of its product is left to serve."""
    promise_id: int | None = None
    """The promise to it that the box keeps."""


def to_serve(shipment: Shipment, box: Box, today: date, reach: Reach) -> Serves:
    """Choose what a box on a shipment serves.

    A promise of its size to the consignee, to whom it is needed most. Where there is none
    the box must be free: ready beyond what is promised. It then serves the request for
    which the fetch list says to bring a box of its size; where it says so for none, the
    neediest. Those that have what they asked for, sent or on a shipment, are passed over,
    and so are those of another ward than the shipment's.

    Args:
        shipment: The shipment, locked.
        box: The box, locked with its product, with its size, not ready any more.
        today: The workshop's day.
        reach: What the standing holds reach, read behind the gate.

    Returns:
        The request, and the promise to it.

    Raises:
        Refused: ``box_promised`` if all that are ready of its size are promised to others.
    """
    product, sets = box.size.product_id, box.size.sets
    rows = _LOCKED(shipment.consignee_id, product)
    there = {"", shipment.point} if shipment.point else {row.point for row in rows}
    asked = sorted((row for row in rows if row.point in there), key=_turn)
    promises = open_promises([product])
    for row in asked:
        if kept := promises.of(row.pk, sets):
            return Serves(row, kept.promise)
    given = sets_given(asked)
    lacks = {row: row.sets - given.get(row.pk, 0) for row in asked}
    lacking = [row for row in asked if lacks[row] > 0]
    if len(lacking) < 2 and not promises.total()[sets]:
        return Serves(next(iter(lacking), None))
    ready = Counter(ready_by_size(product, reach, today))
    ready[sets] += 1
    _refuse_promised(box, ready[sets], promises)
    own = [row.pk for row in lacking]
    mixes = deal(
        [lacks[row] for row in lacking],
        ready,
        [promises.to(pk) for pk in own],
        promises.total(but=own),
    )
    both = zip(lacking, mixes, strict=True)
    named = (row for row, mix in both if mix and sets in mix.counts)
    return Serves(next(named, next(iter(lacking), None)))


def asks_for(shipment: Shipment) -> set[int]:
    """Give the products for which requests are open that a shipment may serve.

    Args:
        shipment: The shipment; one to a ward serves no request of another.

    Returns:
        Their ids; none where the consignee asks for nothing.
    """
    rows = Request.objects.filter(
        consignee__in=same_as(shipment.consignee_id), stage=RequestStage.OPEN
    )
    if shipment.point:
        rows = rows.filter(point__in=["", shipment.point])
    return {*rows.values_list("product", flat=True)}


def _refuse_promised(box: Box, ready: int, promises: Promises) -> None:
    """Refuse a box of which there are no more ready than are promised to others."""
    sets = box.size.sets
    rows = [row for row in promises.rows if row.sets == sets]
    promised = sum(row.boxes for row in rows)
    if ready > promised:
        return
    by: Counter[str] = Counter()
    for row in rows:
        by[row.who] += row.boxes
    first = [f"{who} ({boxes})" for who, boxes in by.most_common(MOST_NAMED)]
    raise Refused(
        "box_promised",
        box=str(box),
        sets=sets,
        ready=ready,
        whom=", ".join([*first, *["…"][: len(by) - len(first)]]),
        allotment=rows[0].allotment,
    )


_LOCKED = locking.finding(
    lambda consignee, product: Request.objects.filter(
        consignee__in=same_as(consignee).order_by().values("pk"),
        product=product,
        stage=RequestStage.OPEN,
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
        Sets by request, without boxes that came back unopened; one without any is
        not named.
    """
    if not asked:
        return {}
    ids = [row.pk for row in asked]
    loads = ShipmentBox.objects.filter(request__in=ids, live=True, back=False)
    if sent:
        loads = loads.filter(shipment__stage__in=GONE_SHIPMENTS)
    sums = loads.values("request").annotate(sets=Sum("box__size__sets"))
    return dict(sums.values_list("request", "sets"))


def settle(asked: Iterable[Request]) -> list[Request]:
    """Let requests be served or open as the boxes say that have left.

    One of a consignee that is closed is not opened again: nothing can be sent there.

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
        if row.stage != stage and (served or row.consignee.stays.active):
            row.stage = stage
            changed.append(row)
    return changed


def serve(shipment_id: int) -> None:
    """Let the requests be served or open for which boxes left with a shipment.

    Args:
        shipment_id: The shipment, locked; it has left.
    """
    loads = ShipmentBox.objects.filter(shipment=shipment_id, live=True)
    ids = loads.exclude(request=None).values_list("request", flat=True)
    rows = locking.lock_rows(Request, ids, "consignee__merged_into")
    bulk.update(settle(rows.values()), ["stage"])


def take_down(act: Act, consignee_id: int, product_id: int, asked: Asked) -> Request:
    """Take down what a consignee asks for, today, by whoever acts.

    Args:
        act: The act.
        consignee_id: The consignee.
        product_id: The product; active.
        asked: What is asked for.

    Returns:
        The request, with its number.

    Raises:
        Missing: If there is no such consignee or product.
        Refused: ``product_without_sizes``, ``consignee_closed``; as for ``fill``.
    """
    today = day_of(act.workshop, act.now)
    row = Request(
        consignee=need_consignee(consignee_id),
        product=_in_use(product_id),
        asked_on=today,
        stage=RequestStage.OPEN,
        taken_by=act.operation.by_name,
    )
    fill(row, asked, today)
    row.number = take(act.workshop.site, numbers.Kind.REQUEST)[0]
    row.save(force_insert=True)
    return row


def fill(row: Request, asked: Asked, today: date, was: date | None = None) -> None:
    """Let a request say what is asked for.

    Args:
        row: The request, locked or new, with its consignee.
        asked: What is asked for.
        today: The workshop's day.
        was: The day by which it was needed before, which may be over.

    Raises:
        Refused: ``request_sets``, ``request_tier``, ``request_day_over``,
            ``entry_too_long``, ``point_unknown``.
    """
    if not 1 <= asked.sets <= MOST_SETS:
        raise Refused("request_sets", most=MOST_SETS)
    if asked.tier not in {*Tier}:
        raise Refused("request_tier", read=asked.tier)
    if asked.needed_by and asked.needed_by < today and asked.needed_by != was:
        raise Refused("request_day_over", day=asked.needed_by)
    point_before = row.point
    for name, value in asdict(asked).items():
        most = LONGEST.get(name)
        setattr(row, name, value if most is None else need_length(name, value, most))
    row.point = need_point(row.consignee, asked.point, point_before)


def _in_use(product_id: int) -> Product:
    product = locking.lock_row(Product, product_id)
    if not product.sizes.filter(active=True).exists():
        raise Refused("product_without_sizes", product=product.name)
    return product
