"""Shipments: made up of scanned boxes, sent whole, or cancelled."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from dispatch.consignees.steps import need_consignee, need_point
from dispatch.models import Pallet, Shipment, ShipScan
from dispatch.pallets.steps import (
    lock_whole,
    pallet_of,
    refuse_loaded,
    refuse_unfit,
)
from dispatch.requests.steps import serve
from dispatch.shipments.steps import (
    LONGEST_REFERENCE,
    load,
    lock_boxes,
    lock_open_shipment,
    move_all,
    move_shipment,
    named_in,
    read_ahead,
    refuse_changed,
    searched,
    stop_labels_of,
    take_down,
    take_off,
    why_unlabelled,
)
from kitting.domain import numbers
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.stages import BoxStage, ShipmentStage
from kitting.ledger import locking
from kitting.ledger.counters import take
from kitting.ledger.needs import need_length, need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box, Product

SENT_FIELDS = (
    *("stage", "events_seen", "sent_at", "sent_by", "boxes", "sets", "lots"),
    "products",
    *("reference", "haulier", "driver", "vehicle", "seal", "search"),
)
"""What a sending changes in its shipment."""


@dataclass(frozen=True)
class Begun:
    """A shipment that takes boxes."""

    shipment_id: int
    shipment: str


@dataclass(frozen=True)
class Scanned:
    """A box on or off a shipment."""

    shipment: str
    box: str
    boxes: int
    """Boxes on the shipment now."""
    pallet: str = ""
    """The pallet that it came on, and came off with this."""


@dataclass(frozen=True)
class PalletScanned:
    """A pallet on or off a shipment."""

    shipment: str
    pallet: str
    its: int
    """Boxes on the pallet."""
    boxes: int
    """Boxes on the shipment now."""


@dataclass(frozen=True)
class Sent:
    """A shipment in its new stage."""

    shipment: str
    stage: str
    boxes: int
    sets: int


def begin_shipment(
    *, consignee_id: int, reference: str, sign: Sign, point: str = ""
) -> Begun:
    """Begin a shipment to a consignee.

    Args:
        consignee_id: The consignee.
        reference: The consignee's own reference, or empty.
        sign: Who, when and the operation key.
        point: The delivery point or ward; empty for none.

    Returns:
        The shipment.

    Raises:
        Missing: If there is no such consignee.
        OperationKeyReused: If the key was used for another act.
        Refused: ``entry_too_long``, ``consignee_closed``, ``point_unknown``.
    """

    def work(act: Act) -> Begun:
        own = need_length("reference", reference, LONGEST_REFERENCE)
        consignee = need_consignee(consignee_id)
        shipment = Shipment(consignee=consignee, reference=own, stage="", events_seen=0)
        shipment.point = need_point(consignee, point)
        event = move_shipment(shipment, ShipmentStage.OPEN)
        shipment.number = take(act.workshop.site, numbers.Kind.SHIPMENT)[0]
        shipment.search = searched(shipment)
        shipment.save(force_insert=True)
        act.write(event)
        return Begun(shipment_id=shipment.pk, shipment=shipment.number)

    return perform(
        "begin_shipment",
        work,
        Begun,
        sign,
        consignee=consignee_id,
        reference=reference,
        point=point,
    )


def load_box(*, shipment_id: int, box_id: int, sign: Sign) -> Scanned:
    """Scan a box onto a shipment.

    Args:
        shipment_id: The shipment; open.
        box_id: The box; labelled, not held, in no other live shipment, on no pallet.
        sign: Who, when and the operation key.

    Returns:
        The box and how many boxes are on now.

    Raises:
        Conflict: If it is on this or another shipment already, or left with one;
            ``box_on_pallet``.
        Missing: If the shipment or box is not there.
        OnHold: If it or anything in it is held; the hold is named.
        Refused: If it is past its use-by date, or ``box_promised`` to others.
        WrongStage: If it is not labelled or the shipment is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Scanned:
        read_ahead(shipment_id, box_id)
        box = locking.lock_row(Box, box_id, "size")
        _in_turn([box])
        shipment = lock_open_shipment(shipment_id)
        load(shipment, [box], act)
        return _scanned(shipment, box)

    return perform("load_box", work, Scanned, sign, shipment=shipment_id, box=box_id)


