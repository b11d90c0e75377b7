"""A number that is scanned on top of any page leads to the page of what it names."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import User
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of

pytestmark = pytest.mark.django_db

FIND = reverse("kitting:find")


@pytest.fixture
def checker(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("checker"))


def leads(client: Client, text: str) -> str:
    return str(client.get(FIND, {"q": text})["Location"])


def test_each_number_leads_to_its_own_page(checker: Client) -> None:
    box = factories.make_labelled_box()
    bag = box.lines.get().bag
    run = factories.open_run(factories.make_protocol(factories.make_revision()))
    place = factories.make_place()
    for text, page, number in (
        (bag.lot.number, "kitting:lot-detail", bag.lot.number),
        (f" {bag.number.lower()}", "kitting:bag-detail", bag.number),
        (box.serial, "kitting:box-detail", box.serial),
        (run.number, "kitting:run-detail", run.number),
        (place.code.lower(), "kitting:place-detail", place.code),
        ("S1000001X", "dispatch:shipment-detail", "S1000001X"),
    ):
        assert leads(checker, str(text)) == reverse(page, args=[number]), text


def test_what_names_nothing_is_said(checker: Client) -> None:
    for text, words in (
        ("B9", "B9"),
        ("", "scan"),
        ("act-lot-check", "does nothing on this page"),
    ):
        answer = checker.get(FIND, {"q": text}, follow=True)
        assert answer.redirect_chain == [(reverse("kitting:day"), 302)]
        assert words in text_of(answer)


def test_who_may_not_trace_finds_pages_on_top_of_each(
    checker: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    day = reverse("kitting:day")
    assert f'action="{FIND}"' in text_of(checker.get(day))
    officer = client_for(factories.make_person("quality officer"))
    assert f'action="{FIND}"' not in text_of(officer.get(day))
    assert 'id="find"' in text_of(officer.get(day))
    lot = factories.make_lot().number
    trace = text_of(officer.get(reverse("dispatch:recall"), {"q": lot}))
    assert f'href="{FIND}?q={lot}" data-act="FIND"' in trace
    assert_sent_to_sign_in(Client().get(FIND))
    assert client_for(outsider).get(FIND).status_code == 403
    assert checker.post(FIND).status_code == 405


def test_a_mistyped_number_is_asked_about_and_never_taken(checker: Client) -> None:
    serial = str(factories.make_labelled_box().serial)
    wrong = serial.replace("0", "O")
    for text in (wrong, serial[1:], f"{serial[:4]}-{serial[4:]}"):
        answer = checker.get(FIND, {"q": text}, follow=True)
        assert answer.redirect_chain == [(reverse("kitting:day"), 302)], text
        assert f"Did you mean {serial}?" in text_of(answer)
    for text in (f"{wrong}9", "9".join(serial)):
        answer = checker.get(FIND, {"q": text}, follow=True)
        assert "Did you mean" not in text_of(answer)


def test_several_numbers_are_too_many(checker: Client) -> None:
    boxes = [str(factories.make_labelled_box().serial) for _ in range(2)]
    for between in (" ", ", ", ";"):
        answer = checker.get(FIND, {"q": between.join(boxes)}, follow=True)
        assert "one at a time" in text_of(answer)


def test_a_consignee_is_found_by_words_of_its_name(checker: Client) -> None:
    one = factories.make_consignee(name="Ėskmoor General")
    page = reverse("dispatch:consignee-detail", args=[one.code])
    for text in ("eskmoor", "gen ESK", one.code.lower()):
        assert leads(checker, text) == page
    other = factories.make_consignee(name="Eskmoor Hospice")
    to = leads(checker, "eskmoor")
    assert to == reverse("dispatch:consignees") + "?q=eskmoor"
    shown = text_of(checker.get(to))
    assert other.name in shown
    assert "2 consignees are called" in " ".join(shown.split())
    third = factories.make_consignee(name="Farrow")
    assert third.code not in shown
    for text in ("e", "%", "_", "eskmoor farrow"):
        assert leads(checker, text) == reverse("kitting:day")
