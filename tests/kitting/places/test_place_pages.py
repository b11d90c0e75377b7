"""Pages of putting away: scans, places, carriers and yields, for whoever may."""

from __future__ import annotations

import csv
import io
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from kitting.ledger import holds
from kitting.ledger.setup import ROLES
from kitting.models import Bag, Carrier, Movement, Place, User
from kitting.places.services import carriers, places
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)

pytestmark = pytest.mark.django_db

Clients = Callable[[User], Client]
PAGE = "/put-away/"


@pytest.fixture
def packer(client_for: Clients) -> Client:
    return client_for(factories.make_person("packer"))


@pytest.fixture
def manager(client_for: Clients) -> Client:
    return client_for(factories.make_person("manager"))


@pytest.fixture
def shelf() -> Place:
    return Place.objects.create(code="SHELF-Q", name="Shelf Q", kind="shelf")


@pytest.fixture
def trolley() -> Carrier:
    made = carriers.make_carrier(name="Blue trolley", sign=factories.sign())
    return Carrier.objects.get(number=made.carrier)


def values(read: str, hand: str = "", **changes: Any) -> dict[str, Any]:
    return {"read": read, "hand": hand, "op_key": str(uuid.uuid4()), **changes}


def said(response: Any) -> str:
    return str(response.context["said"])


def is_workbook(response: Any) -> bool:
    # An XLSX file is a ZIP archive: it begins with PK (ISO/IEC 29500, part 2).
    return b"".join(response.streaming_content).startswith(b"PK\x03\x04")


# -- Who may ------------------------------------------------------------------------


@pytest.mark.parametrize("path", [PAGE, "/carriers/new/"])
def test_only_who_puts_away_sees_these_pages(
    path: str, client: Client, client_for: Clients, outsider: User
) -> None:
    assert_sent_to_sign_in(client.get(path))
    assert client_for(outsider).get(path).status_code == 403
    for role in ROLES:
        assert client_for(factories.make_person(role)).get(path).status_code == 200


@pytest.mark.parametrize("path", ["/places/", "/carriers/", "/places/SHELF-Q/"])
def test_who_sees_the_work_sees_what_stands_where(
    path: str, shelf: Place, client: Client, client_for: Clients, outsider: User
) -> None:
    assert_sent_to_sign_in(client.get(path))
    assert client_for(outsider).get(path).status_code == 403
    assert_page(client_for(factories.make_person("quality officer")).get(path))


@pytest.mark.parametrize("path", ["/places/NONE/", "/carriers/C1000001X/"])
def test_what_is_not_there_is_not_found(path: str, packer: Client) -> None:
    assert packer.get(path).status_code == 404


# -- Scans --------------------------------------------------------------------------


def test_a_plain_browser_is_sent_on_with_the_place_in_hand(
    packer: Client, shelf: Place
) -> None:
    bag = factories.make_bag()
    first = packer.post(PAGE, values(bag.number))
    assert first.headers["Location"] == f"{PAGE}?hand={bag.number}"
    shown = packer.get(first.headers["Location"])
    assert f'name="hand" value="{bag.number}"' in shown.content.decode()
    second = packer.post(PAGE, values("shelf-q", bag.number), follow=True)
    assert second.request["QUERY_STRING"] == "hand=SHELF-Q"
    text = text_of(second)
    assert f"Bag {bag.number} is at Shelf Q now." in text
    assert "Everything scanned now goes to Shelf Q." in text
    bag.refresh_from_db()
    assert bag.place == shelf


def test_htmx_gets_the_part_with_the_field_ready_for_the_next(
    packer: Client, shelf: Place, hx: dict[str, str]
) -> None:
    assert_part(packer.get(PAGE, headers=hx), "put-away")
    bag = factories.make_bag()
    response = packer.post(PAGE, values(bag.number, shelf.code), headers=hx)
    assert_part(response, "put-away")
    assert said(response) == f"Bag {bag.number} is at Shelf Q now."
    assert "autofocus" in response.content.decode()
    again = packer.post(PAGE, values(bag.number, shelf.code), headers=hx)
    assert said(again) == f"Bag {bag.number} is at Shelf Q already."