def load_pallet(*, shipment_id: int, pallet_id: int, sign: Sign) -> PalletScanned:
    """Scan a pallet onto a shipment, with all of its boxes or none.

    Args:
        shipment_id: The shipment; open.
        pallet_id: The pallet; in no other live shipment, with at least one box. Each of
            its boxes may go as one that is scanned by itself, and is of a product that the
            consignee asked for, if it asked for any.
        sign: Who, when and the operation key.

    Returns:
        The pallet and how many boxes are on now.

    Raises:
        Conflict: ``pallet_on_already``, ``pallet_in_shipment``, ``pallet_left``;
            ``pallet_changed`` if a box was put on or taken off at the same moment.
        Missing: If the shipment or pallet is not there.
        Refused: ``pallet_empty``; ``pallet_stays`` where boxes on it may not go: what
            is wrong with each stands in ``besides``.
        WrongStage: ``pallet_broken_up``, or the shipment is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> PalletScanned:
        locking.enter_gate()
        pallet, boxes = lock_whole(pallet_id)
        _in_turn(boxes.values())
        shipment = lock_open_shipment(shipment_id)
        refuse_loaded(pallet, shipment)
        if not boxes:
            raise Refused("pallet_empty", pallet=pallet.number)
        try:
            load(shipment, boxes.values(), act, pallet)
        except LotwardError as error:
            wrong = [error, *error.besides]
            stays = Refused("pallet_stays", pallet=pallet.number, boxes=len(wrong))
            stays.besides = wrong
            raise stays from error
        return _pallet_scanned(shipment, pallet, len(boxes))

    return perform(
        "load_pallet",
        work,
        PalletScanned,
        sign,
        shipment=shipment_id,
        pallet=pallet_id,
    )


def _in_turn(boxes: Collection[Box]) -> None:
    """Load boxes of a product one after the other: each asks how many are promised."""
    locking.lock_rows(Product, [box.size.product_id for box in boxes])


def _scanned(shipment: Shipment, box: Box, pallet: str = "") -> Scanned:
    boxes = _count_live(shipment)
    return Scanned(shipment.number, str(box), boxes, pallet)


def _pallet_scanned(shipment: Shipment, pallet: Pallet, its: int) -> PalletScanned:
    boxes = _count_live(shipment)
    return PalletScanned(shipment.number, pallet.number, its, boxes)


def _count_live(shipment: Shipment) -> int:
    return shipment.shipment_boxes.filter(live=True).count()


def take_off_box(*, shipment_id: int, box_id: int, sign: Sign) -> Scanned:
    """Take a box off an open shipment again; it stands labelled as before.

    One that came on a pallet comes off the pallet as well: that goes on without it.

    Args:
        shipment_id: The shipment; open.
        box_id: The box; on that shipment.
        sign: Who, when and the operation key.

    Returns:
        The box, the pallet that it came on, and how many boxes are on now.

    Raises:
        Missing: If the shipment or box is not there.
        Refused: ``box_not_in_shipment``.
        WrongStage: If the shipment is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Scanned:
        box = locking.lock_row(Box, box_id)
        stood = pallet_of(box)
        pallet = None if stood is None else locking.lock_row(Pallet, stood.pk)
        shipment = lock_open_shipment(shipment_id)
        take_off(shipment, box, act, pallet)
        return _scanned(shipment, box, pallet.number if pallet else "")

    return perform(
        "take_off_box", work, Scanned, sign, shipment=shipment_id, box=box_id
    )


