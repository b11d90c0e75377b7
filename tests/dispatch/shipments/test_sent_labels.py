"""A shipment leaves with its labels, or with the reason why not."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Pallet, Shipment
from dispatch.shipments import services
from dispatch.shipments.labels import numbers_of
from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.ledger import clock
from kitting.models import PrintJob
from kitting.printing.services.prints import print_labels
from tests import factories
from tests.assertions import assert_page, assert_problem, text_of
from tests.databases import once_a_module
from tests.factories import sign
from tests.printers import BOX_ROLL, make_printer

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


# -- On pallets ------------------------------------------------------------------------


@once_a_module
def stacked() -> tuple[Shipment, Pallet]:
    """A shipment with two boxes on a pallet, and one by itself."""
    alone = factories.make_labelled_box()
    two = [factories.make_labelled_box(size=alone.size) for _ in range(2)]
    shipment, pallet = factories.make_shipment(alone), factories.make_pallet(*two)
    factories.load_pallet(shipment, pallet)
    return shipment, pallet


def stick_on(pallet: Pallet, reason: str = "") -> None:
    again = Again(reason, DESTROYED if reason else "")
    print_labels(kind="pallet", numbers=[pallet.number], again=again, sign=sign())


def lacking(client: Client, shipment: Shipment) -> list[str]:
    """What the page of sending says of labels; the page asks why, or sends it."""
    shown = text_of(client.get(act_of(shipment, "send")))
    said = ("1 box has no label", "has no label that says where it goes")
    return [each for each in said if each in shown]


def test_the_label_of_a_pallet_stands_for_those_of_its_boxes(
    clerk: Client, stacked: tuple[Shipment, Pallet], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Common practice: what is put together to be moved is one logistic unit (GS1 General
    Specifications, 2.2) with one label; its boxes keep those with which they were packed."""
    shipment, pallet = stacked
    of_box, of_pallet = "1 box has no label", "has no label that says where it goes"
    assert lacking(clerk, shipment) == [of_box, of_pallet]
    alone = clerk.get(act_of(shipment, "labels"), {"alone": "1"}).context["numbers"]
    assert len(alone) == 1
    print_labels(kind="shipment", numbers=alone, sign=sign())
    assert lacking(clerk, shipment) == [of_pallet]
    page = f"{act_of(shipment, 'labels')}?pallets=1"
    assert clerk.get(page).context["numbers"] == [pallet.number]
    sent = {"op_key": str(uuid.uuid4()), "n": [pallet.number]}
    assert clerk.post(page, sent).status_code == 302
    assert lacking(clerk, shipment) == []
    assert clerk.get(page).status_code == 404
    data = {**send_data(clerk, shipment), "unlabelled": ""}
    morrow = clock.now() + timedelta(days=1)
    with monkeypatch.context() as patch:
        patch.setattr("kitting.ledger.clock.now", lambda: morrow)
        assert lacking(clerk, shipment) == [of_box, of_pallet]
    assert clerk.post(act_of(shipment, "send"), data).status_code == 302


def test_a_label_that_was_printed_while_it_was_built_says_nothing_of_where_it_goes(
    clerk: Client,
) -> None:
    box = factories.make_labelled_box()
    pallet, shipment = factories.make_pallet(box), factories.make_shipment()
    stick_on(pallet)
    factories.load_pallet(shipment, pallet)
    data = {**send_data(clerk, shipment), "unlabelled": ""}
    assert_problem(clerk.post(act_of(shipment, "send"), data), "labels_lacking")
    stick_on(pallet, "Says where it goes")
    other = {**data, "op_key": str(uuid.uuid4()), "reference": "PO 9"}
    assert_problem(clerk.post(act_of(shipment, "send"), other), "labels_lacking")
    assert clerk.post(act_of(shipment, "send"), data).status_code == 302


def test_labels_of_their_own_on_each_of_its_boxes_do_as_well(
    clerk: Client, stacked: tuple[Shipment, Pallet]
) -> None:
    shipment, _pallet = stacked
    print_labels(kind="shipment", numbers=numbers_of(shipment), sign=sign())
    assert lacking(clerk, shipment) == []


@pytest.mark.parametrize("act", ["box off", "pallet off", "cancel"])
def test_a_label_of_a_pallet_that_waits_for_a_printer_does_not_come_out_wrong(
    stacked: tuple[Shipment, Pallet], act: str
) -> None:
    shipment, pallet = stacked
    printer = make_printer("ipp://printer.example/ipp/print", BOX_ROLL)
    onto = Onto(printer=printer.code)
    print_labels(kind="pallet", numbers=[pallet.number], onto=onto, sign=sign())
    of = {"shipment_id": shipment.pk, "sign": sign()}
    if act == "box off":
        live = shipment.shipment_boxes.filter(pallet=pallet)
        services.take_off_box(**of, box_id=live.values_list("box", flat=True)[0])
    elif act == "pallet off":
        services.take_off_pallet(**of, pallet_id=pallet.pk)
    else:
        services.cancel_shipment(**of, reason="No van")
    assert PrintJob.objects.get().state == "cancelled"
