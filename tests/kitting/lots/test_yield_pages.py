"""The page of yields, and the forms that question a yield that cannot be."""

from __future__ import annotations

import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from kitting.lots.services import lots, yields
from kitting.models import Link, Lot, User, Yield
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


@pytest.fixture
def packer(client_for: Clients) -> Client:
    return client_for(factories.make_person("packer"))


@pytest.fixture
def manager(client_for: Clients) -> Client:
    return client_for(factories.make_person("manager"))


def test_yields_are_set_up_by_the_manager_alone(
    client: Client, packer: Client, manager: Client
) -> None:
    assert_sent_to_sign_in(client.get("/set-up/yields/"))
    assert packer.get("/set-up/yields/").status_code == 403
    assert packer.post("/set-up/yields/drop/").status_code == 403
    assert_page(manager.get("/set-up/yields/"))


@pytest.fixture
def sheets() -> Lot:
    revision = factories.make_revision(
        factories.make_part(name="PETG sheet", needs_check=False, needs_clearing=False)
    )
    return factories.make_lot(revision, number="PETG-17", bags=(lots.NewBag(50),))


@pytest.mark.smoke
def test_a_yield_is_set_changed_and_taken_out_by_forms(
    manager: Client, sheets: Lot, hx: dict[str, str]
) -> None:
    page, visor = "/set-up/yields/", factories.make_part(name="Visor")
    assert_part(manager.get(page, headers=hx), "yields")
    sent = {
        "part": visor.pk,
        "material": sheets.part_id,
        "pieces": "40",
        "amount": "1",
        "op_key": str(uuid.uuid4()),
    }
    assert manager.post(page, sent).headers["Location"] == page
    assert "40 pieces" in manager.get(page).content.decode().replace("\xa0", " ")
    row = Yield.objects.get()
    itself = {**sent, "material": visor.pk, "op_key": str(uuid.uuid4())}
    assert_problem(manager.post(page, itself), "yield_of_itself")
    zero = {**sent, "amount": "0", "op_key": str(uuid.uuid4())}
    assert_problem(manager.post(page, zero), "min_value")
    drop = {"which": row.pk, "op_key": str(uuid.uuid4())}
    assert manager.post(f"{page}drop/", drop).headers["Location"] == page
    assert not Yield.objects.exists()
    gone = {**drop, "op_key": str(uuid.uuid4())}
    assert_problem(manager.post(f"{page}drop/", gone), "row_missing", status=404)


@pytest.mark.smoke
def test_an_impossible_yield_is_asked_about_on_the_form(
    manager: Client, sheets: Lot
) -> None:
    visor = factories.make_revision(factories.make_part(name="Visor"))
    yields.set_yield(
        part_id=visor.part_id,
        material_id=sheets.part_id,
        pieces=40,
        amount=1,
        sign=factories.sign(),
    )
    page = reverse("kitting:lot-new")
    sent = {
        "op_key": str(uuid.uuid4()),
        "revision": visor.pk,
        "made_on": "2026-01-14",
        "source": "Cutting table",
        "counts": "60 40",
        "container": "tote",
        "number": "V-1",
        "made_from": "PETG-17 2",
    }
    hidden = 'type="hidden" name="sure"'
    assert hidden in manager.get(page).content.decode()
    asked = manager.post(page, sent)
    assert_problem(asked, "yield_impossible")
    text = asked.content.decode()
    assert "100 pieces would be taken in" in text
    assert "give at most 80" in text
    assert hidden not in text
    assert 'name="sure"' in text
    assert not Lot.objects.filter(number="V-1").exists()
    sent |= {"sure": "Cut across two sheets", "op_key": str(uuid.uuid4())}
    done = manager.post(page, sent)
    assert done.status_code == 302
    assert "Cut across two sheets" in Link.objects.latest("seq").outcome
    shown = manager.get(done.headers["Location"]).content.decode()
    assert "At most 80 were possible." in shown
    assert "Confirmed as right: Cut across two sheets" in shown


def test_a_bag_too_many_is_asked_about_on_its_form(
    manager: Client, sheets: Lot
) -> None:
    visor = factories.make_revision(factories.make_part(name="Visor"))
    lot = factories.make_lot(
        visor, bags=(lots.NewBag(40),), made_from=((sheets.pk, 1),), close=False
    )
    yields.set_yield(
        part_id=visor.part_id,
        material_id=sheets.part_id,
        pieces=40,
        amount=1,
        sign=factories.sign(),
    )
    page = reverse("kitting:bag-new", args=[lot.number])
    sent = {
        "op_key": str(uuid.uuid4()),
        "pieces": "1",
        "container": "tote",
        "revision": visor.pk,
    }
    assert_problem(manager.post(page, sent), "yield_impossible")
    assert lot.bags.count() == 1
    sent |= {"sure": "Found one more", "op_key": str(uuid.uuid4())}
    assert manager.post(page, sent).status_code == 302
    assert lot.bags.count() == 2


def test_a_lot_shows_what_was_possible(manager: Client, sheets: Lot) -> None:
    visor = factories.make_revision(factories.make_part(name="Visor"))
    made_from = ((sheets.pk, 2),)
    lot = factories.make_lot(visor, bags=(lots.NewBag(76),), made_from=made_from)
    address = reverse("kitting:lot-detail", args=[lot.number])
    unknown = manager.get(address).content.decode()
    assert "No yield is set for this material." in unknown
    yields.set_yield(
        part_id=visor.part_id,
        material_id=sheets.part_id,
        pieces=40,
        amount=1,
        sign=factories.sign(),
    )
    text = text_of(manager.get(address)).replace("\xa0", " ")
    assert "76 pieces from 2 pieces of PETG sheet: 38.0 from each piece." in text
    assert "At most 80 were possible: 95 % of them were taken in." in text
