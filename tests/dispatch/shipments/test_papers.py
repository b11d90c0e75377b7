"""The papers of a shipment, read back out of their PDFs."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from io import BytesIO

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader
from stdnum import ean

from dispatch.domain.needs import Asked
from dispatch.labels import spoken
from dispatch.models import Consignee, Shipment
from dispatch.requests.services import take_request
from kitting.models import JournalHead, LabelWord, Product, User, Workshop
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in, text_of
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

PAPERS = ("packing-list", "delivery-note")


def address_of(shipment: Shipment, paper: str) -> str:
    return reverse(f"dispatch:{paper}", args=[shipment.number])


def read(client: Client, address: str) -> tuple[PdfReader, str]:
    """The document, and its text without the thin spaces of numbers."""
    answer = client.get(address)
    assert answer.headers["Content-Type"] == "application/pdf"
    document = PdfReader(BytesIO(answer.content))
    text = "\n".join(page.extract_text() for page in document.pages)
    return document, re.sub(r"[\u2009\u202f]", "", text)


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


@once_a_module
def shipment() -> Shipment:
    """Three boxes of two sizes, with SSCCs, sent."""
    Workshop.objects.update(gs1_prefix="9521234", country="GB")
    recipe = factories.make_recipe(name="Face shield")
    small, large = factories.make_size(recipe, 6), factories.make_size(recipe, 24)
    boxes = [factories.make_labelled_box(size) for size in (small, large, small)]
    whom = factories.make_consignee("Thornwick Children's")
    Consignee.objects.filter(pk=whom.pk).update(
        contact="Stores, 214", opening="Mon-Fri 7-15"
    )
    asked = Asked(sets=12, tier=1, way="mail")
    product = small.product_id
    take_request(consignee_id=whom.pk, product_id=product, asked=asked, sign=sign())
    return factories.send(factories.make_shipment(*boxes, consignee=whom))


def test_who_may_see_shipments_may_print_their_papers(
    client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    shipment = factories.make_shipment(factories.make_labelled_box())
    packer = client_for(factories.make_person("packer"))
    for paper in PAPERS:
        address = address_of(shipment, paper)
        assert_sent_to_sign_in(client.get(address))
        assert client_for(outsider).get(address).status_code == 403
        assert packer.get(address).status_code == 200
        assert packer.post(address).status_code == 405
        assert packer.get(f"/shipments/S1999999X/{paper}/").status_code == 404


def test_the_packing_list_has_every_box_with_all_that_tells_it_apart(
    clerk: Client, shipment: Shipment
) -> None:
    document, text = read(clerk, address_of(shipment, "packing-list"))
    assert len(document.pages) == 1
    for row in shipment.shipment_boxes.select_related("box__size"):
        box = row.box
        assert str(box.serial) in text
        # GS1 General Specifications, 7.9: the check digit is that of every GS1 key.
        assert box.sscc in text
        assert ean.calc_check_digit(box.sscc[:-1]) == box.sscc[-1]
        assert box.packed_on.isoformat() in text
        assert all(line.lot.number in text for line in box.lines.all())
    assert re.search(r"Total\s+3\s+36", text)
    assert "may still change" not in text


def test_the_delivery_note_says_who_brings_what_and_what_its_receiver_fills_in(
    clerk: Client, shipment: Shipment
) -> None:
    document, text = read(clerk, address_of(shipment, "delivery-note"))
    assert len(document.pages) == 1
    sent_on = factories.TODAY.isoformat()
    request = Shipment.objects.get(pk=shipment.pk).shipment_boxes.exclude(request=None)
    for said in (
        *("Delivery note", "Thornwick Children's", "1 Ward Road", "Stores, 214"),
        *("Takes deliveries: Mon-Fri 7-15", f"Sent: {sent_on}", "Driver: Driver 2"),
        *("Boxes counted", "Short", "Damaged", "Signature", "Page 1 of 1"),
        request[0].request.number,  # type: ignore[union-attr]
    ):
        assert said in text, said
    assert re.search(r"Face shield\s+24\s+1\s+24", text)
    assert re.search(r"Face shield\s+6\s+2\s+12", text)


@pytest.mark.parametrize("paper", PAPERS)
def test_it_is_in_the_language_of_its_consignee(
    clerk: Client, paper: str, shipment: Shipment
) -> None:
    Consignee.objects.update(language="de-AT")
    _document, text = read(clerk, address_of(shipment, paper))
    for word in ("ship_to", "ship_from", "sent", "driver", "sets_inside", "total"):
        assert spoken.GERMAN[word] in text
        if spoken.ENGLISH[word] != spoken.GERMAN[word]:
            assert not re.search(rf"^{spoken.ENGLISH[word]}\b", text, re.M), word
    assert "Seite 1 von 1" in text


@pytest.mark.parametrize("paper", PAPERS)
def test_a_language_that_the_workshop_filled_in_is_spoken(
    clerk: Client, paper: str, shipment: Shipment
) -> None:
    """Greek, whose letters the typeface has; what a protocol says stays in English."""
    said = {word: f"Λέξη {nth}" for nth, word in enumerate(spoken.ENGLISH)}
    said["page"] = "Σελίδα {page} από {pages}"
    LabelWord.objects.bulk_create(
        LabelWord(language="el", word=word, text=text) for word, text in said.items()
    )
    Consignee.objects.update(language="el")
    _document, text = read(clerk, address_of(shipment, paper))
    for word in (paper.replace("-", "_"), "ship_to", "driver", "total"):
        assert said[word] in text, word
    assert "Σελίδα 1 από 1" in text
    assert "Ship to" not in text


def test_the_words_of_a_product_warn_on_both(clerk: Client, shipment: Shipment) -> None:
    Product.objects.update(cautions="A splash barrier.", cautions_reviewed_by="quality")
    for paper in PAPERS:
        _document, text = read(clerk, address_of(shipment, paper))
        assert "A splash barrier." in text


@pytest.mark.parametrize("paper", PAPERS)
def test_the_newest_link_is_on_it_as_a_proof_expects_it(
    clerk: Client, paper: str, shipment: Shipment
) -> None:
    _document, text = read(clerk, address_of(shipment, paper))
    head = JournalHead.objects.get()
    printed = f"{head.site}/{head.seq}:{bytes(head.hash).hex()[:16]}"
    assert printed in text
    factories.seal_set_up()
    call_command("prove", "--no-record", "--expect", printed)


def test_an_open_one_says_that_it_may_change_and_an_empty_one_has_none(
    clerk: Client,
) -> None:
    whole = factories.make_shipment(factories.make_labelled_box())
    empty = factories.make_shipment()
    for paper in PAPERS:
        _document, text = read(clerk, address_of(whole, paper))
        assert spoken.ENGLISH["not_sent"] in text
        answer = clerk.get(address_of(empty, paper), follow=True)
        assert "No box is in the shipment" in text_of(answer)


@pytest.mark.parametrize(
    ("country", "width"), [("GB", 210.0), ("", 210.0), ("US", 215.9), ("CA", 215.9)]
)
def test_the_paper_is_that_of_the_workshop_s_country(
    clerk: Client, country: str, width: float, shipment: Shipment
) -> None:
    """Unicode CLDR, supplemental data, ``paperSize``; ISO 216 has A4, ANSI Letter."""
    Workshop.objects.update(country=country)
    document, _text = read(clerk, address_of(shipment, "delivery-note"))
    assert float(document.pages[0].mediabox.width) / 72 * 25.4 == pytest.approx(
        width, abs=0.2
    )


def test_what_the_typeface_lacks_is_said_on_the_page(
    clerk: Client, shipment: Shipment
) -> None:
    Consignee.objects.update(name="医院")
    answer = clerk.get(address_of(shipment, "packing-list"), follow=True)
    assert_page(answer)
    assert "has no “医”, which is in “医院”" in text_of(answer)


def test_a_demo_says_so_across_every_paper(clerk: Client, shipment: Shipment) -> None:
    Workshop.objects.update(demo=True)
    for paper in PAPERS:
        _document, text = read(clerk, address_of(shipment, paper))
        assert "NOT FOR USE" in text


def test_its_queries_do_not_grow_with_the_boxes(
    clerk: Client, django_assert_max_num_queries: Callable[..., object]
) -> None:
    size = factories.make_size(factories.make_recipe())
    boxes = [factories.make_labelled_box(size) for _ in range(4)]
    shipment = factories.make_shipment(*boxes)
    with django_assert_max_num_queries(14):  # type: ignore[attr-defined]
        _document, text = read(clerk, address_of(shipment, "packing-list"))
    assert text.count(str(size.sets)) >= 4


# -- The driver's copy -----------------------------------------------------------------

ROUND = reverse("dispatch:shipment-round")


def test_the_stops_stand_in_the_order_that_was_chosen(clerk: Client) -> None:
    first, second, third = (
        factories.make_shipment(
            factories.make_labelled_box(), consignee=factories.make_consignee(name)
        )
        for name in ("Eskmoor General", "Thornwick Children's", "Lodebridge Hospice")
    )
    factories.send(first)
    Consignee.objects.filter(name="Lodebridge Hospice").update(
        night_contact="Porter, 7", contact="Ward clerk, 12", opening="7-15"
    )
    day = factories.TODAY.isoformat()
    order = {f"stop-{third.number}": 1, f"stop-{first.number}": 2}
    assert_page(clerk.get(ROUND, {"on": day}))
    _document, text = read(
        clerk,
        f"{ROUND}?on={day}&as=pdf&{'&'.join(f'{k}={v}' for k, v in order.items())}",
    )
    assert text.index("1. Lodebridge Hospice") < text.index("2. Eskmoor General")
    assert "Thornwick" not in text
    assert second.number not in text
    for said in ("Porter, 7", "Ward clerk, 12", "7-15", "Signature", "Boxes 1, sets 6"):
        assert said in text
    assert text.count("Not sent yet") == 1


def test_only_what_left_on_the_day_or_is_open_is_offered(clerk: Client) -> None:
    sent = factories.send(factories.make_shipment(factories.make_labelled_box()))
    open_ = factories.make_shipment(factories.make_labelled_box())
    factories.make_shipment()
    on = {"on": factories.TODAY.isoformat()}
    rows = [row.number for row, _field in clerk.get(ROUND, on).context["rows"]]
    assert rows == [sent.number, open_.number]
    other = clerk.get(ROUND, {"on": date(2026, 1, 1).isoformat()})
    assert [row.number for row, _field in other.context["rows"]] == [open_.number]


@pytest.mark.parametrize("stop", ["x", "0", "1000", "-1", "9" * 30, "\x00"])
def test_an_order_that_cannot_be_read_is_said(clerk: Client, stop: str) -> None:
    shipment = factories.make_shipment(factories.make_labelled_box())
    answer = clerk.get(ROUND, {f"stop-{shipment.number}": stop, "as": "pdf"})
    assert_page(answer, status=422)
    assert answer.context["form"].errors


def test_without_a_stop_the_page_stays(clerk: Client) -> None:
    factories.make_shipment(factories.make_labelled_box())
    assert_page(clerk.get(ROUND, {"as": "pdf"}))
