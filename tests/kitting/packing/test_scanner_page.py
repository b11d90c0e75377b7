"""The page that tries a scanner: what arrived, what it names, what is wrong."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.scanner import wanted
from kitting.models import Operation
from tests import factories
from tests.assertions import text_of

pytestmark = pytest.mark.django_db

PAGE = reverse("kitting:scanner")
END = ["Enter", 5]


@pytest.fixture
def client(client_for, make_user) -> Client:
    packer: Client = client_for(make_user("packer", group="packer"))
    return packer


def keys(text: str, *more: object) -> str:
    return json.dumps([*([sign, 5] for sign in text), *more])


@pytest.mark.smoke
def test_the_page_says_what_each_number_is_and_writes_nothing(client: Client) -> None:
    bag = factories.make_lot().bags.get()
    before = Operation.objects.count()
    sent = {"read": bag.number, "keys": keys(bag.number, END)}
    page = text_of(client.get(PAGE, sent))
    assert f"Bag {bag.number}" in page
    assert "<kbd>Enter</kbd><small>end</small>" in page
    assert "The kind of the code was not named" in page
    for text, said in (
        ("]C0ACT-CLOSE", "Close the box"),
        ("ACT-DANCE", "“ACT-DANCE” is no command"),
        ("B1000042X", "B1000042X"),
    ):
        sent = {"read": text, "keys": keys(text, END)}
        assert said in text_of(client.get(PAGE, sent))
    assert Operation.objects.count() == before


def test_what_is_wrong_stands_in_plain_words(client: Client) -> None:
    lost = "]d2" + wanted().replace("\x1d", "")
    page = text_of(client.get(PAGE, {"read": lost, "keys": keys(lost)}))
    assert "The code with two fields of this page" in page
    assert "No separator came between the two fields." in page
    assert "No key came at the end." in page
    other = "]d2" + wanted().replace("\x1d", "~")
    page = text_of(client.get(PAGE, {"read": other, "keys": keys(other, END)}))
    assert "“~” came where the separator belongs." in page
    assert "Take “~” as the separator on this device" in page
    chosen = {"read": other, "keys": keys(other, END), "stand_in": "~"}
    page = text_of(client.get(PAGE, chosen))
    assert "<kbd>GS</kbd><small>separator</small>" in page
    assert "Nothing, as far as this scan shows." in page


def test_without_its_script_the_page_says_what_it_did_not_see(client: Client) -> None:
    page = text_of(client.get(PAGE, {"read": "]C0ACT-NEXT"}))
    assert "The command label of this page" in page
    assert "this needs the page’s script" in page


def test_a_separator_is_told_by_its_place_on_the_keyboard(client: Client) -> None:
    first, second = wanted().split("\x1d")
    sent = [*json.loads(keys("]d2" + first)), ["+", 5, "BracketRight"]]
    sent += json.loads(keys(second, END))
    page = text_of(client.get(PAGE, {"keys": json.dumps(sent)}))
    assert "Nothing, as far as this scan shows." in page


@pytest.mark.parametrize(
    "bad", ["{", "7", '{"a": 1}', '["abcd"]', "[[1, 2, 3]]", "[[]]", "[" * 3_999]
)
def test_keys_that_cannot_be_read_count_as_unseen(client: Client, bad: str) -> None:
    page = text_of(client.get(PAGE, {"read": "]C0ACT-NEXT", "keys": bad}))
    assert "this needs the page’s script" in page


def test_a_part_is_answered_with_a_part(client: Client) -> None:
    sent = {"read": "A", "keys": keys("A", END)}
    part = client.get(PAGE, sent, headers={"HX-Request": "true"})
    assert part.content.decode().strip().startswith('<div id="trial">')


@pytest.mark.smoke
def test_who_may_not_pack_may_not_see_it(outsider, client_for) -> None:
    assert Client().get(PAGE).status_code == 302
    assert client_for(outsider).get(PAGE).status_code == 403
    assert "Try the scanner" in text_of(
        client_for(factories.make_person("manager", name="boss")).get(
            reverse("kitting:benches")
        )
    )
