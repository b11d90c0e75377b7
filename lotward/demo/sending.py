"""Boxes go to the wards of Eskmoor."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from dispatch.allotment import services as allotment
from dispatch.allotment.queries.proposals import USUAL_WINDOW, facts_of, first_day
from dispatch.domain.needs import Asked
from dispatch.domain.proposal import Chosen, Move
from dispatch.domain.receipts import BoxSaid, Said
from dispatch.models import Pallet, Shipment
from dispatch.pallets import services as pallets
from dispatch.receipts.services import deliveries, passing
from dispatch.requests.queries.promises import open_promises
from dispatch.requests.services import take_request
from dispatch.requests.steps import asks_for
from dispatch.shipments import services
from kitting.domain.stages import ShipmentStage
from kitting.ledger import clock
from kitting.ledger.reach import standing_reach
from kitting.models import Box
from kitting.packing.queries.boxes import ready_boxes
from lotward.demo import plan
from lotward.demo.making import Floor


def in_stock(floor: Floor) -> list[Box]:
    """Boxes that may leave, oldest first."""
    return list(ready_boxes(standing_reach(), floor.clock.now.date()).order_by("pk"))


def promised_to_nobody(floor: Floor) -> list[Box]:
    """Those beyond what is promised, the newest of each size."""
    products = [each.pk for each in floor.catalogue.products.values()]
    promises = open_promises(products)
    free = []
    kept = {product: promises.total(product) for product in products}
    for box in in_stock(floor):
        of_size = kept[box.size.product_id]
        if of_size[box.size.sets] > 0:
            of_size[box.size.sets] -= 1
        else:
            free.append(box)
    return free


def ask(floor: Floor) -> None:
    """Take down what consignees ask for today.

    Args:
        floor: The workshop.
    """
    for day, whom, product, sets, tier, within, way, caller in plan.ASKED:
        if day == floor.today:
            sign = floor.clock.sign("clerk", 45)
            by = None if within is None else floor.day(day) + timedelta(days=within)
            take_request(
                consignee_id=floor.catalogue.consignees[whom].pk,
                product_id=floor.catalogue.products[product].pk,
                asked=Asked(sets, tier, way, needed_by=by, caller=caller),
                sign=sign,
            )


SHORT, PASSED = 5, 3
"""Of which shipments, counted from the first, a box was short or was passed on."""


def hear(floor: Floor) -> None:
    """Record what came back of the shipments of earlier days: their delivery notes.

    Args:
        floor: The workshop.
    """
    for shipment in Shipment.objects.filter(stage=ShipmentStage.SENT).order_by("pk"):
        if (
            shipment.sent_at is None
            or shipment.sent_at.date() >= floor.clock.now.date()
        ):
            continue
        nth = Shipment.objects.filter(pk__lte=shipment.pk).count()
        first = shipment.shipment_boxes.order_by("pk").select_related("box__size")[0]
        fewer = BoxSaid(
            first.box_id, "short", first.box.size.sets - 1, "Opened at a side"
        )
        deliveries.record_delivery(
            shipment_id=shipment.pk,
            said=Said(
                by="Goods entrance",
                at=shipment.sent_at + timedelta(hours=2),
                boxes=shipment.boxes,
                of_boxes=(fewer,) if nth == SHORT else (),
            ),
            sign=floor.clock.sign("clerk", 30),
        )
        if nth == PASSED:
            _pass_on(floor, shipment, first.box)


def _pass_on(floor: Floor, shipment: Shipment, box: Box) -> None:
    others = [
        consignee
        for consignee in floor.catalogue.consignees.values()
        if consignee.pk != shipment.consignee_id
    ]
    sign = floor.clock.sign("clerk", 40)
    passing.pass_on(
        shipment_id=shipment.pk,
        box_ids=[box.pk],
        consignee_id=others[0].pk,
        point="",
        told_by="Storekeeper of the first, by telephone",
        on=floor.clock.now.date(),
        note="",
        sign=sign,
    )


def send(floor: Floor, *, keep: int) -> None:
    """Make up a shipment of the oldest boxes and send it.

    Args:
        floor: The workshop.
        keep: Boxes to keep in stock.
    """
    stock = in_stock(floor)
    if len(stock) > keep:
        shipment_id = begin(floor)
        boxes = stock[: len(stock) - keep]
        if asks_for(Shipment.objects.get(pk=shipment_id)):
            load(floor, shipment_id, boxes)
        else:
            load_on_pallet(floor, shipment_id, boxes)
        sign = floor.clock.sign("clerk", 120)
        nth = Shipment.objects.count()
        haulier, driver, vehicle = plan.VANS[nth % len(plan.VANS)]
        services.send_shipment(
            shipment_id=shipment_id,
            haulier=haulier,
            driver=driver,
            vehicle=vehicle,
            seal=f"{40_000 + 7 * nth}" if vehicle else "",
            unlabelled=plan.BY_HAND,
            sign=sign,
        )


def begin(floor: Floor) -> int:
    """Begin a shipment; large hospitals are sent to twice as often.

    Args:
        floor: The workshop.

    Returns:
        Its id.
    """
    whom = plan.ROUND[Shipment.objects.count() % len(plan.ROUND)]
    order = f"Order {floor.luck.randrange(1000, 9999)}"
    begun = services.begin_shipment(
        consignee_id=floor.catalogue.consignees[whom].pk,
        reference=order if whom in plan.LARGE else "",
        sign=floor.clock.sign("clerk", 90),
    )
    return begun.shipment_id


def load(floor: Floor, shipment_id: int, boxes: list[Box]) -> None:
    """Scan boxes onto a shipment.

    Args:
        floor: The workshop.
        shipment_id: The shipment.
        boxes: The boxes.
    """
    for box in boxes:
        sign = floor.clock.sign("clerk", 12)
        services.load_box(shipment_id=shipment_id, box_id=box.pk, sign=sign)


def build_pallet(floor: Floor, boxes: list[Box]) -> int:
    """Put boxes together on a pallet.

    Args:
        floor: The workshop.
        boxes: The boxes.

    Returns:
        The pallet's id.
    """
    begun = pallets.begin_pallet(sign=floor.clock.sign("clerk", 20))
    pallet = Pallet.objects.get(number=begun.pallet)
    for box in boxes:
        sign = floor.clock.sign("clerk", 12)
        pallets.stack_box(pallet_id=pallet.pk, box_id=box.pk, sign=sign)
    return pallet.pk


def load_on_pallet(floor: Floor, shipment_id: int, boxes: list[Box]) -> None:
    """Load all boxes but one on a pallet, by one scan.

    Args:
        floor: The workshop.
        shipment_id: The shipment, to a consignee that asked for nothing in particular.
        boxes: The boxes.
    """
    *stacked, alone = boxes
    if stacked:
        on = {"shipment_id": shipment_id, "pallet_id": build_pallet(floor, stacked)}
        services.load_pallet(**on, sign=floor.clock.sign("clerk", 12))
    load(floor, shipment_id, [alone])


def cancel_one(floor: Floor) -> None:
    """Make up a shipment and cancel it."""
    shipment_id = begin(floor)
    load(floor, shipment_id, in_stock(floor)[:2])
    services.cancel_shipment(
        shipment_id=shipment_id,
        reason="The van broke down; made up anew tomorrow",
        sign=floor.clock.sign("clerk", 900),
    )


def leave_open(floor: Floor) -> None:
    """Leave a shipment and a pallet open; a box was loaded by mistake and taken off."""
    shipment_id = begin(floor)
    boxes = promised_to_nobody(floor)[:4]
    load(floor, shipment_id, boxes)
    services.take_off_box(
        shipment_id=shipment_id,
        box_id=boxes[-1].pk,
        sign=floor.clock.sign("clerk", 30),
    )
    build_pallet(floor, promised_to_nobody(floor)[:2])


def allot(floor: Floor) -> None:
    """Promise the boxes that are left, one of them moved by hand."""
    product = floor.catalogue.products[plan.ALLOTTED]
    today = floor.day(floor.today)
    since = clock.midnight(first_day(USUAL_WINDOW, today))
    seen = facts_of(product.pk, since, today, standing_reach())
    chosen = Chosen(USUAL_WINDOW, {})
    counts = seen.proposal(seen.stock(seen.beyond, {}), ()).counts
    move = next(
        Move(1, size, number, "") for number, own in counts.items() for size in own
    )
    allotment.allot(
        product_id=product.pk,
        chosen=replace(chosen, moves=(move,)),
        beyond=seen.beyond,
        seen=seen.mark,
        reason=plan.MOVED,
        sign=floor.clock.sign("clerk", 240),
    )
