"""Requests: taken, changed, and cancelled as far as they are not served."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date

from django.db.models import QuerySet, Sum

from dispatch.consignees.steps import need_consignee, need_point
from dispatch.domain.needs import LONGEST, MOST_SETS, Asked, RequestStage, Tier
from dispatch.models import Request, ShipmentBox
from dispatch.requests.steps import settle
from kitting.domain import numbers
from kitting.domain.errors import Refused, WrongStage
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.coded import row_to_change
from kitting.ledger.counters import take
from kitting.ledger.needs import need_length, need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Product


@dataclass(frozen=True)
class KeptRequest:
    """A request that is on record."""

    request: str
    consignee: str
    sets: int
    stage: str
    reason: str = ""
    """Why it was changed or cancelled."""


def take_request(
    *, consignee_id: int, product_id: int, asked: Asked, sign: Sign
) -> KeptRequest:
    """Take down what a consignee asks for.

    Args:
        consignee_id: The consignee.
        product_id: The product; active.
        asked: What is asked for.
        sign: Who, when and the operation key; asked today, by whoever signs.

    Returns:
        The request.

    Raises:
        Missing: If there is no such consignee or product.
        Refused: ``request_sets``, ``request_tier``, ``request_day_over``,
            ``product_without_sizes``, ``entry_too_long``, ``consignee_closed``,
            ``point_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptRequest:
        today = day_of(act.workshop, act.now)
        row = Request(
            consignee=need_consignee(consignee_id),
            product=_in_use(product_id),
            asked_on=today,
            stage=RequestStage.OPEN,
            taken_by=act.operation.by_name,
        )
        _fill(row, asked, today)
        row.number = take(act.workshop.site, numbers.Kind.REQUEST)[0]
        row.save(force_insert=True)
        return _kept(row)

    return perform(
        "take_request",
        work,
        KeptRequest,
        sign,
        consignee=consignee_id,
        product=product_id,
        **asdict(asked),
    )


def change_request(
    *, number: str, asked: Asked, reason: str, sign: Sign, seen: str = ""
) -> KeptRequest:
    """Change what was asked for.

    Args:
        number: The request; not cancelled.
        asked: What is asked for from now on; of sets that are sent nothing is taken
            back, and a request for no more than those is served.
        reason: Why.
        sign: Who, when and the operation key.
        seen: ``mark_of`` the request that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        The request.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such request.
        Refused: ``reason_missing``, ``request_loaded`` while boxes for it are on an
            open shipment to another ward, and as for taking it down.
        WrongStage: ``request_cancelled``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptRequest:
        why = need_reason(reason)
        row = row_to_change(act, Request.objects.filter(number=number), seen)
        if row.stage == RequestStage.CANCELLED:
            raise WrongStage("request_cancelled", request=number)
        needed_before = row.needed_by
        _fill(row, asked, day_of(act.workshop, act.now), needed_before)
        if row.point:
            elsewhere = row.loads.exclude(shipment__point__in=["", row.point])
            _refuse_loaded(row, elsewhere)
        settle([row])
        row.save()
        return _kept(row, why)

    return perform(
        "change_request",
        work,
        KeptRequest,
        sign,
        number=number,
        reason=reason,
        seen=seen,
        **asdict(asked),
    )


def cancel_request(
    *, number: str, reason: str, sign: Sign, seen: str = ""
) -> KeptRequest:
    """Cancel what is not sent of a request; what is sent stays on record.

    Args:
        number: The request; open.
        reason: Why.
        sign: Who, when and the operation key.
        seen: As for ``change_request``.

    Returns:
        The request.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such request.
        Refused: ``reason_missing``, ``entry_too_long``, ``request_loaded`` while boxes
            for it are on an open shipment.
        WrongStage: ``request_not_open``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptRequest:
        why = need_reason(reason)
        row = row_to_change(act, Request.objects.filter(number=number), seen)
        if row.stage != RequestStage.OPEN:
            raise WrongStage("request_not_open", request=number, stage=row.stage)
        _refuse_loaded(row, row.loads.all())
        row.stage = RequestStage.CANCELLED
        row.save(update_fields=["stage"])
        return _kept(row, why)

    return perform(
        "cancel_request",
        work,
        KeptRequest,
        sign,
        number=number,
        reason=reason,
        seen=seen,
    )


def _in_use(product_id: int) -> Product:
    product = locking.lock_row(Product, product_id)
    if not product.sizes.filter(active=True).exists():
        raise Refused("product_without_sizes", product=product.name)
    return product


def _fill(row: Request, asked: Asked, today: date, was: date | None = None) -> None:
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


def _refuse_loaded(row: Request, loads: QuerySet[ShipmentBox]) -> None:
    on = loads.filter(live=True, shipment__stage="open").order_by("pk")
    first = on.select_related("shipment").first()
    if first is not None:
        sets = on.aggregate(sets=Sum("box__size__sets"))["sets"]
        raise Refused(
            "request_loaded",
            request=row.number,
            shipment=first.shipment.number,
            sets=sets,
        )


def _kept(row: Request, why: str = "") -> KeptRequest:
    return KeptRequest(row.number, row.consignee.name, row.sets, str(row.stage), why)