@pytest.mark.smoke
def test_a_scan_sent_twice_is_one_act(
    packer: Client, trolley: Carrier, hx: dict[str, str]
) -> None:
    bag = factories.make_bag()
    once = values(bag.number, trolley.number)
    answers = [said(packer.post(PAGE, once, headers=hx)) for _ in range(2)]
    assert answers[0] == answers[1]
    assert "is on carrier" in answers[0]
    assert trolley.bags.count() == 1
    other = values(factories.make_bag().number, trolley.number, op_key=once["op_key"])
    reused = packer.post(PAGE, other)
    assert_problem(reused, "operation_key_reused", status=409)


def test_a_carrier_says_what_it_did(
    packer: Client, trolley: Carrier, shelf: Place, hx: dict[str, str]
) -> None:
    first, other = (
        factories.make_bag(),
        carriers.make_carrier(name="Pole", sign=factories.sign()),
    )

    def scan(read: str, hand: str = "") -> str:
        return said(packer.post(PAGE, values(read, hand), headers=hx))

    number = trolley.number
    assert scan(number) == (
        f"Carrier {number} (Blue trolley, 0\N{NO-BREAK SPACE}bags) has no place yet."
        " Scan its place, or a bag onto it."
    )
    assert scan(first.number, number) == (
        f"Bag {first.number} is on carrier {number}, which has 1\N{NO-BREAK SPACE}bag now."
    )
    assert scan(shelf.code, number) == (
        f"Carrier {number} with 1\N{NO-BREAK SPACE}bag is at Shelf Q now."
    )
    assert scan(number, shelf.code) == (
        f"Carrier {number} with 1\N{NO-BREAK SPACE}bag is at Shelf Q already."
    )
    assert f"is on carrier {number} at Shelf Q." in scan(first.number)
    assert scan(first.number, other.carrier) == (
        f"Bag {first.number} is on carrier {other.carrier} now, and off {number}."
        " It has 1\N{NO-BREAK SPACE}bag."
    )
    assert scan(shelf.code, first.number).endswith(
        f"It is off carrier {other.carrier}."
    )
    scan(first.number, number)
    assert scan(first.number, number) == (
        f"Bag {first.number} is off carrier {number}, which has 0\N{NO-BREAK SPACE}bags now."
    )
    assert scan(number, number) == f"Carrier {number} is no longer in hand."
    assert scan(shelf.code, shelf.code) == "Shelf Q is no longer in hand."


def test_any_number_is_answered_with_where_it_stands(
    packer: Client, shelf: Place, hx: dict[str, str]
) -> None:
    def find(read: str) -> str:
        response = packer.post(PAGE, values(read), headers=hx)
        assert response.status_code == 200
        return said(response)

    box, bag = factories.make_labelled_box(), factories.make_bag(pieces=40)
    before = Movement.objects.count()
    assert f"is at {box.bench.place.name}" in find(str(box.serial))
    assert find(bag.number).endswith("Scan its place, or its carrier.")
    assert "has no place yet" in find(bag.number)
    assert find(shelf.code) == (
        "Shelf Q has 0\N{NO-BREAK SPACE}bags and 0\N{NO-BREAK SPACE}boxes. Scan what goes there."
    )
    run = factories.open_run(factories.make_protocol())
    assert run.line.name in find(run.number)
    assert "1\N{NO-BREAK SPACE}bag at no place" in find(bag.lot.number)
    places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=factories.sign())
    assert "1\N{NO-BREAK SPACE}bag at Shelf Q" in find(bag.lot.number)
    empty = factories.make_lot(bags=(), close=False)
    assert "no bag with anything in it" in find(empty.number)
    used = box.lines.get().bag
    assert find(used.number).endswith("is used up and has no place.")
    factories.send(factories.make_shipment(box))
    assert find(str(box.serial)).endswith("is not here any more.")
    assert Movement.objects.count() == before + 1


