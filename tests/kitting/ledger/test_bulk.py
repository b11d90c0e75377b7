"""Inserting many rows: the same rows as Django's own insert, and none by half."""

from __future__ import annotations

import gc

import pytest
from django.db import IntegrityError, connection, transaction

from kitting.ledger import bulk
from kitting.models import Bag, Lot
from tests import factories

pytestmark = pytest.mark.django_db


def bags_of(lot: Lot, count: int) -> list[Bag]:
    return [
        Bag(
            number=factories.unique("T"),
            lot=lot,
            pieces=at + 1,
            opened_at=factories.NOW,
        )
        for at in range(count)
    ]


@pytest.mark.parametrize("count", [bulk.FEW, bulk.FEW + 1, 3 * bulk.FEW])
def test_rows_are_inserted_with_their_ids_and_values(count: int) -> None:
    lot = factories.make_lot()
    bags = bags_of(lot, count)
    with transaction.atomic():
        bulk.insert(bags)
    found = list(Bag.objects.filter(pk__in=[bag.pk for bag in bags]).order_by("pk"))
    assert [
        (bag.pk, bag.number, bag.lot_id, bag.pieces, bag.opened_at) for bag in found
    ] == [(bag.pk, bag.number, lot.pk, bag.pieces, factories.NOW) for bag in bags]
    assert len({bag.pk for bag in bags}) == count


def test_the_next_row_does_not_get_an_id_again() -> None:
    lot = factories.make_lot()
    bags = bags_of(lot, 2 * bulk.FEW)
    with transaction.atomic():
        bulk.insert(bags)
    after = bags_of(lot, 1)[0]
    after.save()
    assert after.pk > max(bag.pk for bag in bags)


def test_a_row_finds_the_id_of_what_was_saved_after_it_was_made() -> None:
    lot = factories.make_lot()
    fresh = Lot(
        number="LATER",
        source="Bench",
        source_key="bench",
        part=lot.part,
        revision=lot.revision,
        made_on=factories.TODAY,
    )
    bags = bags_of(fresh, bulk.FEW + 1)
    fresh.save()
    with transaction.atomic():
        bulk.insert(bags)
    assert fresh.bags.count() == bulk.FEW + 1


def test_one_bad_row_leaves_none() -> None:
    lot = factories.make_lot()
    bags = bags_of(lot, bulk.FEW + 1)
    bags[-1].number = bags[0].number
    with pytest.raises(IntegrityError), transaction.atomic():
        bulk.insert(bags)
    assert lot.bags.count() == 1


def test_a_fresh_row_is_as_its_model_makes_it() -> None:
    lot = factories.make_lot()
    given = {"number": "B1000042T", "lot": lot, "pieces": 7, "place_id": 3}
    fresh, made = bulk.fresh(Bag, **given), Bag(**given)
    kept = [dict(vars(row)) for row in (fresh, made)]
    states = [vars(each.pop("_state")) for each in kept]
    assert kept[0] == kept[1]
    assert states[0]["fields_cache"] == states[1]["fields_cache"] == {"lot": lot}
    assert fresh._state.adding
    assert bulk.fresh(Bag, number="B1000042T").pieces == Bag().pieces
    with pytest.raises(TypeError, match="colour"):
        bulk.fresh(Bag, colour="red")


def test_nothing_is_no_error() -> None:
    before = Bag.objects.count()
    with transaction.atomic():
        bulk.insert([])
    assert Bag.objects.count() == before


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_it_refuses() -> None:
    assert not connection.in_atomic_block
    with pytest.raises(RuntimeError, match="open transaction"):
        bulk.insert([Bag()])


def test_the_search_for_garbage_goes_on_afterwards_as_before() -> None:
    assert gc.isenabled()
    with bulk.undisturbed():
        with bulk.undisturbed():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()


def test_the_search_for_garbage_goes_on_after_a_failure() -> None:
    def fail() -> None:
        with bulk.undisturbed():
            raise ValueError("halfway")

    with pytest.raises(ValueError, match="halfway"):
        fail()
    assert gc.isenabled()


# -- Changing rows ------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 2 * bulk.FEW])
def test_what_changed_is_written_back_and_nothing_else(count: int) -> None:
    bags, place = bags_of(factories.make_lot(), count), factories.make_place()
    with transaction.atomic():
        bulk.insert(bags)
        for bag in bags:
            bag.pieces, bag.place, bag.container = bag.pieces + 7, place, "unsaved"
        bulk.update(bags, ["pieces", "place"])
    found = Bag.objects.filter(pk__in=[bag.pk for bag in bags]).order_by("pk")
    assert [(bag.pieces, bag.place_id, bag.container) for bag in found] == [
        (at + 8, place.pk, Bag().container) for at in range(count)
    ]


def test_changing_a_row_that_has_gone_is_an_error() -> None:
    bag = bags_of(factories.make_lot(), 1)[0]
    bag.pk = 1
    with pytest.raises(RuntimeError, match="not there"), transaction.atomic():
        bulk.update([bag], ["pieces"])


@pytest.mark.parametrize("count", [1, bulk.FEW + 1])
def test_a_word_in_the_place_of_a_number_is_refused(count: int) -> None:
    """SQLite would keep it as it is."""
    bags = bags_of(factories.make_lot(), count)
    bags[-1].pieces = "many"  # type: ignore[assignment]
    with pytest.raises(ValueError, match="many"), transaction.atomic():
        bulk.insert(bags)
