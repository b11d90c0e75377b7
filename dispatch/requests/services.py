"""Requests: taken, changed, and cancelled as far as they are not served."""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime

from django.db.models import Q, QuerySet, Sum

from dispatch.consignees.steps import need_open
from dispatch.domain import requestfile
from dispatch.domain.needs import Asked, RequestStage
from dispatch.models import Consignee, Request, ShipmentBox
from dispatch.requests.steps import fill, settle, take_down
from kitting.domain import numbers
from kitting.domain.cells import DateOrder
from kitting.domain.delimited import Problem
from kitting.domain.errors import Doubted, LotwardError, Refused, WrongStage
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.coded import row_to_change
from kitting.ledger.counters import take
from kitting.ledger.locking import snapshot
from kitting.ledger.needs import LONGEST_REASON, need_length, need_reason
from kitting.ledger.operations import Act, Sign, fingerprint, perform
from kitting.models import Operation, Product, Workshop


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
        row = take_down(act, consignee_id, product_id, asked)
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
        fill(row, asked, day_of(act.workshop, act.now), needed_before)
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


# -- A file of them ----------------------------------------------------------------------

FILE_ACT = "take_in_requests"


@dataclass(frozen=True)
class Plan:
    """What a file of requests would bring, or what is wrong with it."""

    rows: tuple[tuple[int, Request], ...]
    """Line and request, without a number yet."""
    problems: tuple[Problem, ...]
    questions: tuple[Problem, ...]
    before: Operation | None = None
    """The act that took this very file in before."""


@dataclass(frozen=True)
class TakenRequests:
    """The requests that a file brought, in its order."""

    requests: list[str]
    sure: str = ""
    """Why rows that repeat others are right."""


def plan_requests(*, data: bytes, date_order: DateOrder | None, now: datetime) -> Plan:
    """Read a file of requests and say what it would bring; writes nothing.

    Args:
        data: The file's content.
        date_order: Which comes first in 01/03/2026; None refuses unclear ones.
        now: The moment, for the workshop's day.

    Returns:
        Its rows, or every problem.
    """
    table = requestfile.read(data, date_order=date_order)
    mark = fingerprint(FILE_ACT, _sent(data, date_order))
    with snapshot():
        today = day_of(Workshop.objects.get(pk=1), now)
        planned = _planned(table, _named(table), today)
        before = Operation.objects.filter(name=FILE_ACT, mark=mark).order_by("pk")
        return replace(planned, before=before.first())


def take_in_requests(
    *, data: bytes, date_order: DateOrder | None, sign: Sign, sure: str = ""
) -> TakenRequests:
    """Take down all requests of a file, or none.

    Args:
        data: The file's content.
        date_order: Which comes first in 01/03/2026.
        sign: Who, when and the operation key; asked today, by whoever signs.
        sure: Why rows that repeat others are right; empty to be asked.

    Returns:
        The numbers of the requests.

    Raises:
        Doubted: ``file_has_questions``; ``plan_requests`` says which.
        Refused: ``file_has_problems``, as above; ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    table = requestfile.read(data, date_order=date_order)

    def work(act: Act) -> TakenRequests:
        named = _named(table)
        locking.lock_rows(Consignee, {row.pk for row in named.consignees.values()})
        locking.lock_rows(Product, {row.pk for row in named.products.values()})
        today = day_of(act.workshop, act.now)
        plan = _planned(table, _named(table), today)
        if plan.problems:
            raise Refused("file_has_problems", count=len(plan.problems))
        why = need_length("reason", sure, LONGEST_REASON) if plan.questions else ""
        if plan.questions and not why:
            raise Doubted("file_has_questions", count=len(plan.questions))
        rows = [row for _line, row in plan.rows]
        site, count = act.workshop.site, len(rows)
        given = take(site, numbers.Kind.REQUEST, count) if rows else []
        for row, number in zip(rows, given, strict=True):
            row.number, row.taken_by = number, act.operation.by_name
        Request.objects.bulk_create(rows)
        return TakenRequests(given, why)

    return perform(FILE_ACT, work, TakenRequests, sign, **_sent(data, date_order))


def _sent(data: bytes, date_order: DateOrder | None) -> dict[str, str]:
    return {"sha256": hashlib.sha256(data).hexdigest(), "date_order": date_order or ""}


@dataclass(frozen=True)
class _Named:
    """What the rows of a file name and the database knows."""

    consignees: dict[str, Consignee]
    """By code and by GLN."""
    products: dict[str, Product]
    """Those with a size in use, and others, by code in capitals."""
    sized: set[int]


def _named(table: requestfile.Table) -> _Named:
    whom = {row.consignee for row in table.rows}
    rows = Consignee.objects.filter(Q(code__in=whom) | Q(gln__in=whom))
    known = {row.gln: row for row in rows if row.gln} | {row.code: row for row in rows}
    asked = {row.product for row in table.rows}
    products = {row.code.upper(): row for row in Product.objects.all()}
    sized = Product.objects.filter(sizes__active=True).values_list("pk", flat=True)
    return _Named(
        consignees=known,
        products={code: products[code] for code in asked & products.keys()},
        sized=set(sized),
    )


def _planned(table: requestfile.Table, named: _Named, today: date) -> Plan:
    rows: list[tuple[int, Request]] = []
    problems = list(table.problems)
    for each in table.rows:
        line, whom, what = each.line, each.consignee, each.product
        consignee, product = named.consignees.get(whom), named.products.get(what)
        if consignee is None:
            problems.append(Problem(line, "consignee", whom, "consignee_unknown"))
        if product is None:
            problems.append(Problem(line, "product", what, "product_unknown"))
        if consignee is None or product is None:
            continue
        try:
            need_open(consignee)
            if product.pk not in named.sized:
                raise Refused("product_without_sizes", product=product.name)
            row = Request(consignee=consignee, product=product, asked_on=today)
            fill(row, each.asked, today)
            rows.append((line, row))
        except LotwardError as error:
            problems.append(Problem(line, "", "", error.code, error.params))
    told = [replace(p, column=table.words.get(p.column, p.column)) for p in problems]
    told.sort(key=lambda problem: problem.line)
    return Plan(tuple(rows), tuple(told), tuple(table.repeats))
