"""One address, the same on labels, packing lists and pages; at home without a country.

The orders themselves are checked against published examples in
``tests/kitting/labels/test_postal.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfReader

from dispatch.consignees.queries import ship_to
from dispatch.models import Consignee, Shipment
from dispatch.recall.queries.recall import whom_it_reached
from dispatch.shipments.labels import numbers_of, stale_labels
from dispatch.trace.queries import trace
from kitting.models import User, Workshop
from kitting.printing.services import prints
from tests import factories
from tests.assertions import text_of
from tests.databases import once_a_module
from tests.kitting.labels.samples import pages_of

pytestmark = pytest.mark.django_db

PARTS = {
    # Deutsche Post's own example, as in tests/kitting/labels/test_postal.py.
    "country": "DE",
    "street": "Tor 2\nSchreinerweg 6",
    "postcode": "38126",
    "city": "Braunschweig",
}
LINES = ("Klinik Ost", "Tor 2", "Schreinerweg 6", "38126 BRAUNSCHWEIG")


def klinik(**changes: Any) -> Consignee:
    row = {"name": "Klinik Ost", "code": factories.unique("DE"), **PARTS}
    return Consignee.objects.create(**{**row, **changes})


@pytest.mark.parametrize(
    ("home", "country"), [("DE", ""), ("PL", "GERMANY"), ("", "GERMANY")]
)
def test_the_country_stands_only_on_what_leaves_it(home: str, country: str) -> None:
    found = ship_to(klinik(), home)
    assert (found.lines, found.country) == (LINES, country)
    assert found.all == (*LINES, *filter(None, [country]))
    assert found.below_name == found.all[1:]


def test_a_text_is_written_as_it_was_entered() -> None:
    text = "Schreinerweg 6\n\n38126 Braunschweig"
    old = Consignee(name="Klinik Ost", address=text)
    written = ("Klinik Ost", "Schreinerweg 6", "38126 Braunschweig")
    assert ship_to(old, "DE").all == written
    old.country = "DE"
    assert ship_to(old, "DE").all == written
    assert ship_to(old, "PL").all == (*written, "GERMANY")
    assert ship_to(Consignee(name="Klinik Ost"), "PL").all == ("Klinik Ost",)


def test_parts_are_written_rather_than_the_text() -> None:
    assert ship_to(klinik(address="Elsewhere"), "DE").all == LINES


def test_a_name_that_the_post_wants_last_is_known_as_the_name() -> None:
    """Kazakhstan, by the data alone: from the largest area down to the name."""
    far = klinik(country="KZ", street="12 Abay", postcode="010000", city="Astana")
    found = ship_to(far, "")
    assert found.lines == ("010000", "ASTANA", "12 Abay", "Klinik Ost")
    assert found.name == 3
    assert found.below_name == ("010000", "ASTANA", "12 Abay", "KAZAKHSTAN")


@once_a_module
def shipment() -> Shipment:
    box = factories.make_labelled_box()
    return factories.make_shipment(box, consignee=klinik())


def label_text(shipment: Shipment) -> str:
    printed = prints.print_labels(
        kind="shipment", numbers=numbers_of(shipment), sign=factories.sign()
    )
    pdf = prints.document_pdf(bytes.fromhex(printed.pdf_sha))
    (text,) = pages_of(pdf)
    return text


@pytest.mark.parametrize(("home", "last"), [("DE", "Sent"), ("PL", "GERMANY")])
def test_the_label_has_the_order_of_the_post(
    shipment: Shipment, home: str, last: str
) -> None:
    Workshop.objects.update(country=home)
    shown = label_text(shipment)
    assert f"{' '.join(LINES)} {last} " in shown
    assert ("GERMANY" in shown) == (home == "PL")


def test_an_address_that_changes_makes_its_labels_stale(shipment: Shipment) -> None:
    label_text(shipment)
    assert stale_labels(shipment) == []
    Consignee.objects.update(postcode="38127")
    now = Shipment.objects.get(pk=shipment.pk)
    assert stale_labels(now) == numbers_of(now) != []


@pytest.mark.smoke
def test_every_page_shows_the_same_lines(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    Workshop.objects.update(country="PL")
    clerk = client_for(factories.make_person("clerk"))
    page = f"/shipments/{shipment.number}/"
    shown = "<br>".join((*LINES, "GERMANY"))
    assert shown in text_of(clerk.get(page))
    paper = PdfReader(BytesIO(clerk.get(f"{page}packing-list/").content))
    written = paper.pages[0].extract_text()
    at = [written.index(line) for line in (*LINES, "GERMANY")]
    assert at == sorted(at)
    factories.send(shipment)
    assert shown in text_of(clerk.get(page))


def test_a_recall_says_where_to_write(shipment: Shipment) -> None:
    Workshop.objects.update(country="PL")
    factories.send(shipment)
    box = shipment.shipment_boxes.get().box
    (reached,) = whom_it_reached(trace(str(box)), "PL")
    assert reached.address.splitlines() == [*LINES[1:], "GERMANY"]
