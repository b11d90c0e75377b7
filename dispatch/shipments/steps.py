"""Inner steps of a shipment: which boxes may be on it, and what changed meanwhile."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from django.db.models import F

from dispatch.domain.folding import fold
from dispatch.models import ShipEvent, Shipment, ShipmentBox
from dispatch.requests.steps import Serves
from kitting.domain.errors import Conflict, LotwardError, OnHold, Refused, WrongStage
from kitting.domain.stages import BoxStage, ShipmentStage
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.kept import Kept
from kitting.ledger.operations import Act
from kitting.ledger.reach import holds_on_boxes, standing_reach
from kitting.ledger.standing import target_of
from kitting.models import Box, BoxEvent, Lot
from kitting.packing.steps import move_box


def searched(shipment: Shipment) -> str:
    """Give the text by which a shipment is found.

    Args:
        shipment: The shipment, with all that is to be on record.

    Returns:
        Its number, whom it goes to and how, folded.
    """
    whom = shipment.consignee
    said = (
        *(shipment.number, whom.code, whom.name, shipment.point, shipment.reference),
        *(shipment.haulier, shipment.driver, shipment.vehicle, shipment.seal),
    )
    return fold(" ".join(each for each in said if each))[:SEARCHED]


SEARCHED = 400
"""Characters by which a shipment is found."""


def move_shipment(shipment: Shipment, to: ShipmentStage, reason: str = "") -> ShipEvent:
    """Change the stage of a locked shipment in memory and give the event that says so.

    Args:
        shipment: The shipment; the caller saves it.
        to: Its stage afterwards.
        reason: Why, where one is asked for.

    Returns:
        The event, not yet inserted.
    """
    before = shipment.stage
    shipment.stage = str(to)
    shipment.events_seen += 1
    return ShipEvent(
        shipment=shipment,
        nth=shipment.events_seen,
        before=before,
        after=to,
        reason=reason,
    )


def lock_boxes(shipment_id: int) -> dict[int, Box]:
    """Lock the boxes that are on a shipment, before the shipment itself.

    Args:
        shipment_id: The shipment.

    Returns:
        The boxes with their sizes, by id.
    """
    ids = ShipmentBox.objects.filter(shipment=shipment_id, live=True)
    return locking.lock_rows(Box, ids.values_list("box", flat=True), "size")


def refuse_on_another(box: Box, shipment: Shipment) -> None:
    """Refuse a locked box that is live in a shipment already.

    Args:
        box: The box.
        shipment: The shipment that it was scanned for.

    Raises:
        Conflict: ``box_on_already``, ``box_in_shipment``, or ``box_left`` if it went
            out before.
    """
    rows = _LIVE_ON(box.pk)
    if not rows:
        return
    row = rows[0]
    if row.shipment_id == shipment.pk:
        raise Conflict("box_on_already", box=str(box), shipment=shipment.number)
    other = row.shipment
    code = "box_in_shipment" if other.stage == ShipmentStage.OPEN else "box_left"
    raise Conflict(code, box=str(box), shipment=other.number, consignee=other.whom)


_LIVE_ON = Kept(
    lambda box: ShipmentBox.objects.filter(box=box, live=True).select_related(
        "shipment__consignee"
    )
)


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
    today = day_of(act.workshop, act.now)
    held = holds_on_boxes([box.pk for box in boxes], standing_reach())
    unfit: list[LotwardError] = []
    for box in boxes:
        if hold := next(iter(held.get(box.pk, ())), None):
            named = {"by": hold.operation.by_name, "reason": hold.reason}
            on = target_of(hold)
            unfit.append(OnHold("box_held", box=str(box), on=on, **named))
        elif box.use_by is not None and box.use_by < today:
            unfit.append(Refused("box_past_use_by", box=str(box), use_by=box.use_by))
    if unfit:
        unfit[0].besides = unfit[1:]
        raise unfit[0]


def refuse_changed(
    shipment: Shipment, boxes: Collection[int], seen: int | None = None
) -> None:
    """Refuse where boxes went on or off since the caller looked.

    Boxes are locked before their shipment, so another clerk may have been quicker in
    between; and what a person saw on a page may be older still.

    Args:
        shipment: The shipment, locked.
        boxes: Ids of the boxes that the act has locked.
        seen: Id of the last scan of the shipment that the person saw; None where
            nobody looked.

    Raises:
        Conflict: ``box_came_on``, ``box_came_off``; the first such box is named.
    """
    on = shipment.shipment_boxes.filter(live=True).values_list("box", flat=True)
    if changed := set(on) ^ set(boxes):
        pk = min(changed)
        _say_changed(Box.objects.get(pk=pk), shipment, on=pk not in boxes)
    if seen is not None:
        later = shipment.scans.filter(pk__gt=seen).select_related("box")
        for scan in later.order_by("pk")[:1]:
            _say_changed(scan.box, shipment, on=scan.on)


def _say_changed(box: Box, shipment: Shipment, *, on: bool) -> None:
    code = "box_came_on" if on else "box_came_off"
    raise Conflict(code, box=str(box), shipment=shipment.number)


def put_live(shipment: Shipment, box: Box, serves: Serves) -> None:
    """Let a locked box be on a shipment; it may have been on it before.

    Args:
        shipment: The shipment, locked.
        box: The box, locked, live nowhere.
        serves: The request that it serves, and the promise that it keeps.
    """
    before = ShipmentBox.objects.filter(shipment=shipment, box=box)
    if not before.update(live=True, **vars(serves)):
        bulk.insert([ShipmentBox(shipment=shipment, box=box, **vars(serves))])


def lots_named(boxes: Iterable[int]) -> str:
    """Name the lots in some boxes, by number, as a shipment keeps them.

    Args:
        boxes: Ids of the boxes.

    Returns:
        The numbers with blanks between them.
    """
    lots = Lot.objects.filter(box_lines__box__in=boxes).distinct()
    return " ".join(sorted(lots.values_list("number", flat=True)))


def move_all(boxes: Collection[Box], to: BoxStage, reason: str) -> list[BoxEvent]:
    """Change the stage of many locked boxes in one statement.

    Args:
        boxes: The boxes.
        to: Their stage afterwards.
        reason: Why.

    Returns:
        The events, not yet inserted.

    Raises:
        WrongStage: If one of them does not go there; it is named.
    """
    events = [move_box(box, to, reason) for box in boxes]
    rows = Box.objects.filter(pk__in=[box.pk for box in boxes])
    rows.update(stage=to, events_seen=F("events_seen") + 1)
    return events
