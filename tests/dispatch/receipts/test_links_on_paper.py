"""The link of a consignee on its delivery note: only a good one, and read back from it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import timedelta
from fractions import Fraction
from io import BytesIO

import pytest
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from dispatch.labels import spoken
from dispatch.labels.sheets import A4
from dispatch.models import Consignee, ReceiptLink, Shipment
from dispatch.receipts.services import links
from kitting.labels.readback import decode, rasterise
from kitting.labels.stock import Stock
from kitting.models import User
from tests import factories
from tests.assertions import text_of
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

OUTSIDE = override_settings(CONSIGNEE_URL="https://boxes.example")
AT_300_DPI = Stock(A4.width_mm, A4.height_mm, Fraction(300) / Fraction("25.4"))


@once_a_module
def shipment() -> Shipment:
    return factories.send(factories.make_shipment(factories.make_labelled_box()))


def give(shipment: Shipment) -> str:
    """The address of a new link, without the server's name."""
    now = factories.sign(now=timezone.now())
    links.give_link(shipment_id=shipment.pk, days=30, sign=now)
    return links.path_of(ReceiptLink.objects.get(shipment=shipment))


def note(client_for: Callable[[User], Client], shipment: Shipment) -> tuple[str, ...]:
    """The text of a delivery note without what breaks its lines, and its symbols."""
    address = reverse("dispatch:delivery-note", args=[shipment.number])
    pdf = client_for(factories.make_person("clerk")).get(address).content
    (page,) = PdfReader(BytesIO(pdf)).pages
    symbols = decode(rasterise(pdf, AT_300_DPI))
    assert all(symbol.symbology_identifier == "]Q1" for symbol in symbols)
    text = re.sub(r"\s", "", page.extract_text())
    return (text, *(symbol.data for symbol in symbols))


@OUTSIDE
@pytest.mark.parametrize(("language", "words"), list(spoken.COMPLETE.items()))
def test_the_delivery_note_bears_the_link_as_a_symbol_and_in_words(
    client_for: Callable[[User], Client],
    shipment: Shipment,
    language: str,
    words: Mapping[str, str],
) -> None:
    """ISO/IEC 15424: ``]Q1`` is a QR code; read with the decoder of the labels."""
    Consignee.objects.update(language=language)
    address = f"https://boxes.example{give(shipment)}"
    text, *symbols = note(client_for, shipment)
    assert symbols == [address]
    assert address in text
    assert words["read_and_say"].replace(" ", "") in text


@pytest.mark.parametrize("lacks", ["link", "address", "ended", "old"])
def test_a_delivery_note_bears_no_link_that_opens_nothing(
    client_for: Callable[[User], Client], shipment: Shipment, lacks: str
) -> None:
    if lacks != "link":
        give(shipment)
    if lacks == "ended":
        links.end_link(shipment_id=shipment.pk, sign=sign())
    if lacks == "old":
        ReceiptLink.objects.update(until=timezone.now() - timedelta(seconds=1))
    where = "" if lacks == "address" else "https://boxes.example"
    with override_settings(CONSIGNEE_URL=where):
        text, *symbols = note(client_for, shipment)
    assert not symbols
    assert "received/" not in text
    assert spoken.ENGLISH["read_and_say"].replace(" ", "") not in text


def test_the_page_of_a_link_shows_it_where_consignees_reach_it(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    path = give(shipment)
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:delivery-link", args=[shipment.number])
    here = text_of(clerk.get(page))
    assert f"http://testserver{path}" in here
    assert "No delivery note bears it" in here
    with OUTSIDE:
        outside = text_of(clerk.get(page))
    assert f"https://boxes.example{path}" in outside
    assert "The delivery note bears it" in outside
