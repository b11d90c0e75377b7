"""Boxes that a consignee passes on to another place: who has them now."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from dispatch.consignees.steps import need_consignee, need_point
from dispatch.domain.receipts import LONGEST
from dispatch.models import Shipment
from dispatch.receipts.steps import pass_boxes
from kitting.domain.errors import Refused
from kitting.ledger import locking
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
        locking.enter_gate()  # A case that closes counts who answered.
        if not box_ids:
            raise Refused("boxes_missing")
        boxes = locking.lock_rows(Box, box_ids)
        consignee = need_consignee(consignee_id)
        shipment = locking.lock_row(Shipment, shipment_id)
        there = need_point(consignee, point)
        told = {
            "told_by": need_text("name", told_by, LONGEST["told_by"]),
            "on": on,
            "note": need_length("note", note, LONGEST["note"]),
        }
        pass_boxes(act, shipment, boxes.values(), (consignee, there), told)
        return Passed(shipment.number, len(boxes), consignee.name)

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