@pytest.mark.parametrize(
    ("read", "code"),
    [
        ("", "required"),
        ("  ", "scan_empty"),
        ("B1000042A", "number_check_wrong"),
        ("Γενικό Νοσοκομείο", "nothing_has_number"),
        ("'; DROP TABLE kitting_bag; --", "nothing_has_number"),
        ("x" * 201, "max_length"),
    ],
)
def test_bad_scans_get_a_sentence_and_keep_the_place_in_hand(
    read: str, code: str, packer: Client, shelf: Place, hx: dict[str, str]
) -> None:
    plain = packer.post(PAGE, values(read, shelf.code))
    assert_problem(plain, code)
    part = packer.post(PAGE, values(read, shelf.code), headers=hx)
    assert_part(part, "put-away", status=422)
    for response in (plain, part):
        text = response.content.decode()
        assert 'name="hand" value="SHELF-Q"' in text
        assert 'role="alert"' in text
    assert not Movement.objects.exists()


@pytest.mark.smoke
def test_a_scan_without_a_key_is_refused(packer: Client, shelf: Place) -> None:
    response = packer.post(PAGE, {"read": shelf.code, "op_key": "none"})
    assert_problem(response, "invalid")


@pytest.mark.parametrize("hand", ["nothing", "²", "x" * 300, "L1000001A"])
def test_an_odd_hand_in_the_address_is_nothing_in_hand(
    hand: str, packer: Client
) -> None:
    response = packer.get(PAGE, {"hand": hand})
    assert_page(response)
    assert response.context["hand"] is None


def test_the_page_shows_what_is_in_hand(
    packer: Client, shelf: Place, trolley: Carrier
) -> None:
    bag, box = factories.make_bag(pieces=40), factories.make_labelled_box()
    carriers.load_bag(carrier_id=trolley.pk, bag_id=bag.pk, sign=factories.sign())
    for text, words in (
        (shelf.code, "Place in hand"),
        (trolley.number, f"Take bag {bag.number} off"),
        (bag.number, "Bag in hand"),
        (str(box), "Box in hand"),
        ("", "Nothing in hand"),
    ):
        assert words in packer.get(PAGE, {"hand": text}).content.decode()


# -- Places -------------------------------------------------------------------------


def stand(place: Place) -> tuple[Bag, Bag]:
    held, free = factories.make_bag(pieces=40), factories.make_bag(pieces=7)
    for bag in (held, free):
        places.put_bag(bag_id=bag.pk, place_id=place.pk, sign=factories.sign())
    holds.place_hold(target="bag", value=held.pk, reason="Crack", sign=factories.sign())
    return held, free


def rows_of(response: Any) -> list[dict[str, str]]:
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_places_are_listed_with_what_stands_there(
    packer: Client, shelf: Place, hx: dict[str, str]
) -> None:
    stand(shelf)
    box = factories.make_labelled_box()
    page = packer.get("/places/")
    assert_page(page)
    assert_part(packer.get("/places/", headers=hx), "place-table")
    rows = {row["place"]: row for row in rows_of(packer.get("/places/?as=csv"))}
    assert (rows["SHELF-Q"]["bags"], rows["SHELF-Q"]["pieces"]) == ("2", "47")
    at_bench = rows[box.bench.place.code]
    assert (at_bench["boxes"], at_bench["sets"]) == ("1", str(box.size.sets))
    assert is_workbook(packer.get("/places/?as=xlsx"))


