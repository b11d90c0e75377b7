"""The first hour: from an empty database to a workshop that packs, by its own word."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import Workshop
from lotward.catalogue.loading import load_catalogue
from lotward.demo import masterdata
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of
from tests.factories import sign

pytestmark = pytest.mark.django_db

PAGE = reverse("first-hour")


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


def missing(client: Client) -> list[str]:
    steps = client.get(PAGE).context["missing"]
    return [str(step.what) for step in steps]


def test_only_managers_see_it(make_user: Any, client_for: Any, outsider: Any) -> None:
    assert_sent_to_sign_in(Client().get(PAGE))
    assert client_for(outsider).get(PAGE).status_code == 403
    packer = client_for(make_user("packer", group="packer"))
    assert packer.get(PAGE).status_code == 403


@pytest.mark.smoke
def test_an_empty_workshop_is_told_what_comes_first(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(15):
        shown = text_of(manager.get(PAGE))
    assert "10 things are missing." in shown
    assert "The next one: The maker’s name and address." in shown
    assert f'href="{reverse("kitting:workshop")}"' in shown
    # What only a disinfected part asks for is none while there is none.
    assert "A line for disinfection" in shown
    assert "A line for disinfection" not in missing(manager)


def test_every_page_that_it_leads_to_is_there(manager: Client) -> None:
    steps = manager.get(PAGE).context["steps"]
    assert len(steps) > 10
    for address in {step.address for step in steps if step.address}:
        assert manager.get(address).status_code in (200, 403), address


def test_what_the_file_brings_is_there_and_the_rest_is_named(manager: Client) -> None:
    load_catalogue(data=masterdata.read(), sign=sign())
    assert missing(manager) == [
        "A quality officer",
        "Signed protocols for every part that is disinfected",
    ]
    factories.make_person("quality officer")
    Workshop.objects.update(address="")
    assert missing(manager) == [
        "The maker’s name and address",
        "Signed protocols for every part that is disinfected",
    ]


def test_a_workshop_that_has_all_takes_its_first_lot_in(manager: Client) -> None:
    data = masterdata.read()
    for part in data["parts"]:
        part["needs_clearing"] = False
    load_catalogue(data=data, sign=sign())
    factories.make_person("quality officer")
    assert missing(manager) == []
    shown = text_of(manager.get(PAGE))
    assert "Nothing is missing. Take in the first lot." in shown
    assert f'href="{reverse("kitting:lot-new")}"' in shown
    factories.make_lot()
    shown = text_of(manager.get(PAGE))
    assert "Nothing is missing." in shown
    assert "first lot" not in shown
