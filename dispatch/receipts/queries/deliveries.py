"""What pages show of a delivery: what is said of it, by whom, and whether it differs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from dispatch.domain.receipts import OURS, Found
from dispatch.models import (
    PassedOn,
    Receipt,
    ReceiptBox,
    Return,
    Settlement,
    Shipment,
    ShipmentBox,
)
from dispatch.receipts.words import FOUND, WAYS
from kitting.domain.stages import ShipmentStage
from kitting.models import Box


@dataclass(frozen=True)
class Odd:
    """What is said of a box that is not as it was sent, or that was counted."""

    box: str
    found: str
    """As in ``Found``."""
    words: str
    counted: int | None
    sets: int
    """As its label says."""
    note: str


@dataclass(frozen=True)
class Heard:
    """One receipt of a shipment."""

    pk: int
    way: str
    words: str
    """How it came to be known."""
    received_by: str
    received_at: datetime
    boxes: int
    note: str
    reason: str
    """Why it corrects the one before."""
    by: str
    """Who wrote it down."""
    at: datetime
    of_boxes: tuple[Odd, ...]
    differs: bool
    settled: str
    """What came of it, and who said so; empty where nobody did."""


@dataclass(frozen=True)
class After:
    """What is known of a shipment that was sent."""

    heard: tuple[Heard, ...]
    """Newest first."""
    newest: int
    """Id of the newest receipt, 0 for none."""
    ours: int
    """That of the newest that somebody of the workshop wrote down."""
    open: bool
    """Whether something differs and nobody said what came of it."""
    lacking: tuple[str, ...]
    """Boxes that did not arrive, as far as the newest of ours says."""
    back: tuple[Return, ...] = ()
    """What came back, newest first, each with its box, place and act."""
    passed: tuple[PassedOn, ...] = ()
    """Boxes that were passed on, newest first, likewise."""

    @property
    def any(self) -> bool:
        """Whether a box came back or was passed on."""
        return bool(self.back or self.passed)


def after(shipment: Shipment) -> After:
    """Read what is known of a shipment since it was sent.

    Args:
        shipment: The shipment.

    Returns:
        All of it.
    """
    receipts = list(
        shipment.receipts.select_related("operation").order_by("-pk")
        if shipment.sent_at
        else ()
    )
    ids = [row.pk for row in receipts]
    said = _of_boxes(ids) if ids else {}
    notes = _notes(ids) if ids else {}
    heard = tuple(
        _heard(row, said.get(row.pk, ()), notes.get(row.pk, "")) for row in receipts
    )
    ours = next((each for each in heard if each.way in OURS), None)
    odd = ours.of_boxes if ours else ()
    return After(
        heard=heard,
        newest=heard[0].pk if heard else 0,
        ours=ours.pk if ours else 0,
        open=_is_open(heard),
        lacking=tuple(each.box for each in odd if each.found == Found.ABSENT),
        back=returned(Q(box__in=_on(shipment))) if shipment.sent_at else (),
        passed=passed_on(Q(shipment=shipment)) if shipment.sent_at else (),
    )


def _on(shipment: Shipment) -> QuerySet[ShipmentBox, Any]:
    return shipment.shipment_boxes.filter(live=True).values("box")


def returned(which: Q) -> tuple[Return, ...]:
    """Read what came back.

    Args:
        which: Which rows.

    Returns:
        The rows, newest first, each with its box, place and act, and with what says
        that it was none.
    """
    beside = ("box", "place", "operation", "undone__operation")
    rows = Return.objects.filter(which).select_related(*beside)
    return tuple(rows.order_by("-pk"))


def standing(box: Box) -> QuerySet[Return]:
    """The returns of a box that were not undone.

    Args:
        box: The box.

    Returns:
        The rows.
    """
    return Return.objects.filter(box=box, undone=None)


def has_arrived(shipment: Shipment, box: Box) -> bool:
    """Tell whether a receipt of ours says that a box arrived.

    Args:
        shipment: The shipment that it is on.
        box: The box.

    Returns:
        False where none says so, or each that it did not arrive.
    """
    ours = shipment.receipts.filter(way__in=OURS)
    missed = ours.filter(of_boxes__box=box, of_boxes__found=Found.ABSENT)
    return ours.exclude(pk__in=missed.values("pk")).exists()


def passed_on(which: Q) -> tuple[PassedOn, ...]:
    """Read which boxes were passed on.

    Args:
        which: Which rows.

    Returns:
        The rows, newest first, each with its box, both consignees and its act.
    """
    rows = PassedOn.objects.filter(which)
    beside = ("box", "giver", "consignee", "operation")
    return tuple(rows.select_related(*beside).order_by("-pk"))


def _heard(row: Receipt, of_boxes: Iterable[Odd], settled: str) -> Heard:
    odd = tuple(of_boxes)
    return Heard(
        pk=row.pk,
        way=row.way,
        words=str(WAYS[row.way]),
        received_by=row.received_by,
        received_at=row.received_at,
        boxes=row.boxes,
        note=row.note,
        reason=row.reason,
        by=row.operation.by_name,
        at=row.operation.at,
        of_boxes=odd,
        differs=row.differs,
        settled=settled,
    )


def _is_open(heard: tuple[Heard, ...]) -> bool:
    """Whether the newest of ours or of theirs differs, and no later word settles it."""
    settled = max((each.pk for each in heard if each.settled), default=0)
    newest = {each.way in OURS: each for each in reversed(heard)}
    return any(each.differs and each.pk > settled for each in newest.values())


def _of_boxes(ids: list[int]) -> dict[int, list[Odd]]:
    rows = ReceiptBox.objects.filter(receipt__in=ids).select_related("box__size")
    found: dict[int, list[Odd]] = {}
    for row in rows.order_by("box__serial"):
        odd = Odd(
            box=str(row.box),
            found=row.found,
            words=str(FOUND[row.found]),
            counted=row.sets,
            sets=row.box.size.sets,
            note=row.note,
        )
        found.setdefault(row.receipt_id, []).append(odd)
    return found


def _notes(ids: list[int]) -> dict[int, str]:
    rows = Settlement.objects.filter(receipt__in=ids).select_related("operation")
    return {row.receipt_id: f"{row.note} ({row.operation.by_name})" for row in rows}


LATE_AFTER = timedelta(days=3)
"""So long after it was sent a shipment is to be heard of."""
MOST_SHOWN = 20
"""So many shipments the page of the day names."""


@dataclass(frozen=True)
class Waiting:
    """A shipment that somebody must see to."""

    number: str
    consignee: str
    sent_at: datetime
    differs: bool
    """Whether something differs, by us or by them; else nothing was heard of it."""


@dataclass(frozen=True)
class ToSeeTo:
    """Shipments that were sent and are not settled."""

    shipments: tuple[Waiting, ...]
    """The oldest first; no more than the page has room for."""
    more: bool
    """Whether there are others besides."""


def to_see_to(now: datetime) -> ToSeeTo | None:
    """Read which shipments were sent long ago and not heard of, or differ.

    Args:
        now: This moment.

    Returns:
        The shipments; None where there is none.
    """
    unheard = Q(stage=ShipmentStage.SENT, sent_at__lt=now - LATE_AFTER)
    differs = Q(pk__in=open_differences())
    found = Shipment.objects.filter(unheard | differs).annotate(differs=differs)
    rows = list(
        found.order_by("sent_at", "pk").values_list(
            "number", "consignee__name", "sent_at", "differs"
        )[: MOST_SHOWN + 1]
    )
    if not rows:
        return None
    shown = tuple(
        Waiting(number, name, sent_at or now, differs)
        for number, name, sent_at, differs in rows[:MOST_SHOWN]
    )
    return ToSeeTo(shown, more=len(rows) > MOST_SHOWN)


def open_differences() -> QuerySet[Receipt, Any]:
    """The shipments of which the newest receipt of ours or theirs differs, unsettled.

    Returns:
        Their ids, as ``shipment``.
    """
    of_it = Receipt.objects.filter(shipment=OuterRef("shipment"), pk__gt=OuterRef("pk"))
    ours = Q(way__in=OURS)
    settled = Settlement.objects.filter(
        receipt__shipment=OuterRef("shipment"), receipt__gte=OuterRef("pk")
    )
    newest = (ours & ~Exists(of_it.filter(ours))) | (
        ~ours & ~Exists(of_it.exclude(ours))
    )
    rows = Receipt.objects.filter(newest, ~Exists(settled), differs=True)
    return rows.order_by().values("shipment")