@pytest.mark.smoke
def test_a_place_lists_what_stands_there_with_filters_in_the_address(
    packer: Client, shelf: Place, trolley: Carrier, hx: dict[str, str]
) -> None:
    held, free = stand(shelf)
    carriers.put_carrier(
        carrier_id=trolley.pk, place_id=shelf.pk, sign=factories.sign()
    )
    address = reverse("kitting:place-detail", args=[shelf.code])
    assert_part(packer.get(address, headers=hx), "place")
    text = packer.get(address).content.decode()
    assert "Blue trolley" in text
    assert held.number in text.replace('</span><span class="four">', "")
    part = held.lot.part.code
    rows = rows_of(packer.get(address, {"part": part, "as": "csv"}))
    assert [(row["number"], row["held"], row["in it"]) for row in rows] == [
        (held.number, "held", "40")
    ]
    both = rows_of(packer.get(address, {"stage": "cleared", "as": "csv"}))
    assert {row["number"] for row in both} == {held.number, free.number}
    assert is_workbook(packer.get(address, {"as": "xlsx"}))
    nothing = packer.get(address, {"what": "boxes"}).content.decode()
    assert "Nothing matches the sentence below." in nothing
    odd = packer.get(address, {"what": "ships", "part": "²", "stage": "x"})
    assert len(odd.context["shown"].bags) == 2


def test_a_full_place_costs_no_more_queries_than_an_empty_one(
    packer: Client,
    shelf: Place,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    for _ in range(3):
        stand(shelf)
    address = reverse("kitting:place-detail", args=[shelf.code])
    with django_assert_max_num_queries(16):
        packer.get(address)
    with django_assert_max_num_queries(10):
        packer.get("/places/")


def test_a_place_with_a_slash_in_its_code_has_a_page(packer: Client) -> None:
    Place.objects.create(code="A/1", name="Aisle A, shelf 1", kind="shelf")
    assert_page(packer.get(reverse("kitting:place-detail", args=["A/1"])))


# -- Carriers -----------------------------------------------------------------------


@pytest.mark.smoke
def test_a_carrier_is_made_by_the_form(packer: Client, hx: dict[str, str]) -> None:
    page = "/carriers/new/"
    assert_part(packer.get(page, headers=hx), "carrier-new")
    sent = {"name": "Blue trolley", "op_key": str(uuid.uuid4())}
    first, again = packer.post(page, sent), packer.post(page, sent)
    carrier = Carrier.objects.get()
    address = reverse("kitting:carrier-detail", args=[carrier.number])
    assert first.headers["Location"] == again.headers["Location"] == address
    assert_page(packer.get(address))
    assert_part(packer.get(address, headers=hx), "carrier")
    blank = {"name": "", "op_key": str(uuid.uuid4())}
    assert_problem(packer.post(page, blank), "required")


def test_carriers_are_listed_with_their_bags(
    packer: Client, trolley: Carrier, shelf: Place, hx: dict[str, str]
) -> None:
    bag = factories.make_bag(pieces=40)
    carriers.load_bag(carrier_id=trolley.pk, bag_id=bag.pk, sign=factories.sign())
    carriers.put_carrier(
        carrier_id=trolley.pk, place_id=shelf.pk, sign=factories.sign()
    )
    assert_part(packer.get("/carriers/", headers=hx), "carrier-table")
    (row,) = rows_of(packer.get("/carriers/?as=csv"))
    assert row == {
        "carrier": trolley.number,
        "name": "Blue trolley",
        "place": "SHELF-Q",
        "bags": "1",
        "in them": "40",
    }
    assert is_workbook(packer.get("/carriers/?as=xlsx"))


# -- Recall, lots and boxes ---------------------------------------------------------


def test_a_recall_of_a_place_or_carrier_leads_to_its_page(
    manager: Client, shelf: Place, trolley: Carrier
) -> None:
    to = manager.get("/recall/", {"q": "shelf-q"})
    assert to.headers["Location"] == "/places/SHELF-Q/"
    to = manager.get("/recall/", {"q": trolley.number})
    assert to.headers["Location"] == f"/carriers/{trolley.number}/"


def test_the_page_of_a_box_and_its_recall_name_its_place(
    manager: Client, shelf: Place
) -> None:
    box = factories.make_labelled_box()
    places.put_box(box_id=box.pk, place_id=shelf.pk, sign=factories.sign())
    address = reverse("kitting:box-detail", args=[str(box)])
    assert "Shelf Q" in manager.get(address).content.decode()
    (row,) = rows_of(manager.get("/recall/", {"q": str(box), "as": "csv"}))
    assert row["place"] == "Shelf Q"
