"""What the tests of allotments do in one line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dispatch.allotment.queries.proposals import Facts, facts_of, first_day
from dispatch.allotment.services import Allotted, allot
from dispatch.domain.needs import Asked
from dispatch.domain.proposal import Chosen
from dispatch.models import Consignee, Request, Shipment, ShipmentBox
from dispatch.requests.queries.promises import open_promises
from dispatch.requests.services import take_request
from dispatch.shipments import services
from kitting.ledger.clock import start_of
from kitting.ledger.reach import standing_reach
from kitting.models import Box, BoxSize, Product, Workshop
from tests import factories
from tests.factories import sign

USUAL = 7


def ask(whom: Consignee, product: Product, sets: int, tier: int = 3) -> Request:
    """Take a request down."""
    done = take_request(
        consignee_id=whom.pk,
        product_id=product.pk,
        asked=Asked(sets=sets, tier=tier, way="mail"),
        sign=sign(),
    )
    return Request.objects.get(number=done.request)


def facts(product: Product, window: int = USUAL) -> Facts:
    """What the proposal of today is made from."""
    workshop = Workshop.objects.get(pk=1)
    since = start_of(workshop, first_day(window, factories.TODAY))
    return facts_of(product.pk, since, factories.TODAY, standing_reach())


def confirm(
    product: Product,
    chosen: Chosen | None = None,
    *,
    seen: Facts | None = None,
    reason: str = "",
    by: Any = None,
) -> Allotted:
    """Confirm the proposal as it is now, or as it was seen."""
    chosen = chosen or Chosen(USUAL, {})
    seen = seen or facts(product, chosen.window)
    return allot(
        product_id=product.pk,
        chosen=chosen,
        beyond=seen.beyond,
        seen=seen.mark,
        reason=reason,
        sign=by or sign(),
    )


def promised(product: Product) -> dict[str, dict[int, int]]:
    """What is open of all promises: request to sets to boxes."""
    found: dict[str, dict[int, int]] = {}
    for row in open_promises([product.pk]).rows:
        boxes = found.setdefault(row.request, {})
        boxes[row.sets] = boxes.get(row.sets, 0) + row.boxes
    return found


def load(shipment: Shipment, box: Box) -> ShipmentBox:
    """Scan a box onto a shipment."""
    services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())
    return ShipmentBox.objects.get(shipment=shipment, box=box)


def pack(size: BoxSize, boxes: int) -> list[Box]:
    """Boxes that are ready to go."""
    return [factories.make_labelled_box(size) for _ in range(boxes)]


def names(found: Sequence[Any]) -> list[str]:
    """Their numbers."""
    return [str(each) for each in found]
