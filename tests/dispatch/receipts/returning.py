"""What the tests of returns do in one line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dispatch.domain.needs import Asked
from dispatch.models import Shipment, ShipmentBox
from dispatch.receipts.services import returns
from dispatch.requests.services import take_request
from kitting.domain.errors import LotwardError
from kitting.models import Box, BoxLine, Lot, Operation, Place
from kitting.web.messages import ALL, sentence
from tests import factories
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later


def sent_for_a_request(box: Box) -> Shipment:
    """A shipment that was sent, with a box that serves a request."""
    consignee = factories.make_consignee()
    take_request(
        consignee_id=consignee.pk,
        product_id=box.size.product_id,
        asked=Asked(sets=box.size.sets, tier=1, way="telephone"),
        sign=sign(),
    )
    return factories.send(factories.make_shipment(box, consignee=consignee))


def refused(act: Callable[[], object]) -> str:
    """Do an act that is refused, with a sentence, and give its code."""
    sign()
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as caught:
        act()
    assert Operation.objects.count() == before
    assert caught.value.code in ALL
    assert "%(" not in sentence(caught.value)
    return caught.value.code


def back(box: Box, place: Place, **changes: Any) -> returns.CameBack:
    load = ShipmentBox.objects.get(box=box, live=True)
    what = {"sets": box.size.sets, "opened": False, "note": "Not wanted", **changes}
    return returns.record_return(
        box_id=box.pk, place_id=place.pk, sign=later(load.shipment), **what
    )


def lots_of(box: Box) -> list[tuple[Lot, int]]:
    lines = BoxLine.objects.filter(box=box).select_related("lot__part")
    return [(line.lot, line.pieces) for line in lines]
