"""Promises: kept by the boxes that are loaded, cut down, outliving boxes, released."""

from __future__ import annotations

from typing import Any

import pytest

from dispatch.allotment.services import release_promise
from dispatch.domain.needs import Asked
from dispatch.models import Consignee, Promise, Request, Shipment
from dispatch.requests.queries.promises import open_promises
from dispatch.requests.queries.requests import (
    PromisedTo,
    left_of,
    open_for,
    promised_to,
    with_figures,
)
from dispatch.requests.services import cancel_request, change_request
from dispatch.shipments import services
from dispatch.shipments.queries.fetch import fetch_list
from dispatch.shipments.queries.shipments import ready_to_go
from kitting.domain.errors import LotwardError, Missing
from kitting.domain.prints import DESTROYED
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.models import Box, BoxSize, Product
from kitting.packing.services.voiding import void_box
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.dispatch.allotment.allotting import (
    ask,
    confirm,
    facts,
    load,
    pack,
    promised,
)
from tests.factories import sign

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    """Four boxes of six, ready to go."""
    first = factories.make_labelled_box()
    return [first, *pack(first.size, 3)]


@pytest.fixture
def product(boxes: list[Box]) -> Product:
    return boxes[0].size.product


@pytest.fixture
def size(boxes: list[Box]) -> BoxSize:
    return boxes[0].size


@once_a_module
def hill() -> Consignee:
    return factories.make_consignee("Hill")


@once_a_module
def dale() -> Consignee:
    return factories.make_consignee("Dale")


# -- Kept --------------------------------------------------------------------------------


def test_a_box_keeps_a_promise_and_gives_it_back_when_it_comes_off(
    boxes: list[Box], product: Product, hill: Consignee
) -> None:
    row = ask(hill, product, 60)
    confirm(product)
    shipment = factories.make_shipment(consignee=hill)
    loaded = load(shipment, boxes[0])
    assert (loaded.request, loaded.promise) == (row, Promise.objects.get())
    assert promised(product) == {row.number: {6: 3}}
    services.take_off_box(shipment_id=shipment.pk, box_id=boxes[0].pk, sign=sign())
    assert promised(product) == {row.number: {6: 4}}
    load(shipment, boxes[0])
    services.cancel_shipment(shipment_id=shipment.pk, reason="No van", sign=sign())
    assert promised(product) == {row.number: {6: 4}}
    assert factories.prove() == []


def test_nobody_loads_what_is_promised_to_another(
    boxes: list[Box], product: Product, size: BoxSize, hill: Consignee, dale: Consignee
) -> None:
    row = ask(hill, product, 24)
    done = confirm(product)
    other = factories.make_shipment(consignee=dale)
    with pytest.raises(LotwardError) as caught:
        load(other, boxes[0])
    assert_refused(
        caught.value,
        "box_promised",
        box=str(boxes[0]),
        sets=6,
        ready=4,
        whom="Hill (4)",
        allotment=done.allotment,
    )
    (more,) = pack(size, 1)
    assert load(other, boxes[0]).promise is None
    with pytest.raises(LotwardError, match="box_promised"):
        load(other, more)
    own = factories.make_shipment(consignee=hill)
    for box in [*boxes[1:], more]:
        assert load(own, box).request == row
    assert promised(product) == {}
    assert factories.prove() == []


def test_a_promise_outlives_a_box_that_is_voided_or_held(
    boxes: list[Box], product: Product, size: BoxSize, hill: Consignee, dale: Consignee
) -> None:
    row = ask(hill, product, 24)
    confirm(product)
    void_box(box_id=boxes[0].pk, reason="Wet", label=DESTROYED, sign=sign())
    held = holds.place_hold(
        target="box", value=boxes[1].pk, reason="Crack", sign=sign()
    )
    assert promised(product) == {row.number: {6: 4}}
    (there,) = [each for each in facts(product).sizes if each.size == size]
    assert (there.ready, there.promised, there.beyond, there.free) == (2, 4, -2, 0)
    later = pack(size, 2)
    with pytest.raises(LotwardError, match="box_promised"):
        load(factories.make_shipment(consignee=dale), later[0])
    own = factories.make_shipment(consignee=hill)
    for box in [*boxes[2:], *later]:
        load(own, box)
    assert promised(product) == {}
    assert held.hold_id
    assert factories.prove() == []


