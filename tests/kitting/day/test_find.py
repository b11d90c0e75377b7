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
