"""Receipts: a shipment is delivered by what is said of it, and so is each of its boxes."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, Final

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum

from dispatch.domain.needs import RequestStage
from dispatch.domain.receipts import OURS, Found
from dispatch.models import (
    Merging,
    PassedOn,
    Receipt,
    ReceiptBox,
    Replacement,
    Request,
    Return,
    Shipment,
    ShipmentBox,
    ShipScan,
)
from kitting.domain.stages import GONE, BoxStage, ShipmentStage
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import composed, rows
from kitting.models import Box, BoxEvent, RowSeal

RECEIPT = Receipt._meta.db_table
SHIPMENT = Shipment._meta.db_table
BOX = Box._meta.db_table
LOAD = ShipmentBox._meta.db_table
PASSED = PassedOn._meta.db_table
SEQ = "operation__link__seq"
NEVER: Final = 2**62
"""After every link of the journal."""


def receipts(tally: Tally) -> None:
    """A shipment is delivered where a receipt of ours says so, and nowhere else.

    Args:
        tally: Where receipts are counted and faults noted.
    """
    shipments, receipts = _receipts()
    for pk, stage, ours in rows(shipments):
        tally.count += 1
        right = ShipmentStage.DELIVERED if ours else ShipmentStage.SENT
        wrong = "Its stage and what is said of its delivery do not agree."
        tally.same(SHIPMENT, pk, wrong, str(right), stage)
    for pk, sent, counted, odd_ones, differs in rows(receipts):
        right = odd_ones or sent != counted
        tally.same(RECEIPT, pk, "What it says differs otherwise.", right, differs)


@composed
def _receipts() -> Iterator[QuerySet[Any, Any]]:
    """Shipments of whose delivery something is said, and what receipts say of boxes."""
    every = Receipt.objects.filter(shipment=OuterRef("pk"))
    found = Shipment.objects.order_by("pk").annotate(
        told=Exists(every), ours=Exists(every.filter(way__in=OURS))
    )
    either = found.filter(Q(told=True) | Q(stage=ShipmentStage.DELIVERED))
    yield either.values_list("pk", "stage", "ours")
    exact = Q(sets__isnull=True) | Q(sets=F("box__size__sets"))
    odd = ReceiptBox.objects.filter(
        ~(Q(found=Found.WHOLE) & exact), receipt=OuterRef("pk")
    )
    told = Receipt.objects.order_by("pk").annotate(odd=Exists(odd))
    yield told.values_list("pk", "shipment__boxes", "boxes", "odd", "differs")


def boxes(tally: Tally) -> None:
    """A box stays sent while every receipt of ours says that it did not arrive.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    said = Receipt.objects.filter(shipment=OuterRef("shipment"), way__in=OURS)
    absent = ReceiptBox.objects.filter(
        receipt__shipment=OuterRef("shipment"),
        receipt__way__in=OURS,
        box=OuterRef("box"),
        found=Found.ABSENT,
    )
    live = ShipmentBox.objects.filter(
        live=True, shipment__stage=ShipmentStage.DELIVERED
    )
    found = live.order_by("pk").annotate(
        receipts=_count(said.order_by().values("shipment")),
        missed=_count(absent.order_by().values("box")),
    )
    wrong = "Its stage and what is said of its delivery do not agree."
    for box, stage, receipts, missed in rows(
        found.values_list("box_id", "box__stage", "receipts", "missed")
    ):
        tally.count += 1
        arrived = (receipts or 0) > (missed or 0)
        if stage in (BoxStage.SENT, BoxStage.DELIVERED):
            right = BoxStage.DELIVERED if arrived else BoxStage.SENT
            tally.same(BOX, box, wrong, str(right), stage)
    on_it = ShipmentBox.objects.filter(
        shipment=OuterRef("receipt__shipment"), box=OuterRef("box"), live=True
    )
    odd = ReceiptBox.objects.filter(~Exists(on_it))
    tally.each(ReceiptBox._meta.db_table, odd, "Its box did not leave.", "on", "off")


