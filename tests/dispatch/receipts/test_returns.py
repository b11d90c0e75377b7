"""What comes back goes to quarantine and never to stock; what is passed on is found."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.log.queries import Filters, sent_shipments
from dispatch.models import Consignee, PassedOn, Request, Return, Shipment, ShipmentBox
from dispatch.recall.queries.recall import whom_it_reached
from dispatch.receipts.services import passing, returns
from dispatch.receipts.services.deliveries import record_delivery
from dispatch.shipments.services import load_box
from dispatch.trace.balance import balance_of
from dispatch.trace.queries import trace
from kitting.domain.prints import DESTROYED
from kitting.models import Box, Place, User
from kitting.models.catalogue import PlaceKind
from kitting.packing.services.voiding import void_box
from kitting.places.services import places
from tests import factories
from tests.assertions import assert_page, text_of
from tests.databases import once_a_module
from tests.dispatch.receipts.returning import back, lots_of, refused, sent_for_a_request
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


@once_a_module
def shipment(box: Box) -> Shipment:
    """A sent one, with a box that serves a request."""
    return sent_for_a_request(box)


@once_a_module
def cage() -> Place:
    return factories.make_place(PlaceKind.QUARANTINE)


def on(shipment: Shipment, to: Consignee, **changes: Any) -> passing.Passed:
    assert shipment.sent_at is not None
    ids = list(shipment.shipment_boxes.values_list("box", flat=True))
    what = {
        "box_ids": ids,
        "point": "",
        "told_by": "Store of the infirmary",
        "on": shipment.sent_at.date(),
        "note": "",
        **changes,
    }
    return passing.pass_on(
        shipment_id=shipment.pk, consignee_id=to.pk, sign=later(shipment), **what
    )


# -- What comes back -------------------------------------------------------------------


def test_a_whole_box_is_returned_and_stands_in_quarantine(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    record_delivery(
        shipment_id=shipment.pk, said=said(shipment, 1), sign=later(shipment)
    )
    done = back(box, cage)
    assert (done.whole, done.stage, done.place) == (True, "returned", cage.code)
    box.refresh_from_db()
    assert (box.stage, box.place) == ("returned", cage)
    for lot, pieces in lots_of(box):
        balance = balance_of(lot)
        assert (balance.sent, balance.returned, balance.difference) == (0, pieces, 0)
    assert factories.prove() == []


def test_a_box_that_was_refused_at_the_door_comes_back_as_well(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    assert back(box, cage).stage == "returned"
    assert factories.prove() == []


def test_nothing_of_it_goes_back_to_stock(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    bags = {line.bag_id: line.bag.pieces for line in box.lines.select_related("bag")}
    back(box, cage)
    shelf = factories.make_place()
    put = {"box_id": box.pk, "place_id": shelf.pk}
    assert refused(lambda: places.put_box(**put, sign=sign())) == "quarantine_only"
    other = factories.make_shipment()

    load = {"shipment_id": other.pk, "box_id": box.pk}
    assert refused(lambda: load_box(**load, sign=sign())) == "box_left"
    void_box(box_id=box.pk, reason="Came back", label=DESTROYED, sign=sign())
    for lot, pieces in lots_of(box):
        balance = balance_of(lot)
        assert (balance.returned, balance.scrapped) == (0, pieces)
        assert balance.difference == 0
    again = {line.bag_id: line.bag.pieces for line in box.lines.select_related("bag")}
    assert again == bags
    assert factories.prove() == []


def test_a_box_that_came_back_unopened_serves_its_request_no_more(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    asked = Request.objects.get(consignee=shipment.consignee)
    assert asked.stage == "served"
    back(box, cage)
    asked.refresh_from_db()
    assert asked.stage == "open"
    assert ShipmentBox.objects.get(box=box).back
    assert factories.prove() == []


def test_a_box_that_came_back_opened_has_served(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    back(box, cage, opened=True)
    assert Request.objects.get(consignee=shipment.consignee).stage == "served"
    assert factories.prove() == []


def test_loose_sets_are_on_record_and_still_count_as_sent(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    """Nobody can tell of which lots they are: a recall still asks the consignee."""
    done = back(box, cage, sets=2)
    assert (done.whole, done.stage) == (False, "sent")
    assert Return.objects.get(box=box).opened
    for lot, pieces in lots_of(box):
        balance = balance_of(lot)
        assert (balance.sent, balance.returned, balance.difference) == (pieces, 0, 0)
    assert refused(lambda: back(box, cage, sets=5)) == "sets_not_in_box"
    assert back(box, cage, sets=4).stage == "returned"
    assert refused(lambda: back(box, cage, sets=1)) == "box_not_gone"
    assert Request.objects.get(consignee=shipment.consignee).stage == "served"
    assert factories.prove() == []


def test_what_came_back_stands_in_quarantine_alone(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    assert refused(lambda: back(box, factories.make_place())) == "quarantine_only"
    assert refused(lambda: back(box, cage, note=" ")) == "reason_missing"
    assert refused(lambda: back(box, cage, sets=0)) == "sets_not_in_box"


def test_what_did_not_leave_does_not_come_back(shipment: Shipment, cage: Place) -> None:
    waiting = factories.make_labelled_box()
    act = {"box_id": waiting.pk, "sets": 6, "opened": False, "note": "Odd"}
    code = refused(lambda: returns.record_return(place_id=cage.pk, sign=sign(), **act))
    assert code == "box_not_gone"


# -- What is passed on -----------------------------------------------------------------


def test_a_recall_names_who_has_a_box_now(box: Box, shipment: Shipment) -> None:
    second, third = factories.make_consignee(), factories.make_consignee()
    on(shipment, second)
    on(shipment, third, point="")
    found = trace(str(box))
    [row] = found.boxes
    assert row.consignee == third.name
    assert row.passed_by == second.name
    assert [each.name for each in found.consignees] == [third.name]
    [reached] = whom_it_reached(found, "GB")
    assert reached.code == third.code
    givers = PassedOn.objects.order_by("pk").values_list("giver", flat=True)
    assert list(givers) == [shipment.consignee_id, second.pk]
    assert factories.prove() == []


def test_the_log_of_a_consignee_names_shipments_of_what_was_passed_on_to_it(
    shipment: Shipment,
) -> None:
    """The recall leads there by the consignee that has a box now."""
    second, third = factories.make_consignee(), factories.make_consignee()
    on(shipment, second)
    for whom, shipments in (
        (shipment.consignee, [shipment]),
        (second, [shipment]),
        (third, []),
    ):
        assert list(sent_shipments(Filters(consignee_id=whom.pk))) == shipments


def test_a_sent_shipment_stays_what_it_was(box: Box, shipment: Shipment) -> None:
    before = Shipment.objects.filter(pk=shipment.pk).values().get()
    on(shipment, factories.make_consignee())
    assert Shipment.objects.filter(pk=shipment.pk).values().get() == before


def test_what_cannot_be_passed_on_is_refused(
    box: Box, shipment: Shipment, cage: Place
) -> None:
    to = factories.make_consignee()
    assert shipment.sent_at is not None
    early = shipment.sent_at.date() - timedelta(days=1)
    stranger = factories.make_labelled_box()
    for wrong, code in (
        ({"box_ids": []}, "boxes_missing"),
        ({"box_ids": [stranger.pk]}, "box_not_received"),
        ({"told_by": " "}, "entry_missing"),
        ({"on": early}, "passed_on_day"),
        ({"on": date(2999, 1, 1)}, "passed_on_day"),
        ({"point": "Nowhere"}, "point_unknown"),
    ):
        assert refused(lambda wrong=wrong: on(shipment, to, **wrong)) == code  # type: ignore[misc]
    own = shipment.consignee
    assert refused(lambda: on(shipment, own)) == "passed_to_itself"
    back(box, cage)
    assert refused(lambda: on(shipment, to)) == "box_not_gone"


# -- Pages -----------------------------------------------------------------------------


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


@pytest.mark.smoke
def test_a_clerk_records_a_return(
    clerk: Client, box: Box, shipment: Shipment, cage: Place
) -> None:
    page = reverse("dispatch:return-new")
    assert_page(clerk.get(page, {"box": str(box)}))
    sent = {
        "op_key": str(uuid.uuid4()),
        "scan": str(box),
        "how": "unopened",
        "sets": 6,
        "place": cage.pk,
        "note": "Ward is closed",
    }
    to = reverse("kitting:box-detail", args=[str(box)])
    assert clerk.post(page, sent)["Location"] == to
    assert clerk.post(page, sent)["Location"] == to
    assert "Ward is closed" in text_of(clerk.get(to))
    of_it = reverse("dispatch:shipment-detail", args=[shipment.number])
    assert "Ward is closed" in text_of(clerk.get(of_it))
    assert Return.objects.count() == 1


@pytest.mark.smoke
def test_a_return_that_cannot_be_is_answered(
    clerk: Client, box: Box, shipment: Shipment, cage: Place
) -> None:
    page = reverse("dispatch:return-new")
    sent = {"how": "unopened", "sets": 7, "place": cage.pk, "note": "Odd"}
    for scan in (str(box), "rubbish", ""):
        keyed = {"op_key": str(uuid.uuid4()), "scan": scan, **sent}
        assert clerk.post(page, keyed).status_code in {404, 422}
    assert not Return.objects.exists()


def test_a_clerk_records_who_has_boxes_now(
    clerk: Client, box: Box, shipment: Shipment
) -> None:
    page = reverse("dispatch:box-pass", args=[shipment.number])
    assert_page(form := clerk.get(page))
    assert f"{box}, {box.size.product.name}, 6 sets" in " ".join(text_of(form).split())
    to = factories.make_consignee("Lodebridge Hospice")
    assert shipment.sent_at is not None
    sent = {
        "op_key": str(uuid.uuid4()),
        "boxes": [box.pk],
        "consignee": to.code,
        "told_by": "Store",
        "on": shipment.sent_at.date().isoformat(),
    }
    of_it = reverse("dispatch:shipment-detail", args=[shipment.number])
    assert clerk.post(page, sent)["Location"] == of_it
    assert "Lodebridge Hospice" in text_of(clerk.get(of_it))
    found = clerk.get(reverse("dispatch:recall"), {"q": str(box)})
    assert f"passed on by {shipment.consignee.name}" in text_of(found)
    log = text_of(clerk.get(reverse("dispatch:log")))
    assert "boxes passed on to Lodebridge Hospice" in log
    empty = sent | {"op_key": str(uuid.uuid4()), "boxes": []}
    assert clerk.post(page, empty).status_code == 422


def test_who_may_not_send_boxes_writes_neither(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    packer = client_for(factories.make_person("packer"))
    for page in (
        reverse("dispatch:return-new"),
        reverse("dispatch:box-pass", args=[shipment.number]),
    ):
        assert packer.get(page).status_code == 403
        assert packer.post(page).status_code == 403


def test_the_recall_names_what_came_back_and_so_does_the_box(
    box: Box, shipment: Shipment, cage: Place, client_for: Callable[[User], Client]
) -> None:
    quality = client_for(factories.make_person("quality officer"))
    page = reverse("kitting:box-detail", args=[str(box)])
    assert "it was sent in shipment" in text_of(quality.get(page))
    [(lot, inside)] = lots_of(box)
    recall = {"q": lot.number}
    told = f"{inside} pieces in 1 box that came back</a>"

    def answer() -> str:
        page = text_of(quality.get(reverse("dispatch:recall"), recall))
        return " ".join(page.split())

    assert told not in answer()
    back(box, cage)
    assert told in answer()
    assert "and came back." in text_of(quality.get(page))
