"""Inner steps of receipts: what may be said of a delivery, and the boxes that it moves."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any

from dispatch.domain.receipts import (
    LONGEST,
    MINUTE,
    OURS,
    BoxSaid,
    Found,
    Said,
    differs,
)
from dispatch.models import (
    Consignee,
    PassedOn,
    Receipt,
    ReceiptBox,
    Shipment,
    ShipmentBox,
)
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import GONE
from kitting.ledger import bulk
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_length, need_text
from kitting.ledger.operations import Act
from kitting.models import Box


def need_said(
    shipment: Shipment, boxes: Mapping[int, Box], said: Said, now: datetime
) -> tuple[Receipt, list[ReceiptBox]]:
    """See that what is said of a delivery can be so, and compose its rows.

    Args:
        shipment: The shipment, locked; it has left.
        boxes: The boxes that are on it, by id.
        said: What is said.
        now: The moment of the act.

    Returns:
        The receipt and what it says of single boxes, not yet inserted.

    Raises:
        Refused: ``entry_missing``, ``entry_too_long``, ``received_before_sent``,
            ``received_later``, ``box_not_received``, ``box_named_twice``,
            ``box_is_not_short``.
    """
    sent_at = shipment.sent_at
    if sent_at is not None and said.at + MINUTE <= sent_at:
        raise Refused("received_before_sent", shipment=shipment.number)
    if said.at > now:
        raise Refused("received_later", shipment=shipment.number)
    receipt = Receipt(
        shipment=shipment,
        way=said.way,
        received_by=need_text("name", said.by, LONGEST["received_by"]),
        received_at=said.at,
        boxes=said.boxes,
        note=need_length("note", said.note, LONGEST["note"]),
    )
    named: set[int] = set()
    for each in said.of_boxes:
        box = boxes.get(each.box_id)
        if box is None:
            raise Refused("box_not_received", shipment=shipment.number)
        if box.pk in named:
            raise Refused("box_named_twice", box=str(box))
        named.add(box.pk)
        _need_short(box, each)
    of_each = {pk: box.size.sets for pk, box in boxes.items()}
    receipt.differs = differs(shipment.boxes, said, of_each)
    return receipt, [_of_box(receipt, each) for each in said.of_boxes]


def _need_short(box: Box, said: BoxSaid) -> None:
    fewer = said.sets is not None and said.sets < box.size.sets
    if said.found == Found.SHORT and not fewer:
        raise Refused("box_is_not_short", box=str(box), sets=box.size.sets)


def _of_box(receipt: Receipt, said: BoxSaid) -> ReceiptBox:
    return ReceiptBox(
        receipt=receipt,
        box_id=said.box_id,
        found=said.found,
        sets=None if said.found == Found.ABSENT else said.sets,
        note=need_length("note", said.note, LONGEST["note"]),
    )


def absent_in(said: Said) -> set[int]:
    """The boxes that did not arrive.

    Args:
        said: What is said.

    Returns:
        Their ids.
    """
    return {each.box_id for each in said.of_boxes if each.found == Found.ABSENT}


def need_named(shipment: Shipment, said: Said, boxes: Collection[int]) -> None:
    """Refuse to record a delivery of fewer boxes where those that lack are not named.

    Args:
        shipment: The shipment, for its number.
        said: What is said of it.
        boxes: Ids of the boxes that are on it.

    Raises:
        Refused: ``delivery_by_link``, ``boxes_not_named``.
    """
    absent = absent_in(said)
    if said.way not in OURS:
        raise Refused("delivery_by_link", shipment=shipment.number)
    if said.boxes < len(boxes) - len(absent):
        raise Refused(
            "boxes_not_named",
            shipment=shipment.number,
            boxes=said.boxes,
            sent=len(boxes),
            absent=len(absent),
        )


def newest_of(shipment: Shipment, *, ours: bool = False) -> int:
    """The id of the newest receipt of a shipment, 0 where there is none.

    Args:
        shipment: The shipment.
        ours: Whether only those count that somebody of the workshop wrote down.

    Returns:
        The id.
    """
    rows = shipment.receipts.order_by("-pk")
    if ours:
        rows = rows.filter(way__in=OURS)
    return rows.values_list("pk", flat=True).first() or 0


def pass_boxes(
    act: Act,
    shipment: Shipment,
    boxes: Collection[Box],
    to: tuple[Consignee, str],
    told: Mapping[str, Any],
) -> None:
    """Write that boxes of a shipment were passed on to another place.

    Args:
        act: The act.
        shipment: The shipment, locked.
        boxes: Boxes of it, locked.
        to: Who has them now, locked, and at which of its points; that may be empty.
        told: Who said so, ``on`` which day, and a remark, as in ``PassedOn``.

    Raises:
        Refused: ``passed_on_day``, ``passed_to_itself``, ``box_not_received``.
        WrongStage: ``box_not_gone``.
    """
    _need_day(act, shipment, told["on"])
    loads = _loads(shipment, boxes)
    rows = [_passed(load, shipment, to, told) for load in loads]
    act.write(*rows)
    for load, row in zip(loads, rows, strict=True):
        load.passed = row
    bulk.update(loads, ["passed"])


def _passed(
    load: ShipmentBox,
    shipment: Shipment,
    to: tuple[Consignee, str],
    told: Mapping[str, Any],
) -> PassedOn:
    giver = load.passed.consignee if load.passed else shipment.consignee
    was = load.passed.point if load.passed else shipment.point
    whom, point = to
    if (giver.stays.pk, was) == (whom.pk, point):
        raise Refused("passed_to_itself", box=str(load.box), name=giver.name)
    return PassedOn(
        box=load.box,
        shipment=shipment,
        giver=giver,
        consignee=whom,
        point=point,
        **told,
    )


def _need_day(act: Act, shipment: Shipment, on: date) -> None:
    sent_at = shipment.sent_at
    today = day_of(act.workshop, act.now)
    if sent_at is None or not day_of(act.workshop, sent_at) <= on <= today:
        raise Refused("passed_on_day", shipment=shipment.number)


def _loads(shipment: Shipment, boxes: Collection[Box]) -> list[ShipmentBox]:
    found = shipment.shipment_boxes.filter(live=True, box__in=[b.pk for b in boxes])
    loads = list(found.select_related("box", "passed__consignee").order_by("box"))
    if len(loads) != len(boxes):
        raise Refused("box_not_received", shipment=shipment.number)
    for box in boxes:
        if box.stage not in GONE:
            raise WrongStage("box_not_gone", box=str(box), stage=box.stage)
    return loads
