"""Labels of shipments: to whom, box k of n, and whether they still hold."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dispatch.models import Consignee, Shipment
from dispatch.shipments import services
from dispatch.shipments.labels import numbers_of, stale_labels
from kitting.domain.errors import LotwardError
from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.models import Print, PrintJob
from kitting.printing.services import prints
from kitting.printing.services.prints import print_labels
from tests import factories
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.labels import samples
from tests.printers import BOX_ROLL, make_printer

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _on_the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kitting.ledger.clock.now", lambda: factories.NOW)


@once_a_module
def shipment() -> Shipment:
    consignee = factories.make_consignee("St Brannoc's Infirmary")
    Consignee.objects.update(address="7 Quay Street\nBrannoc EK7 2QS")
    boxes = [factories.make_labelled_box() for _ in range(3)]
    return factories.make_shipment(*boxes, consignee=consignee)


def print_all(shipment: Shipment, reason: str = "") -> prints.PrintedLabels:
    return print_labels(
        kind="shipment",
        numbers=numbers_of(shipment),
        again=Again(reason, DESTROYED),
        sign=sign(),
    )


def pages_of(printed: prints.PrintedLabels) -> list[str]:
    return samples.pages_of(prints.document_pdf(bytes.fromhex(printed.pdf_sha)))


def test_each_box_gets_a_label_that_says_where_and_which_of_how_many(
    shipment: Shipment,
) -> None:
    printed = print_all(shipment)
    pages = pages_of(printed)
    assert (printed.labels, len(pages)) == (3, 3)
    serials = [number.split(" ")[1] for number in printed.numbers]
    assert serials == sorted(serials)
    for nth, (page, serial) in enumerate(zip(pages, serials, strict=True), start=1):
        assert "St Brannoc's Infirmary" in page
        assert "7 Quay Street Brannoc EK7 2QS" in page
        assert f"{nth} of 3" in page
        assert f"Sent on Box {factories.TODAY}" in page
        assert f"Packed {factories.TODAY}" in page
        assert "Sets 6 of 18" in page
        assert shipment.number in page
        assert serial in page
    assert stale_labels(shipment) == []


def test_a_label_whose_day_is_over_is_printed_again(
    shipment: Shipment, monkeypatch: pytest.MonkeyPatch
) -> None:
    printed = print_all(shipment)
    morrow = factories.NOW + timedelta(days=1)
    with monkeypatch.context() as patch:
        patch.setattr("kitting.ledger.clock.now", lambda: morrow)
        assert stale_labels(shipment) == printed.numbers
    assert stale_labels(shipment) == []
    factories.send(shipment)
    with monkeypatch.context() as patch:  # what has left keeps the day of its sending
        patch.setattr("kitting.ledger.clock.now", lambda: morrow)
        assert stale_labels(shipment) == []


def test_a_box_that_comes_on_or_off_makes_all_labels_stale(shipment: Shipment) -> None:
    printed = print_all(shipment)
    live = shipment.shipment_boxes.order_by("box__serial").first()
    assert live is not None
    services.take_off_box(shipment_id=shipment.pk, box_id=live.box_id, sign=sign())
    assert stale_labels(shipment) == printed.numbers
    again = print_all(shipment, "A box was taken off")
    assert pages_of(again)[0].count("1 of 2") == 1
    assert "Reprint 2" in pages_of(again)[0]
    assert stale_labels(shipment) == [printed.numbers[0]], "it must be destroyed"


@pytest.mark.parametrize("act", ["take off", "cancel"])
def test_labels_that_wait_for_a_printer_do_not_come_out_when_they_are_wrong(
    shipment: Shipment, act: str
) -> None:
    make_printer("ipp://printer.example/ipp/print", BOX_ROLL)
    printed = print_labels(
        kind="shipment",
        numbers=numbers_of(shipment),
        onto=Onto(printer="P1"),
        sign=sign(),
    )
    if act == "take off":
        live = shipment.shipment_boxes.first()
        assert live is not None
        services.take_off_box(shipment_id=shipment.pk, box_id=live.box_id, sign=sign())
    else:
        services.cancel_shipment(
            shipment_id=shipment.pk, reason="nobody is there", sign=sign()
        )
    assert PrintJob.objects.get(pk=printed.job).state == "cancelled"


def test_nothing_printed_is_nothing_stale(shipment: Shipment) -> None:
    assert stale_labels(shipment) == []
    assert not Print.objects.filter(kind="shipment").exists()


def test_one_of_them_may_be_printed_again(shipment: Shipment) -> None:
    printed = print_all(shipment)
    one = print_labels(
        kind="shipment",
        numbers=printed.numbers[1:2],
        again=Again("Torn", DESTROYED),
        sign=sign(),
    )
    assert "2 of 3" in pages_of(one)[0]


def test_a_shipment_that_was_sent_can_still_be_labelled(shipment: Shipment) -> None:
    factories.send(shipment)
    assert print_all(shipment).labels == 3


@pytest.mark.parametrize("number", ["S1000009X K1000001X", "S1000009X", ""])
def test_what_is_in_no_shipment_has_no_label(shipment: Shipment, number: str) -> None:
    with pytest.raises(LotwardError, match="row_missing"):
        print_labels(kind="shipment", numbers=[number], sign=sign())


def test_a_shipment_that_was_cancelled_has_none(shipment: Shipment) -> None:
    numbers = numbers_of(shipment)
    services.cancel_shipment(
        shipment_id=shipment.pk, reason="nobody is there", sign=sign()
    )
    assert numbers_of(shipment) == []
    with pytest.raises(LotwardError, match="row_missing"):
        print_labels(kind="shipment", numbers=numbers, sign=sign())
