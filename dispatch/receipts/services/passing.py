"""Boxes that a consignee passes on to another place: who has them now."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from dispatch.consignees.steps import need_consignee, need_point
from dispatch.domain.receipts import LONGEST
from dispatch.models import Consignee, PassedOn, Shipment, ShipmentBox
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import GONE
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_length, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box


@dataclass(frozen=True)
class Passed:
    """Boxes that somebody else has now."""

    shipment: str
    boxes: int
    consignee: str


def pass_on(
    *,
    shipment_id: int,
    box_ids: Collection[int],
    consignee_id: int,
    point: str,
    told_by: str,
    on: date,
    note: str,
    sign: Sign,
) -> Passed:
    """Record that boxes of a shipment were passed on to another place.

    Passed on once more, or back, they get another row; the newest tells who has them.

    Args:
        shipment_id: The shipment; it has left.
        box_ids: Boxes of it that have not come back.
        consignee_id: Who has them now.
        point: At which of its delivery points or wards; empty where that is not known.
        told_by: Who said so, as written.
        on: The day of it.
        note: A remark.
        sign: Who, when and the operation key.

    Returns:
        The shipment.

    Raises:
        Missing: If there is no such shipment, box or consignee.
        Refused: ``boxes_missing``, ``entry_missing``, ``entry_too_long``,
            ``passed_on_day``, ``passed_to_itself``, ``box_not_received``;
            ``consignee_closed``, ``point_unknown``.
        WrongStage: ``box_not_gone``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Passed:
        if not box_ids:
            raise Refused("boxes_missing")
        boxes = locking.lock_rows(Box, box_ids)
        consignee = need_consignee(consignee_id)
        shipment = locking.lock_row(Shipment, shipment_id)
        _need_day(act, shipment, on)
        there = need_point(consignee, point)
        who = need_text("name", told_by, LONGEST["told_by"])
        said = need_length("note", note, LONGEST["note"])
        loads = _loads(shipment, boxes.values())
        told = {"told_by": who, "on": on, "note": said}
        rows = [_row(load, shipment, consignee, there, told) for load in loads]
        act.write(*rows)
        for load, row in zip(loads, rows, strict=True):
            load.passed = row
        bulk.update(loads, ["passed"])
        return Passed(shipment.number, len(rows), consignee.name)

    return perform(
        "pass_on",
        work,
        Passed,
        sign,
        shipment=shipment_id,
        boxes=sorted(box_ids),
        consignee=consignee_id,
        point=point,
        told_by=told_by,
        on=on,
        note=note,
    )


def _row(
    load: ShipmentBox,
    shipment: Shipment,
    to: Consignee,
    point: str,
    told: Mapping[str, Any],
) -> PassedOn:
    giver = load.passed.consignee if load.passed else shipment.consignee
    was = load.passed.point if load.passed else shipment.point
    if (giver.stays.pk, was) == (to.pk, point):
        raise Refused("passed_to_itself", box=str(load.box), name=giver.name)
    return PassedOn(
        box=load.box,
        shipment=shipment,
        giver=giver,
        consignee=to,
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
