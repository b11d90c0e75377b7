"""Sending: who takes a shipment, what stops it, and what is asked before."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from functools import partial

import pytest
from django.db import DatabaseError, IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from dispatch.models import Shipment
from dispatch.shipments import services
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.models import Box, User
from tests import factories
from tests.assertions import assert_page, assert_problem, text_of
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


def page_of(shipment: Shipment) -> str:
    return reverse("dispatch:shipment-detail", args=[shipment.number])


def act_of(shipment: Shipment, act: str) -> str:
    return reverse(f"dispatch:shipment-{act}", args=[shipment.number])


def keyed(**data: object) -> dict[str, object]:
    return {"op_key": str(uuid.uuid4()), **data}


def refused(act: Callable[[], object]) -> LotwardError:
    with pytest.raises(LotwardError) as caught:
        act()
    return caught.value


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


@once_a_module
def shipment(box: Box) -> Shipment:
    """An open one with a labelled box on it."""
    return factories.make_shipment(box)


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


# -- Who takes it ------------------------------------------------------------------------


def test_who_takes_it_is_kept_and_never_changes(box: Box) -> None:
    shipment = factories.make_shipment(box)
    said = {
        "haulier": "Moor Road Couriers",
        "driver": "Driver 2",
        "vehicle": "Van 3",
        "seal": "40 017",
        "reference": "PO 7",
    }
    padded = {name: f" {text} " for name, text in said.items()}
    services.send_shipment(
        shipment_id=shipment.pk, unlabelled="by hand", sign=sign(), **padded
    )
    row = Shipment.objects.filter(pk=shipment.pk)
    assert row.values(*said).get() == said
    assert row.filter(search__contains="40 017", search__icontains="couriers").exists()
    for name in said:
        with pytest.raises(DatabaseError, match="not open"), transaction.atomic():
            row.update(**{name: "another"})
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ({}, "driver_missing"),
        ({"haulier": " ", "vehicle": "Van 3"}, "driver_missing"),
        ({"driver": "x" * 81}, "entry_too_long"),
        ({"driver": "Driver 2", "seal": "x" * 41}, "entry_too_long"),
    ],
)
def test_it_leaves_only_with_somebody_who_is_named(
    said: dict[str, str], code: str, shipment: Shipment
) -> None:
    send = partial(services.send_shipment, shipment_id=shipment.pk, unlabelled="none")
    assert refused(lambda: send(sign=sign(), **said)).code == code
    shipment.refresh_from_db()
    assert shipment.stage == "open"
    # The database refuses it as well, whatever writes.
    gone = {"stage": "sent", "sent_at": factories.NOW, "boxes": 1}
    row = Shipment.objects.filter(pk=shipment.pk)
    with pytest.raises(IntegrityError), transaction.atomic():
        row.update(**gone)


# -- The page -------------------------------------------------------------------------


def send_data(client: Client, shipment: Shipment) -> dict[str, object]:
    form = client.get(act_of(shipment, "send")).context["form"]
    key, seen = form["op_key"].value(), form["seen"].value()
    taken = {"driver": "Driver 2", "seal": "40 017", "reference": "PO 1"}
    return {"op_key": key, "seen": seen, "unlabelled": "by hand", **taken}


@pytest.mark.smoke
def test_a_shipment_is_sent_once_and_tells_what_left(
    clerk: Client, box: Box, shipment: Shipment
) -> None:
    data = send_data(clerk, shipment)
    for _ in range(2):
        answer = clerk.post(act_of(shipment, "send"), data)
        assert answer.headers["Location"] == page_of(shipment)
    shipment.refresh_from_db()
    assert (shipment.stage, shipment.boxes, shipment.sets) == ("sent", 1, 6)
    assert (shipment.driver, shipment.seal) == ("Driver 2", "40 017")
    assert shipment.reference == "PO 1"
    assert shipment.events.count() == 2
    text = clerk.get(page_of(shipment)).content.decode()
    assert all(said in text for said in ("Driver 2", "40 017", "PO 1"))
    assert "1\N{NO-BREAK SPACE}box with 6\N{NO-BREAK SPACE}sets" in text
    assert str(box.lines.get().lot.number) in text
    assert 'id="scan"' not in text


@pytest.mark.smoke
def test_a_held_box_stops_the_sending_and_is_named(clerk: Client, box: Box) -> None:
    shipment = factories.make_shipment(box, factories.make_labelled_box())
    data = send_data(clerk, shipment)
    holds.place_hold(target="box", value=box.pk, reason="Dent", sign=sign())
    answer = clerk.post(act_of(shipment, "send"), data)
    assert_problem(answer, "box_held")
    text = text_of(answer)
    assert f"Box {box.serial} is held" in text
    assert "Take 1 box off and put it in quarantine" in text
    assert f"Take box {box.serial} off" in text
    assert act_of(shipment, "send") not in text_of(clerk.get(page_of(shipment)))
    shipment.refresh_from_db()
    assert shipment.stage == "open"
    clerk.post(act_of(shipment, "take-off"), keyed(box=box.pk))
    form = clerk.get(act_of(shipment, "send")).context["form"]
    for name in ("driver", "seal", "reference"):
        assert form[name].value() == data[name]


def test_a_box_that_came_on_after_the_page_was_shown_stops_the_sending(
    clerk: Client, shipment: Shipment
) -> None:
    data, late = send_data(clerk, shipment), factories.make_labelled_box()
    clerk.post(act_of(shipment, "scan"), keyed(scan=late.serial))
    answer = clerk.post(act_of(shipment, "send"), data)
    assert_problem(answer, "box_came_on", status=409)
    assert str(late.serial) in text_of(answer)
    assert (
        clerk.post(act_of(shipment, "send"), send_data(clerk, shipment)).status_code
        == 302
    )


@pytest.mark.parametrize(
    "change", [{"seen": ""}, {"seen": "-1"}, {"seen": "9" * 30}, {"op_key": "x"}]
)
def test_a_sending_that_cannot_be_read_sends_nothing(
    clerk: Client, change: dict[str, str], shipment: Shipment
) -> None:
    data = {**send_data(clerk, shipment), **change}
    answer = clerk.post(act_of(shipment, "send"), data)
    assert_page(answer, status=422)
    assert answer.context["form"].errors
    shipment.refresh_from_db()
    assert shipment.stage == "open"


def test_nobody_takes_it_so_nothing_is_sent_and_what_was_written_stays(
    clerk: Client, shipment: Shipment
) -> None:
    data = {**send_data(clerk, shipment), "driver": " ", "vehicle": "Van 3"}
    answer = clerk.post(act_of(shipment, "send"), data)
    assert_problem(answer, "driver_missing")
    assert answer.context["form"]["vehicle"].value() == "Van 3"
    shipment.refresh_from_db()
    assert shipment.stage == "open"


def test_who_took_shipments_before_is_suggested(clerk: Client, box: Box) -> None:
    factories.send(factories.make_shipment(factories.make_labelled_box()))
    shipment = factories.make_shipment(box)
    answer = clerk.get(act_of(shipment, "send"))
    assert answer.context["before"]["drivers"] == ["Driver 2"]
    assert '<option value="Driver 2">' in answer.content.decode()


def test_what_cannot_be_sent_has_no_page_to_send_it(clerk: Client, box: Box) -> None:
    empty, gone = factories.make_shipment(), factories.make_shipment(box)
    factories.send(gone)
    for shipment in (empty, gone):
        address = act_of(shipment, "send")
        assert clerk.get(address).headers["Location"] == page_of(shipment)
    answer = clerk.post(act_of(empty, "send"), keyed(seen=0, driver="Driver 2"))
    assert_problem(answer, "shipment_empty")
