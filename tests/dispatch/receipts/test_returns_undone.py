"""A return that was recorded for the wrong box: beside it stands that it was none."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dispatch.consignees.services.consignees import merge_consignees
from dispatch.models import Consignee, Request, Return, Shipment, ShipmentBox
from dispatch.receipts.services import returns
from dispatch.receipts.services.deliveries import record_delivery
from dispatch.requests.queries.requests import open_for
from dispatch.trace.balance import balance_of
from kitting.domain.prints import DESTROYED
from kitting.models import Box, Operation, Place, User
from kitting.models.catalogue import PlaceKind
from kitting.packing.services.voiding import void_box
from kitting.places.services import places
from tests import factories
from tests.assertions import text_of
from tests.databases import once_a_module
from tests.dispatch.receipts.returning import back, lots_of, refused, sent_for_a_request
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


@once_a_module
def shipment(box: Box) -> Shipment:
    return sent_for_a_request(box)


@once_a_module
def cage() -> Place:
    return factories.make_place(PlaceKind.QUARANTINE)


def undo(row: Return, reason: str = "The label was read wrong") -> Any:
    load = ShipmentBox.objects.get(box=row.box, live=True)
    by = later(load.shipment, 5)
    return returns.undo_return(return_id=row.pk, reason=reason, sign=by)


@pytest.mark.parametrize("received", [False, True])
def test_a_return_of_the_wrong_box_is_undone_and_all_is_as_before(
    box: Box, shipment: Shipment, cage: Place, received: bool
) -> None:
    if received:
        record_delivery(
            shipment_id=shipment.pk, said=said(shipment, 1), sign=later(shipment)
        )
    stage = "delivered" if received else "sent"
    back(box, cage)
    asked = Request.objects.get(consignee=shipment.consignee)
    assert asked.stage == "open"
    row = Return.objects.get()
    assert refused(lambda: undo(row, " ")) == "reason_missing"
    done = undo(row)
    assert (done.box, done.stage, done.sets) == (str(box), stage, 6)
    box.refresh_from_db()
    asked.refresh_from_db()
    assert (box.stage, asked.stage) == (stage, "served")
    assert not ShipmentBox.objects.get(box=box).back
    for lot, pieces in lots_of(box):
        balance = balance_of(lot)
        assert (balance.sent, balance.returned, balance.difference) == (pieces, 0, 0)
    # The row stays, with its correction beside it, and all of the box may come back.
    assert Return.objects.get().undone.reason == "The label was read wrong"
    assert refused(lambda: undo(row)) == "return_undone"
    assert factories.prove() == []
    assert back(box, cage).stage == "returned"
    assert factories.prove() == []


def test_delivered_meanwhile_it_is_delivered_when_it_is_undone(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    back(box, cage)
    record_delivery(
        shipment_id=shipment.pk, said=said(shipment, 1), sign=later(shipment)
    )
    assert undo(Return.objects.get()).stage == "delivered"
    assert factories.prove() == []


def test_loose_sets_are_undone_the_newest_first(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    back(box, cage, sets=2)
    back(box, cage, sets=4)
    first, second = Return.objects.order_by("pk")
    assert refused(lambda: undo(first)) == "returned_since"
    assert undo(second).stage == "sent"
    assert undo(first).stage == "sent"
    assert factories.prove() == []
    assert back(box, cage).whole


def test_what_happened_since_stops_it(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    back(box, cage)
    row = Return.objects.get()
    other = factories.make_place(PlaceKind.QUARANTINE)
    at = later(shipment, 3)
    places.put_box(box_id=box.pk, place_id=other.pk, sign=at)
    assert refused(lambda: undo(row)) == "moved_since"
    at = later(shipment, 4)
    void_box(box_id=box.pk, reason="Came back", label=DESTROYED, sign=at)
    assert refused(lambda: undo(row)) == "box_voided_since"
    assert factories.prove() == []


def test_a_request_of_a_closed_consignee_is_not_opened_again(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    Consignee.objects.filter(pk=shipment.consignee_id).update(active=False)
    factories.seal_set_up()
    back(box, cage)
    assert Request.objects.get(consignee=shipment.consignee).stage == "served"
    assert factories.prove() == []


def test_that_of_a_merged_one_is_open_as_the_other_one_s(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    stays = factories.make_consignee("Southend")
    of = {"code": shipment.consignee.code, "into_id": stays.pk, "reason": "the same"}
    merge_consignees(**of, sign=sign())
    back(box, cage)
    asked = Request.objects.get(consignee=shipment.consignee)
    assert asked.stage == "open"
    assert asked in open_for(factories.make_shipment(consignee=stays))
    assert factories.prove() == []


def test_the_page_undoes_a_return_once(
    clerk: Client,
    client_for: Callable[[User], Client],
    box: Box,
    shipment: Shipment,
    cage: Place,
) -> None:
    back(box, cage)
    row = Return.objects.get()
    at = reverse("dispatch:return-undo", args=[row.pk])
    of_box = reverse("kitting:box-detail", args=[box])
    assert f'href="{at}"' in clerk.get(of_box).content.decode()
    packer = client_for(factories.make_person("packer"))
    form = {"op_key": str(uuid.uuid4()), "reason": ""}
    assert packer.post(at, form).status_code == 403
    assert clerk.get(reverse("dispatch:return-undo", args=[0])).status_code == 404
    assert clerk.post(at, form).status_code == 422
    form["reason"] = "It was another one"
    for _ in range(2):
        assert clerk.post(at, form)["Location"] == of_box
    assert Operation.objects.filter(name="undo_return").count() == 1
    page = clerk.get(of_box)
    assert "It did not come back:" in text_of(page)
    assert "It was another one" in text_of(page)
    assert f'href="{at}"' not in page.content.decode()


def test_what_was_passed_on_is_answered_as_the_first_time_after_it_came_back(
    clerk: Client, box: Box, shipment: Shipment, cage: Place
) -> None:
    assert shipment.sent_at is not None
    to = factories.make_consignee("Lodebridge Hospice")
    at = reverse("dispatch:box-pass", args=[shipment.number])
    form = {
        "op_key": str(uuid.uuid4()),
        "boxes": [box.pk],
        "consignee": to.code,
        "told_by": "Stores",
        "on": timezone.localtime(shipment.sent_at).date().isoformat(),
    }
    first = clerk.post(at, form)
    assert first.status_code == 302
    now = {"place_id": cage.pk, "note": "Not wanted", "sets": 6, "opened": False}
    by = factories.sign(now=timezone.now())
    returns.record_return(box_id=box.pk, **now, sign=by)
    assert clerk.post(at, form)["Location"] == first["Location"]
    form["op_key"] = str(uuid.uuid4())
    assert clerk.post(at, form).status_code == 409
