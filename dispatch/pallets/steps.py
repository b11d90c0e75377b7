"""Inner steps of what is scanned together: which boxes may go, and on which pallet."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from dispatch.domain.pallets import PalletStage
from dispatch.models import (
    Pallet,
    PalletBox,
    PalletEvent,
    PalletScan,
    Shipment,
    ShipmentBox,
)
from kitting.domain.errors import Conflict, LotwardError, OnHold, Refused, WrongStage
from kitting.domain.stages import BoxStage, ShipmentStage
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.kept import Kept
from kitting.ledger.operations import Act
from kitting.ledger.reach import Reach, holds_on_boxes, standing_reach
from kitting.ledger.standing import target_of
from kitting.models import Box

# -- Boxes that may go -----------------------------------------------------------------


def refuse_on_another(box: Box, shipment: Shipment | None = None) -> None:
    """Refuse a locked box that is live in a shipment already.

    Args:
        box: The box.
        shipment: The shipment that it was scanned for, if it was for one.

    Raises:
        Conflict: ``box_on_already``, ``box_in_shipment``, or ``box_left`` if it went
            out before.
    """
    rows = _LIVE_ON(box.pk)
    if not rows:
        return
    row = rows[0]
    if shipment is not None and row.shipment_id == shipment.pk:
        raise Conflict("box_on_already", box=str(box), shipment=shipment.number)
    other = row.shipment
    code = "box_in_shipment" if other.stage == ShipmentStage.OPEN else "box_left"
    raise Conflict(code, box=str(box), shipment=other.number, consignee=other.whom)


_LIVE_ON = Kept(
    lambda box: ShipmentBox.objects.filter(box=box, live=True).select_related(
        "shipment__consignee"
    )
)


def stands_asked(box_id: int) -> list[tuple[Kept[Any], int]]:
    """Give what is asked of where a box stands, to be foreseen."""
    return [(_LIVE_ON, box_id), (_STANDS_ON, box_id)]


def refuse_unlabelled(box: Box) -> None:
    """Refuse a box that is not labelled, or not any more.

    Args:
        box: The box, locked.

    Raises:
        WrongStage: ``box_voided``, ``box_came_back``, ``box_not_labelled``.
    """
    if box.stage == BoxStage.VOIDED:
        raise WrongStage("box_voided", box=str(box))
    if box.stage == BoxStage.RETURNED:
        raise WrongStage("box_came_back", box=str(box))
    if box.stage != BoxStage.LABELLED:
        at = box.bench
        raise WrongStage("box_not_labelled", box=str(box), stage=box.stage, bench=at)


def unfit(boxes: Collection[Box], act: Act, reach: Reach) -> dict[int, LotwardError]:
    """Say of boxes why they may not leave: past the use-by date, or on hold.

    Args:
        boxes: The boxes, locked, behind the gate.
        act: The act, for its day.
        reach: What the standing holds reach, read behind the gate.

    Returns:
        By the box's id, in their order: ``box_held``, where the first hold is named, or
        ``box_past_use_by``; those that may leave are not in it.
    """
    today = day_of(act.workshop, act.now)
    held = holds_on_boxes([box.pk for box in boxes], reach)
    found: dict[int, LotwardError] = {}
    for box in boxes:
        if hold := next(iter(held.get(box.pk, ())), None):
            named = {"by": hold.operation.by_name, "reason": hold.reason}
            on = target_of(hold)
            found[box.pk] = OnHold("box_held", box=str(box), on=on, **named)
        elif box.use_by is not None and box.use_by < today:
            past = Refused("box_past_use_by", box=str(box), use_by=box.use_by)
            found[box.pk] = past
    return found


def refuse_unfit(boxes: Collection[Box], act: Act) -> None:
    """Refuse boxes of which one is past its use-by date or on hold.

    Args:
        boxes: The boxes, locked, behind the gate.
        act: The act, for its day.

    Raises:
        OnHold: ``box_held``; the first box that is held, and why, is named; every
            other box that may not leave stands in ``besides``.
        Refused: ``box_past_use_by``.
    """
    refuse_together(unfit(boxes, act, standing_reach()).values())


def refuse_together(wrong: Iterable[LotwardError]) -> None:
    """Raise the first of some refusals, with the others in ``besides``.

    Args:
        wrong: The refusals; nothing is raised without any.
    """
    every = list(wrong)
    if every:
        every[0].besides = every[1:]
        raise every[0]


# -- Pallets ---------------------------------------------------------------------------


def move_pallet(pallet: Pallet, to: PalletStage, reason: str = "") -> PalletEvent:
    """Change the stage of a locked pallet in memory and give the event that says so.

    Args:
        pallet: The pallet; the caller saves it.
        to: Its stage afterwards.
        reason: Why, where one is asked for.

    Returns:
        The event, not yet inserted.
    """
    before = pallet.stage
    pallet.stage = str(to)
    pallet.events_seen += 1
    nth = pallet.events_seen
    return PalletEvent(pallet=pallet, nth=nth, before=before, after=to, reason=reason)


def pallet_of(box: Box) -> Pallet | None:
    """Give the pallet on which a locked box stands.

    Args:
        box: The box.

    Returns:
        The pallet, not locked; None for a box that is on none.
    """
    return next((row.pallet for row in _STANDS_ON(box.pk)), None)


_STANDS_ON = Kept(
    lambda box: PalletBox.objects.filter(box=box, live=True).select_related("pallet")
)


def lock_open_pallet(pallet_id: int) -> Pallet:
    """Lock a pallet, after its boxes.

    Args:
        pallet_id: The pallet.

    Returns:
        The pallet.

    Raises:
        Missing: If there is no such pallet.
        WrongStage: ``pallet_broken_up``.
    """
    pallet = locking.lock_row(Pallet, pallet_id)
    if pallet.stage != PalletStage.OPEN:
        raise WrongStage("pallet_broken_up", pallet=pallet.number)
    return pallet


def lock_whole(pallet_id: int) -> tuple[Pallet, dict[int, Box]]:
    """Lock the boxes on a pallet, then the pallet itself.

    Args:
        pallet_id: The pallet.

    Returns:
        The pallet, and its boxes with their sizes, by id.

    Raises:
        Conflict: ``pallet_changed`` if a box was put on or taken off in between.
        Missing: If there is no such pallet.
        WrongStage: ``pallet_broken_up``.
    """
    on = PalletBox.objects.filter(pallet=pallet_id, live=True)
    boxes = locking.lock_rows(Box, on.values_list("box", flat=True), "size")
    pallet = lock_open_pallet(pallet_id)
    if changed := set(on.values_list("box", flat=True)) ^ boxes.keys():
        box = Box.objects.get(pk=min(changed))
        raise Conflict("pallet_changed", pallet=pallet.number, box=str(box))
    return pallet, boxes


def refuse_loaded(pallet: Pallet, shipment: Shipment | None = None) -> None:
    """Refuse a locked pallet that is on a shipment, or left with one.

    Args:
        pallet: The pallet.
        shipment: The shipment that it was scanned for, if it was for one.

    Raises:
        Conflict: ``pallet_on_already``, ``pallet_in_shipment``, ``pallet_left``.
    """
    on = Shipment.objects.filter(
        shipment_boxes__pallet=pallet, shipment_boxes__live=True
    )
    found = on.select_related("consignee").first()
    if found is None:
        return
    code = "pallet_in_shipment" if found.stage == ShipmentStage.OPEN else "pallet_left"
    if shipment is not None and found.pk == shipment.pk:
        code = "pallet_on_already"
    named = {"shipment": found.number, "consignee": found.whom}
    raise Conflict(code, pallet=pallet.number, **named)


def stack(pallet: Pallet, box: Box) -> PalletScan:
    """Let a locked box stand on a locked pallet; it may have stood there before.

    Args:
        pallet: The pallet.
        box: The box; on no pallet.

    Returns:
        The scan, not yet inserted.
    """
    before = PalletBox.objects.filter(pallet=pallet, box=box)
    if not before.update(live=True):
        bulk.insert([PalletBox(pallet=pallet, box=box)])
    return PalletScan(pallet=pallet, box=box, on=True)


def unstack(pallet: Pallet, boxes: Collection[Box]) -> list[PalletScan]:
    """Take locked boxes off a locked pallet.

    Args:
        pallet: The pallet.
        boxes: The boxes; all of them are on it.

    Returns:
        The scans, not yet inserted.
    """
    on = PalletBox.objects.filter(pallet=pallet, box__in=[box.pk for box in boxes])
    on.update(live=False)
    return [PalletScan(pallet=pallet, box=box, on=False) for box in boxes]
