"""Allotments: no more is promised than was shared, and no more loaded than promised."""

from __future__ import annotations

from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce

from dispatch.models import (
    Allotment,
    AllotmentLine,
    AllotmentSize,
    Promise,
    ShipmentBox,
)
from dispatch.requests.queries.promises import remaining
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import grouped, rows, side_by_side

PROMISE = Promise._meta.db_table
LINE = AllotmentLine._meta.db_table


def shared(tally: Tally) -> None:
    """Proposed and promised boxes of an allotment were there, or counted in.

    Args:
        tally: Where allotments are counted and faults noted.
    """
    key = ("line__allotment_id", "size_id")
    made = Promise.objects.order_by(*key).values_list(*key, "proposed", "boxes")
    there = AllotmentSize.objects.order_by("allotment_id", "size_id")
    sizes = there.values_list("allotment_id", "size_id", "ready", "packing")
    streams = grouped(rows(sizes), width=2), grouped(rows(made), width=2)
    for (allotment, _size), (has, given) in side_by_side(*streams):
        tally.count += 1
        shares = sum(sum(each) for each in has)
        for what, nth in (("proposes", 0), ("promises", 1)):
            boxes = sum(each[nth] for each in given)
            if boxes > shares:
                tally.add(
                    Allotment._meta.db_table,
                    allotment,
                    f"It {what} more boxes of a size than it shares.",
                    f"at most {shares}",
                    boxes,
                )
    moved = Promise.objects.exclude(boxes=F("proposed")).filter(
        line__allotment__reason=""
    )
    tally.each(PROMISE, moved, "It was moved without a reason.", "a reason", "none")


def figures(tally: Tally) -> None:
    """The boxes proposed to the requests that share as one come to what they are given.

    Args:
        tally: Where requests are counted and faults noted.
    """
    by = ("allotment_id", "whom_id", "tier")
    proposed = F("promises__proposed") * F("promises__size__sets")
    lines = AllotmentLine.objects.order_by(*by, "pk").annotate(
        sets=Coalesce(Sum(proposed), 0)
    )
    of = ("allotment__product_id", "request__product_id")
    found = rows(lines.values_list(*by, "pk", "asked", "given", "lacked", "sets", *of))
    for _key, some in grouped(found, width=3):
        tally.count += len(some)
        sets, lacked = (sum(each[nth] for each in some) for nth in (4, 3))
        for pk, asked, given, _lacked, _sets, product, its in some:
            tally.same(LINE, pk, "Other boxes are proposed to it.", given, sets)
            tally.same(LINE, pk, "It asked for other sets.", asked, lacked)
            tally.same(LINE, pk, "It asks for another product.", product, its)


def kept(tally: Tally) -> None:
    """No more boxes are loaded for a promise, and released of it, than it is of.

    Args:
        tally: Where promises are counted and faults noted.
    """
    tally.count += Promise.objects.count()
    over = remaining(Promise.objects.all()).filter(remains__lt=0).order_by("pk")
    for pk, remains in rows(over.values_list("pk", "remains")):
        tally.add(PROMISE, pk, "More is loaded or released.", "0 or more", remains)
    other = ~Q(promise__line__request=F("request")) | ~Q(promise__size=F("box__size"))
    loads = ShipmentBox.objects.exclude(promise=None).filter(other)
    words = "It keeps a promise of another request or size."
    tally.each(ShipmentBox._meta.db_table, loads, words)


register(
    ("allotted boxes", "sizes", shared, AllotmentSize, Promise),
    ("allotment figures", "requests", figures, AllotmentLine),
    ("promises kept", "promises", kept, Promise, ShipmentBox),
)
