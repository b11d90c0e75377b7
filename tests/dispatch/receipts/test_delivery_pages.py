"""The pages of deliveries: who may, what is asked, and what the shipment's page tells."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dispatch.domain.receipts import BoxSaid
from dispatch.models import Shipment
from dispatch.receipts.queries import deliveries as queries
from dispatch.receipts.services import links
from kitting.models import Box, Operation, User
from tests import factories
from tests.assertions import assert_page, assert_problem, text_of
from tests.databases import once_a_module
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    return [factories.make_labelled_box() for _ in range(2)]


@once_a_module
def shipment(boxes: list[Box]) -> Shipment:
    return factories.send(factories.make_shipment(*boxes))


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def address(name: str, shipment: Shipment) -> str:
    return reverse(f"dispatch:{name}", args=[shipment.number])


def note(shipment: Shipment, **changes: object) -> dict[str, object]:
    """What the form of a delivery sends: all of it received, just now."""
    assert shipment.sent_at is not None
    at = timezone.localtime(shipment.sent_at)
    lines = {
        "line-TOTAL_FORMS": 1,
        "line-INITIAL_FORMS": 0,
        "line-0-box": "",
        "line-0-found": "",
    }
    return {
        "op_key": str(uuid.uuid4()),
        "way": "note",
        "by": "R. Ward",
        "on": at.date().isoformat(),
        "at": f"{at:%H:%M}",
        "boxes": 2,
        "note": "",
        **lines,
        **changes,
    }


@pytest.mark.smoke
def test_a_clerk_records_a_delivery_and_its_page_tells_it(
    clerk: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    form = clerk.get(address("delivery-record", shipment))
    assert_page(form)
    assert str(boxes[1]) in form.content.decode()
    odd = {
        "line-0-box": boxes[1].pk,
        "line-0-found": "short",
        "line-0-sets": 4,
        "line-0-note": "Two sets wet",
    }
    sent = note(shipment, **odd)
    answer = clerk.post(address("delivery-record", shipment), sent)
    assert answer["Location"] == address("shipment-detail", shipment)
    page = text_of(clerk.get(answer["Location"]))
    assert "R. Ward" in page
    assert "Sets counted: 4 of 6" in page
    assert "Two sets wet" in page
    assert "differs from what was sent" in page
    again = clerk.post(address("delivery-record", shipment), sent)
    assert again.status_code == 302
    assert shipment.receipts.count() == 1


def test_a_correction_opens_with_what_is_on_record(
    clerk: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    odd = {"line-0-box": boxes[0].pk, "line-0-found": "damaged"}
    clerk.post(address("delivery-record", shipment), note(shipment, **odd))
    form = clerk.get(address("delivery-correct", shipment))
    assert_page(form)
    html = form.content.decode()
    assert 'value="R. Ward"' in html
    assert f'<option value="{boxes[0].pk}" selected>' in html
    seen = shipment.receipts.get().pk
    sent = note(shipment, by="S. Ward", reason="Misread", seen=seen)
    clerk.post(address("delivery-correct", shipment), sent)
    page = text_of(clerk.get(address("shipment-detail", shipment)))
    assert "Corrects the one before: Misread" in page
    assert page.index("S. Ward") < page.index("R. Ward")


def test_what_the_consignee_wrote_is_taken_over_by_a_clerk(
    clerk: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    of = {"shipment_id": shipment.pk}
    links.give_link(**of, days=30, sign=later(shipment))
    theirs = said(shipment, 2, BoxSaid(boxes[0].pk, "damaged", 6), way="link")
    by_them = replace(later(shipment), by=links.consignee())
    links.answer_link(**of, nth=1, said=theirs, sign=by_them)
    day = text_of(clerk.get(reverse("kitting:day")))
    assert "what was received differs from what was sent" in day
    html = clerk.get(address("delivery-record", shipment)).content.decode()
    assert '<option value="page" selected>' in html
    assert f'<option value="{boxes[0].pk}" selected>' in html
    assert f'value="{theirs.by}"' in html
    odd = {"line-0-box": boxes[0].pk, "line-0-found": "damaged", "way": "page"}
    clerk.post(address("delivery-record", shipment), note(shipment, **odd))
    page = text_of(clerk.get(address("shipment-detail", shipment)))
    assert "page of the consignee, taken over" in page
    assert shipment.receipts.count() == 2
    forged = note(shipment, way="link", reason="Odd", seen=0)
    answer = clerk.post(address("delivery-correct", shipment), forged)
    assert answer.status_code == 422


def test_a_difference_is_settled_from_the_day(
    clerk: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    odd = {"boxes": 1, "line-0-box": boxes[0].pk, "line-0-found": "absent"}
    clerk.post(address("delivery-record", shipment), note(shipment, **odd))
    day = reverse("kitting:day")
    told = "what was received differs from what was sent"
    assert told in text_of(clerk.get(day))
    form = clerk.get(address("delivery-settle", shipment))
    assert_page(form)
    sent = {"op_key": str(uuid.uuid4()), "note": "Asked the carrier"}
    sent["seen"] = str(shipment.receipts.get().pk)
    clerk.post(address("delivery-settle", shipment), sent)
    assert told not in text_of(clerk.get(day))
    page = text_of(clerk.get(address("shipment-detail", shipment)))
    assert "Asked the carrier" in page


def test_the_day_tells_what_nobody_heard_of(
    clerk: Client, shipment: Shipment, monkeypatch: pytest.MonkeyPatch
) -> None:
    day = reverse("kitting:day")
    told = "no delivery is recorded"
    assert told in text_of(clerk.get(day))  # it was sent in January
    monkeypatch.setattr(queries, "LATE_AFTER", timedelta(days=9_999))
    assert told not in text_of(clerk.get(day))


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"by": ""}, "who received it"),
        ({"on": "yesterday"}, "yesterday"),
        ({"at": "25:00"}, "25:00"),
        ({"boxes": "two"}, "two"),
        ({"boxes": "1"}, "Name each box that did not arrive."),
        ({"line-0-found": "damaged"}, "the box"),
        ({"line-0-found": "eaten", "line-0-box": "1"}, "eaten"),
        ({"line-0-sets": "many"}, "many"),
    ],
)
def test_what_cannot_be_read_is_answered_and_nothing_is_written(
    clerk: Client, shipment: Shipment, wrong: dict[str, object], told: str
) -> None:
    before = Operation.objects.count()
    answer = clerk.post(address("delivery-record", shipment), note(shipment, **wrong))
    assert answer.status_code == 422
    assert told in text_of(answer)
    assert Operation.objects.count() == before


@pytest.mark.smoke
def test_a_second_record_of_a_delivery_is_a_conflict(
    clerk: Client, shipment: Shipment
) -> None:
    clerk.post(address("delivery-record", shipment), note(shipment))
    answer = clerk.post(address("delivery-record", shipment), note(shipment))
    assert_problem(answer, "delivery_on_record", status=409)


@pytest.mark.parametrize(
    "name", ["delivery-record", "delivery-correct", "delivery-settle"]
)
def test_what_did_not_leave_has_no_delivery(clerk: Client, name: str) -> None:
    waiting = factories.make_shipment(factories.make_labelled_box())
    assert clerk.get(address(name, waiting)).status_code == 404
    assert clerk.get(reverse(f"dispatch:{name}", args=["X"])).status_code == 404


@pytest.mark.smoke
def test_who_may_not_send_boxes_reads_of_a_delivery_and_writes_none(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    packer = client_for(factories.make_person("packer"))
    page = packer.get(address("shipment-detail", shipment))
    assert "Delivered and after" in text_of(page)
    assert address("delivery-record", shipment) not in page.content.decode()
    answer = packer.post(address("delivery-record", shipment), note(shipment))
    assert answer.status_code == 403


def test_a_shipment_of_many_receipts_asks_the_database_no_more(
    clerk: Client, shipment: Shipment, django_assert_max_num_queries
) -> None:
    clerk.post(address("delivery-record", shipment), note(shipment))
    for _ in range(3):
        seen = shipment.receipts.latest("pk").pk
        sent = note(shipment, reason="Again", seen=seen)
        clerk.post(address("delivery-correct", shipment), sent)
    assert shipment.receipts.count() == 4
    with django_assert_max_num_queries(15):
        clerk.get(address("shipment-detail", shipment))
