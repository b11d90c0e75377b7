"""What the tests of a module share: made once, seen by who asks, bent by each alone."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import Group
from django.db import connection

from kitting.ledger import guards
from kitting.ledger.setup import ROLES
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Operation, Place
from tests import factories
from tests.databases import once_a_module
from tests.ledgers import History

pytestmark = pytest.mark.django_db


@once_a_module
def shelf() -> Place:
    return factories.make_place()


@once_a_module
def bag(shelf: Place) -> Bag:
    there = NewBag(pieces=100, place_id=shelf.pk)
    return factories.make_lot(bags=(there,)).bags.get()


def test_who_does_not_ask_sees_nothing() -> None:
    assert not Bag.objects.exists()
    assert not Operation.objects.exists()


def test_who_asks_for_the_shelf_alone_sees_no_bag(shelf: Place) -> None:
    assert Place.objects.filter(pk=shelf.pk).exists()
    assert not Bag.objects.exists()


@pytest.mark.parametrize("nth", [1, 2])
def test_each_bends_its_own(nth: int, bag: Bag, shelf: Place) -> None:
    assert (bag.place, bag.pieces, shelf.name != "Bent") == (shelf, 100, True)
    assert Bag.objects.get().pieces == 100
    assert Place.objects.get(pk=shelf.pk).name == shelf.name
    shelf.name, bag.pieces = "Bent", 1
    shelf.save()
    factories.make_bag()


@pytest.mark.parametrize("nth", [1, 2])
def test_it_is_there_again_after_the_connection_was_closed(nth: int, bag: Bag) -> None:
    assert Bag.objects.get() == bag
    connection.close()


def test_a_history_is_left_where_a_test_does_not_ask_for_it(history: History) -> None:
    # The tests above come after it and see none of this: askers of the shelf go later.
    assert Bag.objects.filter(lot=history.band_lot).exists()


def test_what_was_shared_proves(bag: Bag) -> None:
    assert factories.prove() == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("nth", [1, 2])
def test_what_is_committed_is_gone_after_its_test(nth: int) -> None:
    assert not Bag.objects.exists()
    assert not Operation.objects.exists()
    assert guards.missing_guards() == []
    assert factories.prove() == []
    assert set(Group.objects.values_list("name", flat=True)) == set(ROLES)
    factories.make_lot()
    Group.objects.all().delete()
