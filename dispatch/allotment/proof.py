"""Allotments: no more is promised than was shared, and no more loaded than promised."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import F, Q, QuerySet, Sum
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
from kitting.ledger.proof.streams import composed, grouped, how_many, rows, side_by_side

PROMISE = Promise._meta.db_table
LINE = AllotmentLine._meta.db_table


def shared(tally: Tally) -> None:
    """Proposed and promised boxes of an allotment were there, or counted in.

    Args:
        tally: Where allotments are counted and faults noted.
    """
    made, sizes, moved = _shared()
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
    tally.each(PROMISE, moved, "It was moved without a reason.", "a reason", "none")


@composed
def _shared() -> Iterator[QuerySet[Any, Any]]:
    """Boxes promised, boxes shared, and promises that were moved without a reason."""
    key = ("line__allotment_id", "size_id")
    yield Promise.objects.order_by(*key).values_list(*key, "proposed", "boxes")
    there = AllotmentSize.objects.order_by("allotment_id", "size_id")
    yield there.values_list("allotment_id", "size_id", "ready", "packing")
    moved = Promise.objects.exclude(boxes=F("proposed")).filter(
        line__allotment__reason=""
    )
    yield moved.order_by("pk").values_list("pk")


def figures(tally: Tally) -> None:
    """The boxes proposed to the requests that share as one come to what they are given.

    Args:
        tally: Where requests are counted and faults noted.
    """
    [found] = _figures()
    for _key, some in grouped(rows(found), width=3):
        tally.count += len(some)
        sets, lacked = (sum(each[nth] for each in some) for nth in (4, 3))
        for pk, asked, given, _lacked, _sets, product, its in some:
            tally.same(LINE, pk, "Other boxes are proposed to it.", given, sets)
            tally.same(LINE, pk, "It asked for other sets.", asked, lacked)
            tally.same(LINE, pk, "It asks for another product.", product, its)


@composed
def _figures() -> Iterator[QuerySet[Any, Any]]:
    by = ("allotment_id", "whom_id", "tier")
    proposed = F("promises__proposed") * F("promises__size__sets")
    lines = AllotmentLine.objects.order_by(*by, "pk").annotate(
        sets=Coalesce(Sum(proposed), 0)
    )
    of = ("allotment__product_id", "request__product_id")
    yield lines.values_list(*by, "pk", "asked", "given", "lacked", "sets", *of)


def kept(tally: Tally) -> None:
    """No more boxes are loaded for a promise, and released of it, than it is of.

    Args:
        tally: Where promises are counted and faults noted.
    """
    every, over, loads = _kept()
    tally.count += how_many(every)
    for pk, remains in rows(over):
        tally.add(PROMISE, pk, "More is loaded or released.", "0 or more", remains)
    words = "It keeps a promise of another request or size."
    tally.each(ShipmentBox._meta.db_table, loads, words)


@composed
def _kept() -> Iterator[QuerySet[Any, Any]]:
    """All promises, those of which too much is gone, and loads that keep no such one."""
    yield Promise.objects.order_by().values_list("pk")
    over = remaining(Promise.objects.all()).filter(remains__lt=0).order_by("pk")
    yield over.values_list("pk", "remains")
    other = ~Q(promise__line__request=F("request")) | ~Q(promise__size=F("box__size"))
    loads = ShipmentBox.objects.exclude(promise=None).filter(other)
    yield loads.order_by("pk").values_list("pk")


register(
    ("allotted boxes", "sizes", shared, AllotmentSize, Promise),
    ("allotment figures", "requests", figures, AllotmentLine),
    ("promises kept", "promises", kept, Promise, ShipmentBox),
)
