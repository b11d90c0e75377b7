"""What became of a shipment that was sent: received, corrected, settled.

A sent shipment is never edited. What is known later is a new row, and stands beside
what was said before.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass

from dispatch.domain.receipts import Said
from dispatch.models import Settlement, Shipment
from dispatch.receipts.queries.deliveries import open_differences
from dispatch.receipts.steps import absent_in, need_named, need_said, newest_of
from dispatch.shipments.steps import lock_boxes, move_all, move_shipment
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import GONE_SHIPMENTS, BoxStage, ShipmentStage
from kitting.ledger import locking
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box, BoxEvent


@dataclass(frozen=True)
class Received:
    """A shipment of which a receipt is on record."""

    shipment: str
    stage: str
    boxes: int
    """Boxes that were counted."""
    absent: int
    """Boxes that did not arrive."""


@dataclass(frozen=True)
class Settled:
    """A shipment of which nothing is left to settle."""

    shipment: str
    note: str


def record_delivery(*, shipment_id: int, said: Said, sign: Sign) -> Received:
    """Record that a shipment was received, by what the consignee said of it.

    Its boxes are delivered then, but for those that did not arrive: they stay sent.

    Args:
        shipment_id: The shipment; sent.
        said: What is said, by a note or a call.
        sign: Who, when and the operation key.

    Returns:
        The shipment.

    Raises:
        Conflict: ``delivery_on_record`` where that is done already.
        Missing: If there is no such shipment.
        Refused: ``nothing_received``; as for ``need_named`` and ``need_said``.
        WrongStage: ``shipment_not_sent``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Received:
        boxes = lock_boxes(shipment_id)
        shipment = _gone(shipment_id)
        if shipment.stage == ShipmentStage.DELIVERED:
            raise Conflict("delivery_on_record", shipment=shipment.number)
        receipt, of_boxes = need_said(shipment, boxes, said, act.now)
        if said.boxes < 1 or absent_in(said).issuperset(boxes):
            raise Refused("nothing_received", shipment=shipment.number)
        need_named(shipment, said, boxes)
        event = move_shipment(shipment, ShipmentStage.DELIVERED)
        shipment.save(update_fields=["stage", "events_seen"])
        events = _deliver(shipment, boxes, said)
        act.write(event, *events, receipt)
        act.write(*of_boxes)
        return _received(shipment, said)

    return perform(
        "record_delivery", work, Received, sign, shipment=shipment_id, **asdict(said)
    )


def correct_delivery(
    *, shipment_id: int, said: Said, reason: str, seen: int, sign: Sign
) -> Received:
    """Correct what is on record of a delivery: it stands beside what was said before.

    A box that arrived after all is delivered then. None goes back to sent, not even where
    nothing had arrived: that was recorded for the wrong shipment.

    Args:
        shipment_id: The shipment; delivered.
        said: What is so, all of it.
        reason: Why it is another than was written down before.
        seen: Id of the newest receipt of ours that its writer saw.
        sign: Who, when and the operation key.

    Returns:
        The shipment.

    Raises:
        Conflict: ``page_is_old`` if somebody corrected it meanwhile.
        Missing: If there is no such shipment.
        Refused: ``reason_missing``; as for ``need_named`` and ``need_said``.
        WrongStage: ``shipment_not_delivered``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Received:
        why = need_reason(reason)
        boxes = lock_boxes(shipment_id)
        shipment = _gone(shipment_id)
        if shipment.stage != ShipmentStage.DELIVERED:
            raise WrongStage("shipment_not_delivered", shipment=shipment.number)
        if newest_of(shipment, ours=True) != seen:
            raise Conflict("page_is_old")
        receipt, of_boxes = need_said(shipment, boxes, said, act.now)
        need_named(shipment, said, boxes)
        receipt.reason = why
        act.write(*_deliver(shipment, boxes, said), receipt)
        act.write(*of_boxes)
        return _received(shipment, said)

    return perform(
        "correct_delivery",
        work,
        Received,
        sign,
        shipment=shipment_id,
        reason=reason,
        seen=seen,
        **asdict(said),
    )


def settle_delivery(*, shipment_id: int, seen: int, note: str, sign: Sign) -> Settled:
    """Say what came of what differs between what was sent and what was received.

    Args:
        shipment_id: The shipment; something differs in what is said of it.
        seen: Id of the newest receipt of it, whoever wrote it, that was looked at.
        note: What came of it.
        sign: Who, when and the operation key.

    Returns:
        The shipment.

    Raises:
        Conflict: ``page_is_old`` if more was said meanwhile; ``delivery_settled``.
        Missing: If there is no such shipment.
        Refused: ``reason_missing``, ``entry_too_long``; ``nothing_to_settle``.
        WrongStage: ``shipment_not_sent``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Settled:
        words = need_reason(note)
        shipment = _gone(shipment_id)
        newest = newest_of(shipment)
        if newest != seen:
            raise Conflict("page_is_old")
        if Settlement.objects.filter(receipt=newest).exists():
            raise Conflict("delivery_settled", shipment=shipment.number)
        if not open_differences().filter(shipment=shipment).exists():
            raise Refused("nothing_to_settle", shipment=shipment.number)
        act.write(Settlement(receipt_id=newest, note=words))
        return Settled(shipment=shipment.number, note=words)

    return perform(
        "settle_delivery",
        work,
        Settled,
        sign,
        shipment=shipment_id,
        seen=seen,
        note=note,
    )


def _gone(shipment_id: int) -> Shipment:
    shipment = locking.lock_row(Shipment, shipment_id)
    if shipment.stage not in GONE_SHIPMENTS:
        raise WrongStage(
            "shipment_not_sent", shipment=shipment.number, stage=shipment.stage
        )
    return shipment


def _deliver(
    shipment: Shipment, boxes: Mapping[int, Box], said: Said
) -> list[BoxEvent]:
    """Move the boxes that arrived; one that came back already stays what it is."""
    absent = absent_in(said)
    there: Collection[Box] = [
        box
        for pk, box in boxes.items()
        if pk not in absent and box.stage == BoxStage.SENT
    ]
    return move_all(there, BoxStage.DELIVERED, f"received in {shipment.number}")


def _received(shipment: Shipment, said: Said) -> Received:
    return Received(
        shipment=shipment.number,
        stage=shipment.stage,
        boxes=said.boxes,
        absent=len(absent_in(said)),
    )
