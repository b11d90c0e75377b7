"""Inner steps of a shipment: which boxes may be on it, and what changed meanwhile."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from django.db.models import F, Q

from dispatch.domain.folding import fold
from dispatch.models import Pallet, ShipEvent, Shipment, ShipmentBox, ShipScan
from dispatch.pallets.labels import prints_of
from dispatch.pallets.steps import (
    pallet_of,
    refuse_on_another,
    refuse_together,
    refuse_unlabelled,
    stands_asked,
    unfit,
    unstack,
)
from dispatch.requests.steps import Serves, asks_for, to_serve
from dispatch.shipments.labels import NAME as LABELS
from dispatch.shipments.labels import labels_lacking
from kitting.domain.errors import Conflict, LotwardError, Refused, WrongStage
from kitting.domain.stages import BoxStage, ShipmentStage
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.kept import Kept, foresee
from kitting.ledger.needs import LONGEST_REASON, need_length
from kitting.ledger.operations import Act
from kitting.ledger.reach import STANDING, standing_reach
from kitting.models import Box, BoxEvent, BoxSize, Guarded, Product
from kitting.packing.steps import move_box
from kitting.printing.steps import stop_jobs

LONGEST_REFERENCE = 40
"""Characters that a consignee's own reference may have."""

LONGEST = {
    "haulier": 80,
    "driver": 80,
    "vehicle": 40,
    "seal": 40,
    "reference": LONGEST_REFERENCE,
}
"""Characters that may be said of how a shipment leaves."""


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


_SIZE_OF = Kept(
    lambda box: BoxSize.objects.filter(pk__in=Box.objects.filter(pk=box).values("size"))
)


def read_ahead(shipment_id: int, box_id: int) -> None:
    """Lock what a box comes onto and read all that decides, at once behind that.

    Args:
        shipment_id: The shipment.
        box_id: The box.
    """
    products = [size.product_id for size in _SIZE_OF(box_id)]  # of a box for good
    locking.wait_for(
        (Box, box_id), *((Product, pk) for pk in products), (Shipment, shipment_id)
    )
    foresee(
        (locking.by_id(Box, "size"), box_id),
        *((locking.by_id(Product), pk) for pk in products),
        (locking.by_id(Shipment), shipment_id),
        (STANDING,),
        *stands_asked(box_id),
    )


def lock_open_shipment(shipment_id: int) -> Shipment:
    """Lock a shipment, after its boxes.

    Args:
        shipment_id: The shipment.

    Returns:
        The shipment.

    Raises:
        Missing: If there is no such shipment.
        WrongStage: ``shipment_not_open``.
    """
    shipment = locking.lock_row(Shipment, shipment_id)
    if shipment.stage != ShipmentStage.OPEN:
        raise WrongStage(
            "shipment_not_open", shipment=shipment.number, stage=shipment.stage
        )
    return shipment


def lock_boxes(shipment_id: int) -> dict[int, Box]:
    """Lock the boxes that are on a shipment, before the shipment itself.

    Args:
        shipment_id: The shipment.

    Returns:
        The boxes with their sizes, by id.
    """
    ids = ShipmentBox.objects.filter(shipment=shipment_id, live=True)
    return locking.lock_rows(Box, ids.values_list("box", flat=True), "size")


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


def put_live(
    shipment: Shipment, box: Box, serves: Serves, pallet: Pallet | None = None
) -> ShipScan:
    """Let a locked box be on a shipment; it may have been on it before.

    Args:
        shipment: The shipment, locked.
        box: The box, locked, live nowhere.
        serves: The request that it serves, and the promise that it keeps.
        pallet: The pallet on which it came.

    Returns:
        The scan, not yet inserted.
    """
    said = {**vars(serves), "pallet": pallet}
    ShipmentBox.objects.bulk_create(
        [ShipmentBox(shipment=shipment, box=box, live=True, **said)],
        update_conflicts=True,
        unique_fields=["shipment", "box"],
        update_fields=["live", *said],
    )
    return ShipScan(shipment=shipment, box=box, on=True, **said)


def named_in(boxes: Iterable[int]) -> tuple[str, str]:
    """Name the lots and the products in some boxes, as a shipment keeps them.

    Args:
        boxes: Ids of the boxes.

    Returns:
        The numbers of the lots with blanks between them, and so the products' codes.
    """
    inside = Box.objects.filter(pk__in=boxes).order_by()
    return tuple(  # type: ignore[return-value]  # one text for each of the two
        " ".join(sorted(inside.values_list(name, flat=True).distinct()))
        for name in NAMED.values()
    )


NAMED = {"lots": "lines__lot__number", "products": "size__product__code"}
"""What a sent shipment names of its boxes, by where it stands of a box."""


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


