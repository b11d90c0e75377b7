"""What is held, rejected or returned stands in quarantine only, and the rest is held."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.lots.services.lots import NewBag, take_in
from kitting.models import Bag, Box, Carrier, Hold, Operation, Place
from kitting.packing.services import voiding
from kitting.places.services import carriers, places
from tests import factories
from tests.assertions import assert_problem, assert_refused, text_of
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

PAGE = reverse("kitting:put-away")


@pytest.fixture
def shelf() -> Place:
    return factories.make_place()


@pytest.fixture
def cage() -> Place:
    return factories.make_place("quarantine")


@pytest.fixture
def packer(client_for: Any) -> Client:
    return client_for(factories.make_person("packer"))  # type: ignore[no-any-return]


def stopped_bag(how: str) -> Bag:
    lot = factories.make_lot(bags=(NewBag(9),))
    bag: Bag = lot.bags.get()
    if how == "rejected":
        factories.reject(lot)
    else:
        value = {"lot": lot.pk, "bag": bag.pk}[how]
        holds.place_hold(target=how, value=value, reason="Crack", sign=sign())
    return bag


def stopped_box(how: str) -> Box:
    box = factories.make_labelled_box()
    if how == "held":
        holds.place_hold(target="box", value=box.pk, reason="Crack", sign=sign())
    elif how == "voided":
        voiding.void_box(
            box_id=box.pk, reason="Crushed", label=str(box.serial), sign=sign()
        )
    else:  # nothing brings a box back yet
        Box.objects.filter(pk=box.pk).update(stage="returned")
    return box


def refused(call: Any, **values: Any) -> LotwardError:
    before = Operation.objects.count(), Hold.objects.count()
    with pytest.raises(LotwardError) as caught:
        call(**values, sign=sign())
    assert (Operation.objects.count(), Hold.objects.count()) == before
    return caught.value


def make_carrier() -> Carrier:
    made = carriers.make_carrier(name="Pole", sign=sign())
    return Carrier.objects.get(number=made.carrier)


# -- What is stopped ------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.parametrize("how", ["rejected", "lot", "bag"])
def test_a_stopped_bag_stands_in_quarantine_only(
    how: str, shelf: Place, cage: Place
) -> None:
    bag = stopped_bag(how)
    error = refused(places.put_bag, bag_id=bag.pk, place_id=shelf.pk)
    assert_refused(error, "quarantine_only", thing=bag.number, place=shelf.name)
    before = Hold.objects.count()
    put = places.put_bag(bag_id=bag.pk, place_id=cage.pk, sign=sign())
    assert (put.moved, put.held) == (True, "")
    assert Hold.objects.count() == before
    assert factories.prove() == []


@pytest.mark.parametrize("how", ["held", "voided", "returned"])
def test_a_stopped_box_stands_in_quarantine_only(
    how: str, shelf: Place, cage: Place
) -> None:
    box = stopped_box(how)
    code = "box_voided" if how == "voided" else "quarantine_only"
    error = refused(places.put_box, box_id=box.pk, place_id=shelf.pk)
    assert error.code == code
    before = Hold.objects.count()
    assert places.put_box(box_id=box.pk, place_id=cage.pk, sign=sign()).moved
    assert Hold.objects.count() == before


def test_a_stopped_bag_hangs_on_a_carrier_in_quarantine_only(
    shelf: Place, cage: Place
) -> None:
    bag, carrier = stopped_bag("rejected"), make_carrier()
    on = {"carrier_id": carrier.pk, "bag_id": bag.pk}
    carriers.put_carrier(carrier_id=carrier.pk, place_id=shelf.pk, sign=sign())
    assert_refused(refused(carriers.load_bag, **on), "quarantine_only")
    carriers.put_carrier(carrier_id=carrier.pk, place_id=cage.pk, sign=sign())
    assert carriers.load_bag(**on, sign=sign()).on
    values = {"carrier_id": carrier.pk, "place_id": shelf.pk}
    assert_refused(refused(carriers.put_carrier, **values), "quarantine_only")
    assert factories.prove() == []


def test_a_carrier_that_stands_nowhere_mixes_nothing(shelf: Place) -> None:
    bag, free, carrier = stopped_bag("bag"), factories.make_bag(), make_carrier()
    on = {"carrier_id": carrier.pk}
    carriers.load_bag(**on, bag_id=bag.pk, sign=sign())
    error = refused(carriers.load_bag, **on, bag_id=free.pk)
    assert_refused(error, "carrier_mixes", bag=free.number)
    other = stopped_bag("rejected")
    # What hangs there already would go where the new one stands.
    Bag.objects.filter(pk=other.pk).update(place=shelf)
    error = refused(carriers.load_bag, **on, bag_id=other.pk)
    assert_refused(error, "quarantine_only", thing=bag.number)


# -- What goes there besides ------------------------------------------------------------


@pytest.mark.smoke
def test_anything_else_says_why_and_is_held(shelf: Place, cage: Place) -> None:
    bag = factories.make_bag()
    values = {"bag_id": bag.pk, "place_id": cage.pk}
    assert_refused(refused(places.put_bag, **values, why=" "), "quarantine_why")
    error = refused(places.put_bag, **values, why="x" * 201)
    assert_refused(error, "entry_too_long")
    key = sign()
    put = places.put_bag(**values, why="Smells odd", sign=key)
    assert places.put_bag(**values, why="Smells odd", sign=key) == put
    assert put.held == "Smells odd"
    hold = Hold.objects.get()
    assert (hold.bag, hold.reason, hold.lot) == (bag, "Smells odd", None)
    assert standing_reach().bag(bag)
    # It is there already: nothing is asked again, and lifting lets it go.
    assert not places.put_bag(**values, sign=sign()).moved
    holds.lift_hold(hold_id=hold.pk, reason="Measured", sign=sign_by_another())
    assert places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=sign()).moved
    assert factories.prove() == []


def test_a_box_says_why_and_is_held(cage: Place) -> None:
    box = factories.make_labelled_box()
    values = {"box_id": box.pk, "place_id": cage.pk}
    assert_refused(refused(places.put_box, **values), "quarantine_why", thing=str(box))
    places.put_box(**values, why="Crushed corner", sign=sign())
    assert Hold.objects.get().box == box


def test_a_carrier_holds_all_that_nothing_stopped_yet(cage: Place) -> None:
    bags, carrier = [factories.make_bag() for _ in range(2)], make_carrier()
    for bag in bags:
        on = {"carrier_id": carrier.pk, "bag_id": bag.pk}
        carriers.load_bag(**on, sign=sign())
    values = {"carrier_id": carrier.pk, "place_id": cage.pk}
    assert_refused(refused(carriers.put_carrier, **values), "quarantine_why")
    put = carriers.put_carrier(**values, why="Fell over", sign=sign())
    assert put.held == 2
    third = factories.make_bag()
    loaded = {"carrier_id": carrier.pk, "bag_id": third.pk}
    assert_refused(refused(carriers.load_bag, **loaded), "quarantine_why")
    assert carriers.load_bag(**loaded, why="Fell too", sign=sign()).held == 1
    held = Hold.objects.order_by("pk").values_list("bag", flat=True)
    assert list(held) == [each.pk for each in (*bags, third)]
    assert factories.prove() == []


def test_nothing_is_taken_in_there(cage: Place) -> None:
    new = factories.new_lot(
        factories.make_revision(), bags=(NewBag(9, place_id=cage.pk),)
    )
    error = refused(take_in, lots=[new])
    assert_refused(error, "intake_in_quarantine", place=cage.name)


# -- On the page -----------------------------------------------------------------------


def values(read: str, hand: str = "", **more: str) -> dict[str, str]:
    return {"read": read, "hand": hand, "op_key": str(uuid.uuid4()), **more}


@pytest.mark.smoke
def test_the_page_asks_why_and_says_that_it_is_held(
    packer: Client, cage: Place, hx: dict[str, str]
) -> None:
    bag = factories.make_bag()
    sent = values(bag.number, cage.code)
    page = packer.post(PAGE, sent, headers=hx)
    assert page.status_code == 422
    assert "Say why" in text_of(page)
    assert 'name="why"' in text_of(page)
    assert f'value="{bag.number}"' in text_of(page)
    assert 'name="why"' not in text_of(packer.get(PAGE))
    page = packer.post(PAGE, {**sent, "why": "Smells odd"}, headers=hx)
    assert page.status_code == 200
    assert "It is on hold." in text_of(page)
    assert Hold.objects.get().reason == "Smells odd"


def test_the_page_sends_what_is_stopped_to_quarantine(
    packer: Client, shelf: Place
) -> None:
    bag = stopped_bag("rejected")
    response = packer.post(PAGE, values(bag.number, shelf.code))
    assert_problem(response, "quarantine_only")
    assert 'name="why"' not in text_of(response)