def returns(tally: Tally) -> None:
    """A box is returned with its last sets, and serves nothing if it was unopened.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    boxes, loads = _returned()
    for pk, full, came, to, off in rows(boxes):
        tally.count += 1
        wrong = "What came back of it and its stages do not agree."
        tally.same(BOX, pk, wrong, int((came or 0) == full), (to or 0) - (off or 0))
    for pk, came, back in rows(loads):
        tally.same(LOAD, pk, "It came back unopened, or not.", came, back)


@composed
def _returned() -> Iterator[QuerySet[Any, Any]]:
    """Boxes of which something came back, and what came back unopened of shipments."""
    every = Return.objects.filter(box=OuterRef("pk"))
    sets = every.filter(undone=None).order_by().values("box")
    sums = Subquery(sets.annotate(each=Sum("sets")).values("each"))
    events = BoxEvent.objects.filter(box=OuterRef("pk")).order_by().values("box")
    found = Box.objects.annotate(
        some=Exists(every),
        came=sums,
        came_back=_count(events.filter(after=BoxStage.RETURNED)),
        undone=_count(events.filter(before=BoxStage.RETURNED, after__in=GONE)),
    )
    either = found.filter(Q(some=True) | Q(stage=BoxStage.RETURNED))
    names = ("pk", "size__sets", "came", "came_back", "undone")
    yield either.order_by("pk").values_list(*names)
    whole = Return.objects.filter(
        ~Exists(replaced_before("box")),
        box=OuterRef("box"),
        opened=False,
        sets=OuterRef("box__size__sets"),
        undone=None,
    )
    loads = ShipmentBox.objects.filter(live=True).annotate(came=Exists(whole))
    yield loads.filter(Q(back=True) | Q(came=True)).values_list("pk", "came", "back")


def replaced_before(box: str) -> QuerySet[Replacement]:
    """What stood in the place of a box before the act of a row.

    Args:
        box: The row's path to the box.

    Returns:
        The replacements by requests that were not cancelled by then, or of which a box
        had left.
    """
    cancelled = RowSeal.objects.filter(
        of=Request._meta.db_table,
        row=OuterRef("request"),
        text__contains=f'"stage":"{RequestStage.CANCELLED}"',
        **{f"{SEQ}__lt": OuterRef(OuterRef(SEQ))},
    )
    before = {f"{SEQ}__lt": OuterRef(SEQ)}
    found = Replacement.objects.filter(listed__box=OuterRef(box), **before)
    return found.exclude(Exists(cancelled) & ~Exists(Replacement.left()))


def had_then(boxes: Collection[int], seq: int) -> dict[int, int]:
    """Say who had boxes at a link of the journal, or had them last.

    Args:
        boxes: Ids of boxes.
        seq: The link.

    Returns:
        By box the consignee, whoever it was merged with by then; see ``same_then``.
    """
    its = {"box__in": boxes, f"{SEQ}__lt": seq}
    on = ShipScan.objects.filter(**its, on=True).order_by("pk")
    its_load = ("box", "shipment", "shipment__consignee")
    left = {box: (load, whom) for box, load, whom in on.values_list(*its_load)}
    has = {box: whom for box, (_load, whom) in left.items()}
    passed = PassedOn.objects.filter(**its).order_by("pk")
    way = passed.values_list("box", "shipment", "consignee")
    has |= {box: to for box, load, to in way if left.get(box, (0, 0))[0] == load}
    same = same_then(seq)
    return {box: same.get(whom, whom) for box, whom in has.items()}


def same_then(seq: int) -> dict[int, int]:
    """Say who was said to be the same as whom before a link of the journal.

    Args:
        seq: The link; ``NEVER`` for all that was ever said.

    Returns:
        One for all of them; some are opened again since.
    """
    told = Merging.objects.filter(**{f"{SEQ}__lt": seq}).order_by("pk")
    same: dict[int, int] = {}
    for one, into in told.values_list("consignee", "into"):
        old, new = same.get(one, one), same.get(into, into)
        same |= {each: new for each in (old, *same) if same.get(each, each) == old}
    return same


def passings(tally: Tally) -> None:
    """Whoever has a box got it from whoever had it before.

    Args:
        tally: Where rows are counted and faults noted.
    """
    has: dict[int, tuple[int, int]] = {}
    told = PassedOn.objects.order_by("pk").values_list(
        *("pk", "box_id", "giver_id", "consignee_id", "shipment__consignee_id")
    )
    for pk, box, giver, to, first in rows(told):
        tally.count += 1
        before = has.get(box, (0, first))[1]
        tally.same(PASSED, pk, "Somebody else had the box.", before, giver)
        has[box] = pk, to
    some = Exists(PassedOn.objects.filter(box=OuterRef("box")))
    loads = ShipmentBox.objects.filter(live=True).annotate(some=some)
    passed = loads.filter(Q(passed__isnull=False) | Q(some=True))
    for pk, box, its in rows(passed.order_by("pk").values_list("pk", "box", "passed")):
        right = has.get(box, (None, 0))[0]
        tally.same(LOAD, pk, "Somebody else has the box now.", right, its)


def _count(found: QuerySet[Any, Any]) -> Subquery:
    return Subquery(found.annotate(each=Count("pk")).values("each"))


register(
    ("receipts", "receipts", receipts, Shipment, Receipt),
    ("received boxes", "boxes", boxes, ShipmentBox, ReceiptBox),
    ("returns", "boxes", returns, Box, ShipmentBox),
    ("boxes passed on", "boxes", passings, PassedOn, ShipmentBox),
)
