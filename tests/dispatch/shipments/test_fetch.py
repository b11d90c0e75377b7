"""The fetch list: which boxes to bring, from where, for what is asked for."""

from __future__ import annotations

import pytest

from dispatch.domain.needs import Asked
from dispatch.models import Consignee, Shipment
from dispatch.requests.queries.requests import open_for
from dispatch.requests.services import take_request
from dispatch.shipments import services
from dispatch.shipments.queries.fetch import FetchList, fetch_list
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.models import Box
from kitting.models.catalogue import PlaceKind
from kitting.places.services import places
from tests import factories
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    """Three boxes of six, ready to go."""
    first = factories.make_labelled_box()
    return [first, *(factories.make_labelled_box(size=first.size) for _ in range(2))]


@once_a_module
def whom() -> Consignee:
    return factories.make_consignee()


def ask(whom: Consignee, box: Box, sets: int, tier: int = 1) -> str:
    taken = take_request(
        consignee_id=whom.pk,
        product_id=box.size.product_id,
        asked=Asked(sets=sets, tier=tier, way="mail"),
        sign=sign(),
    )
    return taken.request


def listed(shipment: Shipment) -> FetchList:
    reach = standing_reach()
    return fetch_list(shipment, open_for(shipment), reach, factories.TODAY)


def numbers(found: FetchList) -> list[tuple[str, list[str]]]:
    return [(place, [str(each.box) for each in there]) for place, there in found.places]


def test_boxes_are_named_by_place_and_each_once(
    boxes: list[Box], whom: Consignee
) -> None:
    needy, other = ask(whom, boxes[0], 6), ask(whom, boxes[0], 60, tier=3)
    shelf = factories.make_place(PlaceKind.READY)
    shelf.name = "A shelf"
    shelf.save()
    places.put_box(box_id=boxes[2].pk, place_id=shelf.pk, sign=sign())
    shipment = factories.make_shipment(consignee=whom)
    found = listed(shipment)
    assert found.boxes == 3
    assert ("A shelf", [str(boxes[2])]) == numbers(found)[0]
    for_whom = {
        str(each.box): each.request for _place, all_ in found.places for each in all_
    }
    assert for_whom == {
        str(boxes[0]): needy,
        str(boxes[1]): other,
        str(boxes[2]): other,
    }
    lacks = [(each.asked.number, each.mix and each.mix.sets) for each in found.wanted]
    assert lacks == [(needy, 6), (other, 12)]
    assert found.wanted[1].mix.short == 48  # type: ignore[union-attr]


def test_what_is_loaded_is_ticked_off_and_what_is_held_is_not_fetched(
    boxes: list[Box], whom: Consignee
) -> None:
    ask(whom, boxes[0], 12)
    shipment = factories.make_shipment(consignee=whom)
    holds.place_hold(target="box", value=boxes[0].pk, reason="Wet", sign=sign())
    there = [box for _place, some in numbers(listed(shipment)) for box in some]
    assert sorted(there) == [str(boxes[1]), str(boxes[2])]
    services.load_box(shipment_id=shipment.pk, box_id=boxes[1].pk, sign=sign())
    assert [there for _place, there in numbers(listed(shipment))] == [[str(boxes[2])]]
    services.load_box(shipment_id=shipment.pk, box_id=boxes[2].pk, sign=sign())
    found = listed(shipment)
    assert (found.places, found.wanted[0].mix) == ([], None)


def test_nothing_asked_is_nothing_to_fetch(boxes: list[Box], whom: Consignee) -> None:
    ask(factories.make_consignee(), boxes[0], 12)
    assert listed(factories.make_shipment(consignee=whom)) == FetchList([], [])


def test_the_list_comes_out_the_same_in_whatever_order_it_is_loaded(
    boxes: list[Box], whom: Consignee
) -> None:
    large = factories.make_size(boxes[0].size.product.recipes.get(), 24)
    two = [factories.make_labelled_box(large) for _ in range(2)]
    needy, other = ask(whom, boxes[0], 6), ask(whom, boxes[0], 24, tier=3)
    shipment = factories.make_shipment(consignee=whom)
    first = listed(shipment)
    said = {str(b.box): b.request for _place, there in first.places for b in there}
    assert sorted(said.values()) == [needy, other]
    assert str(two[0]) in said
    services.load_box(shipment_id=shipment.pk, box_id=two[0].pk, sign=sign())
    assert [
        each.request for _p, there in listed(shipment).places for each in there
    ] == [needy]
    services.load_box(shipment_id=shipment.pk, box_id=boxes[0].pk, sign=sign())
    assert listed(shipment).places == []
    assert factories.prove() == []