def take_off_pallet(*, shipment_id: int, pallet_id: int, sign: Sign) -> PalletScanned:
    """Take a pallet off an open shipment again; it stands whole as before.

    Args:
        shipment_id: The shipment; open.
        pallet_id: The pallet; on that shipment.
        sign: Who, when and the operation key.

    Returns:
        The pallet and how many boxes are on the shipment now.

    Raises:
        Conflict: ``pallet_changed`` if a box was taken off at the same moment.
        Missing: If the shipment or pallet is not there.
        Refused: ``pallet_not_in_shipment``.
        WrongStage: ``pallet_broken_up``, or the shipment is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> PalletScanned:
        pallet, boxes = lock_whole(pallet_id)
        shipment = lock_open_shipment(shipment_id)
        on = shipment.shipment_boxes.filter(pallet=pallet, live=True)
        if not on.update(live=False):
            named = {"pallet": pallet.number, "shipment": shipment.number}
            raise Refused("pallet_not_in_shipment", **named)
        why = f"off {shipment.number}"
        events = move_all(boxes.values(), BoxStage.LABELLED, why)
        stop_labels_of(shipment, act, [pallet.pk])
        scans = [ShipScan(shipment=shipment, box=b, on=False) for b in boxes.values()]
        act.write(*events, *scans)
        return _pallet_scanned(shipment, pallet, len(boxes))

    return perform(
        "take_off_pallet",
        work,
        PalletScanned,
        sign,
        shipment=shipment_id,
        pallet=pallet_id,
    )


def send_shipment(
    *,
    shipment_id: int,
    sign: Sign,
    haulier: str = "",
    driver: str = "",
    vehicle: str = "",
    seal: str = "",
    reference: str | None = None,
    seen: int | None = None,
    unlabelled: str = "",
) -> Sent:
    """Send a shipment whole: every box on it leaves.

    Args:
        shipment_id: The shipment; open, with at least one box, none of them held.
        sign: Who, when and the operation key.
        haulier: Whose vehicle takes it; may be empty where a driver is named.
        driver: Who drives it; may be empty where a haulier is named.
        vehicle: The vehicle's number plate or name, or empty.
        seal: The number of the seal, or empty.
        reference: The consignee's own reference; None for that on record.
        seen: Id of the last scan of the shipment that its sender saw (0 for none);
            None where nobody looked at a page.
        unlabelled: Why it leaves though a box has no label of this shipment with the day
            of sending on it, and stands on no pallet that has one; empty where each has.

    Returns:
        What left.

    Raises:
        Conflict: If a box came on or off since; it is named.
        Missing: If there is no such shipment.
        OnHold: If a box on it is held; nothing leaves, and every such box is named.
        Refused: ``shipment_empty``, ``box_past_use_by``, ``labels_lacking``,
            ``entry_too_long``, ``driver_missing``.
        WrongStage: If it is not open, or a box on it is not loaded any more.
        OperationKeyReused: If the key was used for another act.
    """
    leaving = {
        "haulier": haulier,
        "driver": driver,
        "vehicle": vehicle,
        "seal": seal,
        "reference": reference,
    }

    def work(act: Act) -> Sent:
        locking.enter_gate()
        boxes = lock_boxes(shipment_id)
        shipment = lock_open_shipment(shipment_id)
        refuse_changed(shipment, boxes, seen)
        if not boxes:
            raise Refused("shipment_empty", shipment=shipment.number)
        refuse_unfit(boxes.values(), act)
        take_down(shipment, leaving)
        why = why_unlabelled(shipment, unlabelled)
        event = move_shipment(shipment, ShipmentStage.SENT, why)
        events = move_all(boxes.values(), BoxStage.SENT, f"in {shipment.number}")
        shipment.sent_at = act.now
        shipment.sent_by = act.operation.by_name
        shipment.boxes = len(boxes)
        shipment.sets = sum(box.size.sets for box in boxes.values())
        shipment.lots, shipment.products = named_in(boxes)
        shipment.save(update_fields=SENT_FIELDS)
        serve(shipment.pk)
        act.write(event, *events)
        return Sent(
            shipment=shipment.number,
            stage=shipment.stage,
            boxes=shipment.boxes,
            sets=shipment.sets,
        )

    return perform(
        "send_shipment",
        work,
        Sent,
        sign,
        shipment=shipment_id,
        seen=seen,
        unlabelled=unlabelled,
        **leaving,
    )


def cancel_shipment(*, shipment_id: int, reason: str, sign: Sign) -> Sent:
    """Cancel an open shipment: its boxes stand labelled as before.

    Args:
        shipment_id: The shipment; open.
        reason: Why.
        sign: Who, when and the operation key.

    Returns:
        The shipment; no box is on it any more.

    Raises:
        Conflict: If a box came on or off at the same moment; it is named.
        Missing: If there is no such shipment.
        Refused: ``reason_missing``, ``entry_too_long``.
        WrongStage: If it is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Sent:
        why = need_reason(reason)
        boxes = lock_boxes(shipment_id)
        shipment = lock_open_shipment(shipment_id)
        refuse_changed(shipment, boxes)
        event = move_shipment(shipment, ShipmentStage.CANCELLED, why)
        events = move_all(boxes.values(), BoxStage.LABELLED, f"off {shipment.number}")
        live = shipment.shipment_boxes.filter(live=True)
        pallets = {*live.exclude(pallet=None).values_list("pallet", flat=True)}
        live.update(live=False)
        shipment.save(update_fields=["stage", "events_seen"])
        stop_labels_of(shipment, act, pallets)
        scans = [ShipScan(shipment=shipment, box=b, on=False) for b in boxes.values()]
        act.write(event, *events, *scans)
        return Sent(shipment=shipment.number, stage=shipment.stage, boxes=0, sets=0)

    return perform(
        "cancel_shipment", work, Sent, sign, shipment=shipment_id, reason=reason
    )