def take_down(shipment: Shipment, leaving: Mapping[str, str | None]) -> None:
    """Note on a shipment who takes it away, how, and under which reference.

    Args:
        shipment: The shipment, locked; the caller saves it.
        leaving: What is said, by name; None leaves what is on record.

    Raises:
        Refused: ``entry_too_long``, ``driver_missing``.
    """
    for name, said in leaving.items():
        if said is not None:
            setattr(shipment, name, need_length(name, said, LONGEST[name]))
    if not shipment.haulier and not shipment.driver:
        raise Refused("driver_missing", shipment=shipment.number)
    shipment.search = searched(shipment)


def why_unlabelled(shipment: Shipment, said: str) -> str:
    """Give why a shipment leaves without its labels; empty where it has all of them.

    Args:
        shipment: The shipment, locked.
        said: What its sender says.

    Raises:
        Refused: ``labels_lacking``, ``entry_too_long``.
    """
    boxes, pallets = labels_lacking(shipment)
    if not boxes and not pallets:
        return ""
    why = need_length("reason", said, LONGEST_REASON)
    if not why:
        lacking = len(boxes) + len(pallets)
        raise Refused("labels_lacking", shipment=shipment.number, lacking=lacking)
    return why


def load(
    shipment: Shipment, boxes: Collection[Box], act: Act, pallet: Pallet | None = None
) -> None:
    """Put locked boxes on a locked shipment, all of them or none.

    Args:
        shipment: The shipment, open.
        boxes: The boxes with their sizes, behind the gate, locked with their products.
        act: The act, for its day; what happens is written.
        pallet: The pallet on which they come.

    Raises:
        Conflict: ``box_on_already``, ``box_in_shipment``, ``box_left``; ``box_on_pallet``
            of one that is scanned by itself.
        OnHold: ``box_held``.
        Refused: ``box_past_use_by``, ``box_promised``; ``box_not_asked`` of a box on a
            pallet.
        WrongStage: ``box_voided``, ``box_came_back``, ``box_not_labelled``.
        LotwardError: Of several boxes the first refusal; the others in ``besides``.
    """
    today, reach = day_of(act.workshop, act.now), standing_reach()
    held = unfit(boxes, act, reach)
    wrong: list[LotwardError] = []
    made: list[Guarded] = []
    for box in boxes:
        try:
            refuse_on_another(box, shipment)
            if pallet is None and (stands := pallet_of(box)):
                raise Conflict("box_on_pallet", box=str(box), pallet=stands.number)
            refuse_unlabelled(box)
            if box.pk in held:
                raise held[box.pk]
            if pallet is not None:
                _refuse_not_asked(shipment, box)
            made.append(move_box(box, BoxStage.LOADED, f"onto {shipment.number}"))
            bulk.update([box], ["stage", "events_seen"])
            serves = to_serve(shipment, box, today, reach)
            made.append(put_live(shipment, box, serves, pallet))
        except LotwardError as error:
            wrong.append(error)
    refuse_together(wrong)
    act.write(*made)


def _refuse_not_asked(shipment: Shipment, box: Box) -> None:
    """Refuse a box among others of which the consignee, who asked, asked for nothing."""
    asked = asks_for(shipment)
    if asked and box.size.product_id not in asked:
        product, whom = box.size.product.name, shipment.whom
        raise Refused("box_not_asked", box=str(box), product=product, consignee=whom)


def take_off(
    shipment: Shipment, box: Box, act: Act, pallet: Pallet | None = None
) -> None:
    """Take a locked box off a locked shipment, and off the pallet that it came on.

    Args:
        shipment: The shipment, open.
        box: The box; it stands labelled afterwards.
        act: The act; what happens is written.
        pallet: The pallet on which it stands, locked.

    Raises:
        Refused: ``box_not_in_shipment``.
    """
    on = shipment.shipment_boxes.filter(box=box, live=True)
    if not on.update(live=False):
        raise Refused("box_not_in_shipment", box=str(box), shipment=shipment.number)
    event = move_box(box, BoxStage.LABELLED, f"off {shipment.number}")
    bulk.update([box], ["stage", "events_seen"])
    stop_labels_of(shipment, act, [pallet.pk] if pallet else [])
    act.write(event, ShipScan(shipment=shipment, box=box, on=False))
    if pallet is not None:
        act.write(*unstack(pallet, [box]))


def stop_labels_of(shipment: Shipment, act: Act, pallets: Collection[int]) -> None:
    """Cancel labels that wait for a printer: "k of n" is no longer so.

    Nor is what those of pallets say that came off it, or from which a box came.

    Args:
        shipment: The shipment.
        act: The act.
        pallets: Ids of those pallets.
    """
    its = Q(kind=LABELS, number__startswith=f"{shipment.number} ")
    stop_jobs(its | prints_of(pallets) if pallets else its, act.now)
