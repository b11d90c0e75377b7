"""Places are added, changed and closed on pages, by managers, each an act."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.disinfection.queries.runs import lines
from kitting.disinfection.services import lamps
from kitting.domain.errors import LotwardError, Missing
from kitting.ledger.coded import mark_of
from kitting.lots.services.lots import NewBag
from kitting.models import Carrier, Operation, Place
from kitting.models.catalogue import PlaceKind
from kitting.places.services import carriers, places
from kitting.places.services.set_up import add_place, change_place
from lotward.catalogue.loading import load_catalogue
from tests import factories
from tests.assertions import (
    assert_page,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import sign

pytestmark = pytest.mark.django_db

NEW = reverse("kitting:place-new")
LIST = reverse("kitting:places")
READY = {"code": "READY-1", "name": "Boxes ready", "kind": "boxes ready"}


def at(code: str) -> str:
    return reverse("kitting:place-change", args=[code])


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


def close(place: Place, **more: Any) -> Any:
    said = {"code": place.code, "name": place.name, "active": False, **more}
    return change_place(**said, sign=sign())


def refused(call: Any, *args: Any, **values: Any) -> LotwardError:
    before = Operation.objects.count(), list(Place.objects.values())
    with pytest.raises(LotwardError) as caught:
        call(*args, **values)
    assert (Operation.objects.count(), list(Place.objects.values())) == before
    return caught.value


# -- Who may --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "role", ["packer", "checker", "line operator", "clerk", "quality officer"]
)
def test_only_managers_set_places_up(
    role: str, make_user: Any, client_for: Any, outsider: Any
) -> None:
    place = factories.make_place()
    other = client_for(make_user("other", group=role))
    for path in (NEW, at(place.code)):
        assert_sent_to_sign_in(Client().get(path))
        assert client_for(outsider).get(path).status_code == 403
        assert other.get(path).status_code == 403
        assert other.post(path, sent(**READY)).status_code == 403
    assert "Add a place" not in text_of(other.get(LIST))
    assert list(Place.objects.all()) == [place]


def test_a_place_that_is_not_there_is_404(manager: Client) -> None:
    assert manager.get(at("NONE")).status_code == 404
    with pytest.raises(Missing):
        change_place(code="NONE", name="None", active=True, sign=sign())


# -- Adding ---------------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.parametrize("kind", list(PlaceKind))
def test_a_place_of_every_kind_is_added(kind: str, manager: Client) -> None:
    assert "Add a place" in text_of(manager.get(LIST))
    assert_page(manager.get(NEW))
    once = sent(code="new-1", name="New one", kind=kind)
    for _ in range(2):  # the same key: once
        answer = manager.post(NEW, once)
        assert answer["Location"] == reverse("kitting:place-detail", args=["NEW-1"])
    [place] = Place.objects.all()
    assert (place.code, place.name, place.kind) == ("NEW-1", "New one", kind)
    assert Operation.objects.filter(name="add_place").count() == 1
    shown = text_of(manager.get(answer["Location"]))
    assert "New one is added. Print its label." in shown
    assert f"NEW-1, {kind}" in shown
    assert factories.prove() == []


def test_what_cannot_be_a_place_is_said_and_nothing_is_kept(manager: Client) -> None:
    Place.objects.create(code="shelf-9", name="Shelf 9", kind="shelf")
    for changes, words in (
        ({"code": ""}, "code"),
        ({"code": "A PLACE"}, "is no code"),
        ({"code": "A" * 13}, "12"),
        ({"code": "shelf-9"}, "Code SHELF-9 is in use already"),
        ({"name": " "}, "name"),
        ({"kind": "cellar"}, "kind of place"),
    ):
        answer = manager.post(NEW, sent(**{**READY, **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower()
    assert not Operation.objects.filter(name="add_place").exists()
    assert Place.objects.count() == 1


def test_the_catalogue_says_the_same_of_what_the_pages_made() -> None:
    add_place(**READY, sign=sign())
    done = load_catalogue(data={"places": [READY]}, sign=sign())
    assert done.places == 0
    close(Place.objects.get())
    load_catalogue(data={"places": [READY]}, sign=sign())
    assert Place.objects.get().active is False


# -- Changing -------------------------------------------------------------------------


def test_a_place_that_was_never_used_becomes_another_kind(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    place = factories.make_place()
    page = at(place.code)
    with django_assert_max_num_queries(15):
        assert "it can still become another kind" in text_of(manager.get(page))
    said = {"seen": mark_of(place), "active": "on"}
    answer = manager.post(page, sent(name="Cage", kind="quarantine", **said))
    assert answer["Location"] == reverse("kitting:place-detail", args=[place.code])
    place.refresh_from_db()
    assert (place.name, place.kind, place.active) == ("Cage", "quarantine", True)
    # Somebody else had the page open since before.
    late = manager.post(page, sent(name="Shelf", kind="shelf", **said))
    assert late.status_code == 409
    assert "has changed since this page was loaded" in text_of(late)
    assert Operation.objects.filter(name="change_place").count() == 1
    assert factories.prove() == []


@pytest.mark.smoke
def test_what_was_put_there_rests_on_its_kind(manager: Client) -> None:
    place, other = factories.make_place(), factories.make_place()
    bag = factories.make_lot(bags=(NewBag(9),)).bags.get()
    for there in (place, other):
        places.put_bag(bag_id=bag.pk, place_id=there.pk, sign=sign())
    values = {"code": place.code, "name": "Cage", "active": True, "sign": sign()}
    error = refused(change_place, **values, kind="quarantine")
    assert_refused(error, "place_kind_stays", place="Cage", kind="shelf")
    assert "It stays a place of the kind shelf" in text_of(manager.get(at(place.code)))
    # On the page there is no kind to choose, and one that is sent does nothing.
    manager.post(at(place.code), sent(name="Old", kind="quarantine", active="on"))
    place.refresh_from_db()
    assert (place.name, place.kind) == ("Old", "shelf")


@pytest.mark.parametrize("what", ["carrier", "box", "bench", "line", "lamp"])
def test_whatever_names_a_place_rests_on_its_kind(what: str) -> None:
    place = thing_at(what)
    values = {"code": place.code, "name": "Cage", "active": True, "sign": sign()}
    assert refused(change_place, **values, kind="dock").code == "place_kind_stays"


def thing_at(what: str) -> Place:
    """A place where something is, or is done."""
    if what == "bench":
        return factories.make_bench().place
    if what == "line":
        return factories.open_run(factories.make_protocol()).line
    if what == "lamp":
        line = factories.make_place("line")
        on = {"on": factories.TODAY, "rated_hours": None}
        lamps.fit_lamp(line_id=line.pk, name="Lamp 1", **on, sign=sign())
        return line
    place = factories.make_place()
    if what == "carrier":
        made = carriers.make_carrier(name="Pole", sign=sign())
        row = Carrier.objects.get(number=made.carrier)
        carriers.put_carrier(carrier_id=row.pk, place_id=place.pk, sign=sign())
    else:
        box = factories.make_labelled_box()
        places.put_box(box_id=box.pk, place_id=place.pk, sign=sign())
    return place


# -- Closing --------------------------------------------------------------------------


def test_a_place_is_closed_only_when_it_is_empty() -> None:
    place, other = factories.make_place(), factories.make_place()
    bag = factories.make_lot(bags=(NewBag(9),)).bags.get()
    places.put_bag(bag_id=bag.pk, place_id=place.pk, sign=sign())
    error = refused(close, place)
    there = {"bags": 1, "boxes": 0, "carriers": 0}
    assert_refused(error, "place_not_empty", place=place.name, **there)
    places.put_bag(bag_id=bag.pk, place_id=other.pk, sign=sign())
    close(place)
    error = refused(places.put_bag, bag_id=bag.pk, place_id=place.pk, sign=sign())
    assert_refused(error, "place_closed", place=place.name)
    close(place, active=True)
    places.put_bag(bag_id=bag.pk, place_id=place.pk, sign=sign())
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("what", "code"),
    [
        ("carrier", "place_not_empty"),
        ("box", "place_not_empty"),
        ("bench", "place_has_bench"),
        ("line", "place_has_run"),
    ],
)
def test_a_place_where_something_is_stays_open(what: str, code: str) -> None:
    assert refused(close, thing_at(what)).code == code


def test_a_closed_place_is_offered_nowhere_and_keeps_its_page(manager: Client) -> None:
    place, line = factories.make_place(), factories.make_place("line")
    carrier = carriers.make_carrier(name="Pole", sign=sign()).carrier
    for each in (place, line):
        close(each)
    row = Carrier.objects.get(number=carrier)
    said = {"carrier_id": row.pk, "place_id": place.pk, "sign": sign()}
    assert refused(carriers.put_carrier, **said).code == "place_closed"
    bags = (NewBag(9, place_id=place.pk),)
    assert refused(factories.make_lot, bags=bags).code == "place_closed"
    assert [each.place for each in lines()] == []
    for name in ("put-away", "lot-new", "lamp-fit"):
        page = manager.get(reverse(f"kitting:{name}"))
        assert place.name not in text_of(page)
        assert line.name not in text_of(page)
    assert "closed" in text_of(manager.get(LIST))
    there = manager.get(reverse("kitting:place-detail", args=[place.code]))
    assert f"{place.code}, shelf, closed" in text_of(there)
    assert "Put things there" not in text_of(there)
    assert place.name in text_of(manager.get(at(place.code)))
