"""What pictures of a period are drawn from, in sets of one product."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, TypeAlias

from django.db.models import (
    Case,
    CharField,
    Count,
    F,
    IntegerField,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce, Greatest, TruncDate

from dispatch.consignees.queries import stays
from dispatch.domain.figures import Day, Lasting, Share, neediest_first
from dispatch.domain.needs import RequestStage
from dispatch.domain.receipts import OURS, Found
from dispatch.models import (
    Promise,
    PromiseRelease,
    Receipt,
    ReceiptBox,
    Request,
    Return,
    ShipmentBox,
)
from kitting.domain.stages import BoxStage
from kitting.ledger.clock import midnight
from kitting.ledger.reach import Reach
from kitting.models import Box, BoxSize, PackPlan
from kitting.packing.queries.boxes import ready_boxes
from kitting.packing.queries.reaches import reaches

Whom: TypeAlias = tuple[str, str]
"""Code and name of a consignee."""


@dataclass(frozen=True)
class Period:
    """Days, and the product that the figures are of."""

    product_id: int
    first: date
    last: date

    @property
    def days(self) -> list[date]:
        """Its days."""
        count = (self.last - self.first).days + 1
        return [self.first + timedelta(days=nth) for nth in range(count)]

    def passed(self, today: date) -> int:
        """How many of its days there were so far, today among them."""
        return max(0, (min(self.last, today) - self.first).days + 1)


# -- What was sent, and what of it arrived -----------------------------------------------


@dataclass(frozen=True)
class Sent:
    """Sets that were sent in a period."""

    by_consignee: Counter[Whom]
    delivered: Counter[Whom]
    by_day: Counter[date]


def sent_in(period: Period) -> Sent:
    """Read what was sent, and what of it is on record as delivered.

    A box that did not arrive is not delivered, nor one that came back; of one that was
    short the sets count that were found in it, less those that came back. One that was
    passed on counts with whom it was sent to.

    Args:
        period: The days, and the product.

    Returns:
        The sets.
    """
    loads = ShipmentBox.objects.filter(
        live=True,
        box__size__product=period.product_id,
        shipment__sent_at__gte=midnight(period.first),
        shipment__sent_at__lt=midnight(period.last + timedelta(days=1)),
    ).annotate(day=TruncDate("shipment__sent_at"), found=_found())
    of = ("code", "name", "day")
    sums = (
        loads.order_by()
        .values("day", **_whom("shipment__consignee"))
        .annotate(
            all_sets=Sum("box__size__sets"),
            there=Sum("found", filter=Q(box__stage=BoxStage.DELIVERED), default=0),
        )
    )
    sent = Sent(Counter(), Counter(), Counter())
    for code, name, day, sets, there in sums.values_list(*of, "all_sets", "there"):
        sent.by_consignee[code, name] += sets
        sent.delivered[code, name] += there
        sent.by_day[day] += sets
    return sent


def _found() -> Any:
    """Sets that were found in a box, as the newest of our receipts says, and stayed."""
    ours = Receipt.objects.filter(
        shipment=OuterRef(OuterRef("shipment")), way__in=OURS
    ).order_by("-pk")
    counted = Case(
        When(found=Found.ABSENT, then=0),
        When(found=Found.SHORT, then=F("sets")),
        output_field=IntegerField(),
    )
    said = (
        ReceiptBox.objects.filter(
            box=OuterRef("box"), receipt=Subquery(ours.values("pk")[:1])
        )
        .annotate(counted=counted)
        .values("counted")[:1]
    )
    back = (
        Return.objects.filter(box=OuterRef("box"), undone=None).order_by().values("box")
    )
    arrived = Coalesce(
        Subquery(said), F("box__size__sets"), output_field=IntegerField()
    )
    stayed = arrived - Coalesce(Subquery(back.annotate(n=Sum("sets")).values("n")), 0)
    return Greatest(stayed, Value(0), output_field=IntegerField())


# -- By consignee ------------------------------------------------------------------------


def shares_of(period: Period, sent: Sent) -> list[Share]:
    """Read what each consignee asked for, was promised, was sent and received.

    Args:
        period: The days, and the product.
        sent: What was sent in them.

    Returns:
        The consignees of which any of these is more than nothing, the neediest first.
    """
    asked: dict[Whom, tuple[int, int, int | None]] = {}
    promised: Counter[Whom] = Counter()
    for what, code, name, sets, lacks, tier in _asked(period).union(
        _promised(period), all=True
    ):
        if what == ASKED:
            asked[code, name] = sets, lacks, tier
        else:
            promised[code, name] = sets
    some = {whom for whom, (sets, *_open) in asked.items() if sets}
    some |= {*+promised} | {*sent.by_consignee}
    shares = []
    for whom in some:
        sets, lacks, tier = asked.get(whom, (0, 0, None))
        got = (each[whom] for each in (promised, sent.by_consignee, sent.delivered))
        shares.append(Share(*whom, tier, lacks, sets, *got))
    return neediest_first(shares)


ASKED, PROMISED = "asked", "promised"
_ROW = ("what", "code", "name", "all_sets", "lacks", "need")


def _rows(what: str, consignee: str, rows: QuerySet[Any]) -> Any:
    """Begin rows that both kinds have in common, grouped by consignee."""
    return rows.order_by().values(
        what=Value(what, output_field=CharField()), **_whom(consignee)
    )


def _whom(consignee: str) -> dict[str, Coalesce]:
    return {name: stays(name, consignee) for name in ("code", "name")}


def _asked(period: Period) -> Any:
    """Sets asked in the period; sets lacked and tier of what is open now.

    Of a request that was cancelled what it got counts as asked.
    """
    given = ShipmentBox.objects.filter(request=OuterRef("pk"), live=True, back=False)
    sums = (
        given.order_by()
        .values("request")
        .annotate(n=Sum("box__size__sets"))
        .values("n")
    )
    open_now = Q(stage=RequestStage.OPEN)
    in_days = Q(asked_on__range=(period.first, period.last))
    asked = Case(When(stage=RequestStage.CANCELLED, then=F("given")), default=F("sets"))
    requests = (
        Request.objects.filter(open_now | in_days, product=period.product_id)
        .annotate(given=Coalesce(Subquery(sums), 0))
        .annotate(stands=asked, left=Greatest(F("sets") - F("given"), Value(0)))
    )
    return (
        _rows(ASKED, "consignee", requests)
        .annotate(
            all_sets=Sum("stands", filter=in_days, default=0),
            lacks=Sum("left", filter=open_now, default=0),
            need=Min("tier", filter=open_now),
        )
        .values_list(*_ROW)
    )


def _promised(period: Period) -> Any:
    """Sets that were promised in the period, and not released since."""
    gone = PromiseRelease.objects.filter(promise=OuterRef("pk")).order_by()
    released = gone.values("promise").annotate(n=Sum("boxes")).values("n")
    promises = Promise.objects.filter(
        line__allotment__product=period.product_id,
        line__allotment__day__range=(period.first, period.last),
    ).annotate(stay=F("boxes") - Coalesce(Subquery(released), 0))
    return (
        _rows(PROMISED, "line__request__consignee", promises)
        .annotate(
            all_sets=Sum(F("stay") * F("size__sets")),
            lacks=Value(0),
            need=Value(None, output_field=IntegerField()),
        )
        .values_list(*_ROW)
    )


# -- By day ------------------------------------------------------------------------------


def days_of(period: Period, sent: Sent) -> list[Day]:
    """Read what was packed on each day, beside its plan and what was sent.

    Args:
        period: The days, and the product.
        sent: What was sent in them.

    Returns:
        Each of the days.
    """
    days = (period.first, period.last)
    packed = Box.objects.filter(
        packed_on__range=days, size__product=period.product_id
    ).exclude(stage=BoxStage.VOIDED)
    planned = PackPlan.objects.filter(day__range=days, size__product=period.product_id)
    rows = _by_day(packed, "packed", "packed_on", Sum("size__sets")).union(
        _by_day(planned, "planned", "day", Sum(F("size__sets") * F("boxes"))), all=True
    )
    found: dict[tuple[str, date], int] = {(what, day): n for what, day, n in rows}
    return [
        Day(
            day,
            found.get(("packed", day), 0),
            found.get(("planned", day)),
            sent.by_day[day],
        )
        for day in period.days
    ]


def _by_day(rows: QuerySet[Any], what: str, day: str, sets: Sum) -> Any:
    told = Value(what, output_field=CharField())
    by = rows.order_by().values(on=F(day)).annotate(what=told, n=sets)
    return by.values_list("what", "on", "n")


# -- How long it lasts -------------------------------------------------------------------


def lasting_of(
    period: Period, sent: Sent, *, now: datetime, today: date, reach: Reach
) -> Lasting:
    """Read what is ready and what can be packed, and what the period sent of it.

    Args:
        period: The days, and the product.
        sent: What was sent in them.
        now: The moment.
        today: The workshop's day.
        reach: What the standing holds reach.

    Returns:
        The figures.
    """
    here = ready_boxes(reach, today).filter(size=OuterRef("pk")).order_by()
    counted = here.values("size").annotate(n=Count("pk")).values("n")
    sizes = list(
        BoxSize.objects.filter(product=period.product_id)
        .annotate(ready=Coalesce(Subquery(counted), 0))
        .order_by("-sets")
    )
    in_use = [size for size in sizes if size.active]
    can = reaches(in_use, None, today=today, now=now, reach=reach)
    best = max(in_use, key=lambda size: can[size.pk].boxes * size.sets, default=None)
    boxes = can[best.pk].boxes if best else 0
    return Lasting(
        ready=sum(size.ready * size.sets for size in sizes),
        packable=boxes * best.sets if best else 0,
        size=best.sets if best and boxes else 0,
        first=can[best.pk].first if best else "",
        sent=sent.by_day.total(),
        days=period.passed(today),
    )
