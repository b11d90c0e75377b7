"""The list of a case as files and papers have it: each box with what it is and its way."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db.models import Exists, OuterRef, Q, Subquery
from django.utils import timezone

from dispatch.domain.receipts import OURS, Found
from dispatch.models import Case, CaseBox, Receipt, ReceiptBox, ShipmentBox
from dispatch.recall.queries.cases import Listed
from kitting.ledger.reach import reach_of
from kitting.models import BoxLine, Hold

NEVER: Final = (None, None)


@dataclass(frozen=True)
class Row:
    """A box on the list of a case, with all that is asked of it at once."""

    box: Listed
    product: str
    lots: tuple[str, ...]
    """Numbers of those in it that the case is about or was; of one that was held itself
    all."""
    sent_on: date | None
    received_on: date | None
    answer: str
    """What its consignee says became of it."""


def rows_of(
    case: Case, boxes: Sequence[Listed], answers: Mapping[int, str]
) -> list[Row]:
    """Say of the boxes of a case what they are, and when they were sent and received.

    Args:
        case: The case.
        boxes: Its list.
        answers: By id of a box what is said of it.

    Returns:
        A row for each box, in the same order.
    """
    products = dict(
        CaseBox.objects.filter(case=case).values_list("box", "box__size__product__name")
    )
    every = Hold.objects.filter(of_case__look__case=case)
    lots, ways = lots_of(case, every), _ways(case)
    return [
        Row(
            box=box,
            product=products[box.box],
            lots=lots.get(box.box, ()),
            sent_on=ways.get(box.box, NEVER)[0],
            received_on=ways.get(box.box, NEVER)[1],
            answer=answers.get(box.box, ""),
        )
        for box in boxes
    ]


def lots_of(case: Case, holds: Iterable[Hold]) -> dict[int, tuple[str, ...]]:
    """Read which lots that holds of a case reach are in its boxes.

    Args:
        case: The case.
        holds: Some of its holds.

    Returns:
        Numbers of lots by id of a box that is reached; of one that is held itself all.
    """
    reach = reach_of(holds)
    held = Q(lot__in=reach.lots) | Q(bag__in=reach.bags) | Q(run__in=reach.runs)
    lines = BoxLine.objects.filter(
        held | Q(box__in=reach.boxes),
        box__in=CaseBox.objects.filter(case=case).values("box"),
    )
    found: dict[int, dict[str, None]] = defaultdict(dict)
    rows = lines.order_by("box", "lot__number").values_list("box", "lot__number")
    for box, lot in rows:
        found[box][lot] = None
    return {box: tuple(lots) for box, lots in found.items()}


def _ways(case: Case) -> dict[int, tuple[date | None, date | None]]:
    """On which days each box that left was sent, and received as it stands on record."""
    said = Receipt.objects.filter(shipment=OuterRef("shipment"), way__in=OURS)
    newest = said.order_by("-pk")
    absent = ReceiptBox.objects.filter(
        receipt=OuterRef("receipt"), box=OuterRef("box"), found=Found.ABSENT
    )
    rows = ShipmentBox.objects.filter(
        box__in=CaseBox.objects.filter(case=case).values("box"), live=True
    ).annotate(
        receipt=Subquery(newest.values("pk")[:1]),
        at=Subquery(newest.values("received_at")[:1]),
        absent=Exists(absent),
    )
    return {
        row.box_id: (_day(row.shipment.sent_at), None if row.absent else _day(row.at))
        for row in rows.select_related("shipment")
    }


def _day(at: datetime | None) -> date | None:
    return timezone.localdate(at) if at else None
