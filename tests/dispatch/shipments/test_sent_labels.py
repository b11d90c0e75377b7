"""A shipment leaves with its labels, or with the reason why not."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Shipment
from dispatch.shipments.labels import numbers_of
from kitting.ledger import clock
from kitting.printing.services.prints import print_labels
from tests import factories
from tests.assertions import assert_page, assert_problem, text_of
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


@once_a_module
def shipment() -> Shipment:
    return factories.make_shipment(factories.make_labelled_box())


@pytest.fixture
def clerk(client_for: Any) -> Client:
    return client_for(factories.make_person("clerk"))  # type: ignore[no-any-return]


def page_of(shipment: Shipment) -> str:
    return reverse("dispatch:shipment-detail", args=[shipment.number])


def act_of(shipment: Shipment, act: str) -> str:
    return reverse(f"dispatch:shipment-{act}", args=[shipment.number])


def send_data(client: Client, shipment: Shipment) -> dict[str, Any]:
    form = client.get(act_of(shipment, "send")).context["form"]
    sent = {"op_key": str(uuid.uuid4()), "seen": form["seen"].value()}
    return {**sent, "driver": "Driver 2", "reference": form["reference"].value()}


@pytest.mark.smoke
def test_without_labels_it_leaves_only_with_a_reason(
    clerk: Client, shipment: Shipment
) -> None:
    lacks = "1 box has no label with today’s date for this shipment."
    assert lacks in text_of(clerk.get(act_of(shipment, "send")))
    data = {**send_data(clerk, shipment), "unlabelled": " "}
    answer = clerk.post(act_of(shipment, "send"), data)
    assert_page(answer, status=422)
    assert "Print the labels first, or write why" in text_of(answer)
    reason = {**data, "unlabelled": "The printer is broken"}
    assert clerk.post(act_of(shipment, "send"), reason).status_code == 302
    assert "The printer is broken" in text_of(clerk.get(page_of(shipment)))


def test_with_its_labels_it_leaves_without_a_word(
    clerk: Client, shipment: Shipment, monkeypatch: pytest.MonkeyPatch
) -> None:
    print_labels(kind="shipment", numbers=numbers_of(shipment), sign=sign())
    page = text_of(clerk.get(act_of(shipment, "send")))
    assert "no label with today" not in page
    morrow = clock.now() + timedelta(days=1)
    data = {**send_data(clerk, shipment), "unlabelled": ""}
    with monkeypatch.context() as patch:
        patch.setattr("kitting.ledger.clock.now", lambda: morrow)
        assert_page(clerk.post(act_of(shipment, "send"), data), status=422)
    assert clerk.post(act_of(shipment, "send"), data).status_code == 302


def test_labels_with_another_reference_are_lacking(
    clerk: Client, shipment: Shipment
) -> None:
    """The label carries the reference: it is not sent under one that is not on it."""
    print_labels(kind="shipment", numbers=numbers_of(shipment), sign=sign())
    data = {**send_data(clerk, shipment), "reference": "PO 9"}
    answer = clerk.post(act_of(shipment, "send"), data)
    assert_problem(answer, "labels_lacking")
    assert 'name="unlabelled"' in text_of(answer)