def test_a_request_promises_no_more_than_it_lacks(
    boxes: list[Box], product: Product, size: BoxSize, hill: Consignee, dale: Consignee
) -> None:
    row = ask(hill, product, 24)
    confirm(product)

    def change(sets: int) -> None:
        asked = Asked(sets=sets, tier=3, way="mail")
        change_request(number=row.number, asked=asked, reason="They said", sign=sign())

    change(7)
    assert promised(product) == {row.number: {6: 2}}
    load(factories.make_shipment(consignee=dale), boxes[0])
    change(24)
    assert promised(product) == {row.number: {6: 4}}
    cancel_request(number=row.number, reason="Enough", sign=sign())
    assert promised(product) == {}
    load(factories.make_shipment(consignee=dale), boxes[1])
    assert factories.prove() == []


# -- Released ----------------------------------------------------------------------------


def test_a_promise_is_released_with_a_reason_of_one_request_or_all(
    boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    first, second = ask(hill, product, 60), ask(dale, product, 60)
    done = confirm(product)
    load(factories.make_shipment(consignee=hill), boxes[0])
    number = done.allotment

    def release(reason: str = "Not needed", **of: str) -> Any:
        return release_promise(number=number, reason=reason, sign=sign(), **of)

    with pytest.raises(LotwardError, match="reason_missing"):
        release(" ")
    gone = release(request=first.number)
    assert (gone.boxes, gone.sets, gone.reason) == (1, 6, "Not needed")
    assert promised(product) == {second.number: {6: 2}}
    with pytest.raises(LotwardError, match="nothing_promised"):
        release(request=first.number)
    assert release().boxes == 2
    assert promised(product) == {}
    with pytest.raises(LotwardError, match="nothing_promised"):
        release()
    with pytest.raises(Missing):
        release_promise(number="A1000001X", reason="So", sign=sign())
    assert factories.prove() == []


def test_what_a_request_cannot_use_is_released_as_well(
    product: Product, hill: Consignee
) -> None:
    row = ask(hill, product, 24)
    done = confirm(product)
    asked = Asked(sets=6, tier=3, way="mail")
    change_request(number=row.number, asked=asked, reason="Fewer", sign=sign())
    release_promise(number=done.allotment, reason="Again", sign=sign())
    assert promised(product) == {}


# -- The same figures everywhere ---------------------------------------------------------


def listed(shipment: Shipment) -> dict[str, list[str]]:
    """Boxes of the fetch list by request."""
    reach = standing_reach()
    found = fetch_list(shipment, open_for(shipment), reach, factories.TODAY)
    by: dict[str, list[str]] = {}
    for _place, boxes in found.places:
        for each in boxes:
            by.setdefault(each.request, []).append(str(each.box))
    return by


def test_the_fetch_list_names_what_is_promised_and_loading_keeps_to_it(
    product: Product, size: BoxSize, hill: Consignee, dale: Consignee
) -> None:
    """Of four boxes two are promised to a request that is needed less than another."""
    later = ask(hill, product, 12)
    ask(dale, product, 12)
    confirm(product)
    needy = ask(hill, product, 18, tier=1)
    shipment = factories.make_shipment(consignee=hill)
    assert {of: len(boxes) for of, boxes in listed(shipment).items()} == {
        later.number: 2
    }
    (free,) = pack(size, 1)
    found = listed(shipment)
    assert {of: len(boxes) for of, boxes in found.items()} == {
        later.number: 2,
        needy.number: 1,
    }
    served = [load(shipment, box).request for box in Box.objects.order_by("-pk")[:3]]
    assert served == [later, later, needy]
    assert listed(shipment) == {}
    with pytest.raises(LotwardError, match="box_promised"):
        load(shipment, Box.objects.filter(stage="labelled")[0])
    assert free.pk
    assert factories.prove() == []


def test_a_request_shows_what_is_promised_and_what_else_would_do(
    boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    row = ask(hill, product, 30)
    done = confirm(product)
    void_box(box_id=boxes[0].pk, reason="Wet", label=DESTROYED, sign=sign())
    promises, reach = open_promises([product.pk]), standing_reach()
    (kind,) = ready_to_go(factories.TODAY, reach)
    assert (kind.boxes, kind.promised) == (3, 4)
    assert promised_to(row, reach, promises) == [
        PromisedTo(6, 4, 4, 3, (done.allotment,))
    ]
    figures = with_figures(Request.objects.filter(pk=row.pk)).get()
    would = left_of(figures, reach, promises)
    assert would is not None
    assert (would.sets, would.ready.below, would.ready.above) == (6, None, None)
    other = ask(dale, product, 6)
    assert promised_to(other, reach, promises) == []
