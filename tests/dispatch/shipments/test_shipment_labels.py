"""Labels of a shipment, and those that no longer say what is so."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from dispatch.models import Shipment
from dispatch.shipments import services
from dispatch.shipments.labels import numbers_of
from kitting.models import Box, User
from tests import factories
from tests.assertions import assert_sent_to_sign_in
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.printing.pages.asking import keyed, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("manager"))


@once_a_module
def at() -> Packing:
    return make_packing()


# -- Shipments ---------------------------------------------------------------------------


def labelled_boxes(at: Packing, count: int) -> list[Box]:
    return [factories.make_labelled_box(at.size, at.bench) for _ in range(count)]


def on_board(shipment: Shipment, box: Box) -> None:
    services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())


@pytest.mark.smoke
def test_a_shipment_prints_labels_for_all_its_boxes(
    client: Client, at: Packing
) -> None:
    first, second = labelled_boxes(at, 2)
    shipment = factories.make_shipment(first)
    page = f"/shipments/{shipment.number}/"
    assert f"{page}labels/" in client.get(page).content.decode()
    assert "no longer" not in words(client.get(page))
    sent = keyed(n=numbers_of(shipment))
    done = client.post(f"{page}labels/", sent)
    assert done.status_code == 302
    after = client.get(done.headers["Location"]).content.decode()
    assert f'href="{page}"' in after
    on_board(shipment, second)
    assert "1 label is out of date" in words(client.get(page))
    stale = client.get(f"{page}labels/?stale=1")
    assert stale.context["numbers"] == [f"{shipment.number} {first.serial}"]
    services.take_off_box(shipment_id=shipment.pk, box_id=first.pk, sign=sign())
    said = words(client.get(page))
    assert "for a box that is no longer on it" in said
    assert client.get(f"{page}labels/?stale=1").status_code == 404


@pytest.mark.smoke
def test_an_empty_shipment_has_no_labels(
    client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    shipment = factories.make_shipment()
    address = f"/shipments/{shipment.number}/labels/"
    assert client.get(address).status_code == 404
    assert client.get("/shipments/NONE/labels/").status_code == 404
    assert client_for(outsider).get(address).status_code == 403
    assert_sent_to_sign_in(Client().get(address))
