"""A place that is closed, or changed twice, at the moment at which it is used."""

from __future__ import annotations

import threading

import pytest
from django.db import connection, transaction

from kitting.domain.errors import LotwardError
from kitting.ledger.coded import mark_of
from kitting.lots.services import lots
from kitting.models import Bag, Place, User
from kitting.places.queries import bags_at
from kitting.places.services import places, set_up
from tests import factories
from tests.concurrency.threads import Results, at_once

pytestmark = pytest.mark.django_db(transaction=True)

TURNS = 6
"""A race is tried so often: each time another of the two may be first."""


@pytest.fixture
def person(transactional_db: None) -> User:
    return factories.sign().by


@pytest.fixture
def bags(transactional_db: None) -> list[Bag]:
    many = tuple(lots.NewBag(pieces=10) for _ in range(TURNS))
    return list(factories.make_lot(factories.make_revision(), bags=many).bags.all())


def change(place: Place, person: User, name: str = "", seen: str = "") -> object:
    return set_up.change_place(
        code=place.code,
        name=name or place.name,
        active=bool(name),
        seen=seen,
        sign=factories.sign(person),
    )


def put(bag: Bag, place: Place, person: User) -> object:
    sign = factories.sign(person)
    return places.put_bag(bag_id=bag.pk, place_id=place.pk, sign=sign)


def codes(results: Results) -> list[str]:
    assert all(isinstance(error, LotwardError) for error in results.errors), results.of
    return [error.code for error in results.errors]  # type: ignore[attr-defined]


def test_a_place_is_closed_or_takes_the_bag(bags: list[Bag], person: User) -> None:
    for bag in bags:
        place = factories.make_place()
        factories.seal_set_up()
        results = at_once(
            [
                lambda at=place: change(at, person),
                lambda b=bag, at=place: put(b, at, person),
            ]  # type: ignore[misc]
        )
        place.refresh_from_db()
        expected = "place_not_empty" if place.active else "place_closed"
        assert codes(results) == [expected]
        assert bags_at(place).exists() == place.active
    assert factories.prove() == []


@pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
def test_control_without_the_gate_a_bag_stands_at_a_closed_place(
    bags: list[Bag], person: User
) -> None:
    between, place = threading.Barrier(2), factories.make_place()

    def close_unlocked() -> bool:
        with transaction.atomic():
            empty = not bags_at(place).exists()
            between.wait(20)
            between.wait(20)
            Place.objects.filter(pk=place.pk).update(active=False)
        return empty

    def put_meanwhile() -> None:
        between.wait(20)
        put(bags[0], place, person)
        between.wait(20)

    assert at_once([close_unlocked, put_meanwhile]).of == [True, None]
    place.refresh_from_db()
    assert (place.active, bags_at(place).count()) == (False, 1)


def test_of_two_who_call_a_place_something_else_one_hears_of_it(person: User) -> None:
    for turn in range(TURNS):
        place = factories.make_place()
        factories.seal_set_up()
        seen = mark_of(place)
        results = at_once(
            [
                lambda at=place, name=name: change(at, person, name, seen)  # type: ignore[misc]  # noqa: B023
                for name in (f"Rack {turn}", f"Shelf {turn}")
            ]
        )
        assert codes(results) == ["page_is_old"]
        place.refresh_from_db()
        assert place.name in {f"Rack {turn}", f"Shelf {turn}"}
    assert factories.prove() == []
