"""Whom a recall lookup names, with what they have; and what a hold says it stops."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from html import unescape
from io import BytesIO

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from dispatch.domain.receipts import BoxSaid
from dispatch.models import Consignee
from dispatch.recall.queries.recall import bags_stopped
from dispatch.receipts.services.deliveries import correct_delivery, record_delivery
from kitting.domain.shown import spaced
from kitting.ledger import holds
from kitting.lots.services import lots
from kitting.lots.services.scrap import scrap
from kitting.models import Bag, Box, BoxSize, Lot, User
from kitting.packing.services import boxes as packing
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later
from tests.kitting.ledger.ledger_receipts import said as noted

pytestmark = pytest.mark.django_db

PAGE = reverse("dispatch:recall")
LOG = reverse("dispatch:log")


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def labelled_from(size: BoxSize, bag: Bag) -> Box:
    """A labelled box of six sets, filled from one bag."""
    box = factories.make_open_box(size, None, bag)
    packing.close_box(box_id=box.pk, sign=sign())
    box.refresh_from_db()
    print_box_label(box_id=box.pk, sign=sign())
    packing.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    return box


def two_boxes_of_one_lot() -> tuple[Lot, list[str], list[Consignee]]:
    """Two boxes from one lot, sent to two consignees that share a name."""
    size = factories.make_size(factories.make_recipe())
    revision = size.product.recipes.get().lines.get().revision
    six = lots.NewBag(pieces=6)
    lot = factories.make_lot(revision, bags=(six, six))
    boxes = [labelled_from(size, bag) for bag in lot.bags.order_by("pk")]
    names = [factories.make_consignee("Farrow Health Centre") for _ in boxes]
    for box, whom in zip(boxes, names, strict=True):
        factories.send(factories.make_shipment(box, consignee=whom))
    return lot, [str(box.serial) for box in boxes], names


@pytest.mark.smoke
def test_each_consignee_stands_with_its_address_contact_and_boxes(
    quality: Client,
) -> None:
    lot, serials, names = two_boxes_of_one_lot()
    names[0].contact = "Stores, extension 214"
    names[0].save()
    answer = quality.get(PAGE, {"q": lot.number})
    reached = answer.context["reached"]
    assert [(one.code, [box.serial for box in one.boxes]) for one in reached] == [
        (whom.code, [serial]) for whom, serial in zip(names, serials, strict=True)
    ]
    assert [one.pieces for one in reached] == [6, 6]
    text = answer.content.decode()
    part = text[text.index('id="consignees"') : text.index('id="boxes"')]
    assert "1 Ward Road<br>Eskmoor" in part
    assert "Stores, extension 214" in part
    assert all(f'href="?q={serial}"' in part for serial in serials)


def test_the_log_is_one_link_away_filtered_by_consignee_and_lot(
    quality: Client,
) -> None:
    lot, _serials, names = two_boxes_of_one_lot()
    other = factories.send(
        factories.make_shipment(factories.make_labelled_box(), consignee=names[0])
    )
    text = quality.get(PAGE, {"q": lot.number}).content.decode()
    address = f"{LOG}?consignee={names[0].code}&lot={lot.number}"
    assert address in unescape(text)
    rows = quality.get(address).context["rows"]
    assert [row.shipment.consignee.code for row in rows] == [names[0].code]
    assert other.number not in [row.shipment.number for row in rows]


def test_a_bag_links_to_its_lot_and_a_box_to_all_that_its_consignee_got(
    quality: Client, box: Box
) -> None:
    whom = factories.make_consignee()
    factories.send(factories.make_shipment(box, consignee=whom))
    bag = box.lines.get().bag
    of_bag = unescape(quality.get(PAGE, {"q": bag.number}).content.decode())
    assert f"{LOG}?consignee={whom.code}&lot={bag.lot.number}" in of_bag
    of_box = unescape(quality.get(PAGE, {"q": box.serial}).content.decode())
    assert f'"{LOG}?consignee={whom.code}"' in of_box


def test_a_consignee_without_address_is_told_to_be_so(
    quality: Client, box: Box
) -> None:
    whom = Consignee.objects.create(code="BARE", name="Lodebridge Hospice")
    factories.send(factories.make_shipment(box, consignee=whom))
    text = quality.get(PAGE, {"q": box.serial}).content.decode()
    assert "No address and no contact is on record." in text


def test_boxes_that_are_here_reach_nobody(quality: Client, box: Box) -> None:
    factories.make_shipment(box)  # loaded, not sent
    answer = quality.get(PAGE, {"q": box.serial})
    assert answer.context["reached"] == []
    assert "No box with any of it has left." in answer.content.decode()


# -- What a hold says it stops -----------------------------------------------------


def said_after_holding(client: Client, number: str) -> str:
    page = client.get(PAGE, {"q": number})
    first = page.context["form"].fields["on"].choices[0][0]
    data = {"op_key": str(uuid.uuid4()), "on": first, "reason": "Crack"}
    answer = client.post(page.context["hold_address"], data, follow=True)
    return " ".join(str(message) for message in answer.context["messages"])


def test_a_hold_names_the_boxes_and_bags_that_it_stops(quality: Client) -> None:
    size = factories.make_size(factories.make_recipe())
    revision = size.product.recipes.get().lines.get().revision
    bags = (lots.NewBag(pieces=24), lots.NewBag(pieces=6))
    lot = factories.make_lot(revision, bags=bags)
    boxes = [labelled_from(size, bag) for bag in lot.bags.order_by("pk")]
    factories.send(factories.make_shipment(*boxes))
    said = said_after_holding(quality, lot.number)
    # 24 and 6 pieces came in, two boxes of six left: 18 are in one bag, one is empty.
    assert said == (
        "The hold is placed. It stops 18\N{NO-BREAK SPACE}pieces in 1\N{NO-BREAK SPACE}bag."
        " 2 boxes have left already: their consignees must be told."
    )
    other = factories.make_bag(revision, 10)
    labelled_from(size, other)
    said = said_after_holding(quality, other.number)
    assert said == (
        "The hold is placed. It stops 1\N{NO-BREAK SPACE}box here and 4\N{NO-BREAK SPACE}pieces in 1\N{NO-BREAK SPACE}bag."
    )


@pytest.mark.smoke
def test_a_hold_that_stops_nothing_here_says_so(quality: Client, box: Box) -> None:
    factories.send(factories.make_shipment(box))
    said = said_after_holding(quality, str(box.serial))
    assert said.startswith("The hold is placed. Nothing that it reaches is here now.")
    assert said.endswith("its consignee must be told.")


def test_bags_of_lots_made_from_a_held_lot_are_counted_by_unit() -> None:
    sheet = factories.make_bag(pieces=1_000, unit="gram").lot
    revision = factories.make_bag().lot.revision
    thirty = lots.NewBag(pieces=30)
    factories.make_lot(revision, bags=(thirty, thirty), made_from=((sheet.pk, 100),))
    held = holds.place_hold(target="lot", value=sheet.pk, reason="Wet", sign=sign())
    stopped = bags_stopped(held.hold_id)
    assert [(one.unit, one.amount, one.bags) for one in stopped] == [
        ("gram", 900, 1),
        ("piece", 60, 2),
    ]


def opening(page: str) -> str:
    """The first line of a page, as it is read."""
    inside = page[page.index('class="answer"') :].split("</p>")[0]
    words = re.sub(r"<[^>]*>", "", inside.split(">", 1)[1])
    return re.sub(r"\s+", " ", unescape(words)).strip()


def test_the_first_line_says_where_every_piece_is(quality: Client) -> None:
    size = factories.make_size(factories.make_recipe())
    revision = size.product.recipes.get().lines.get().revision
    bags = tuple(lots.NewBag(pieces=many) for many in (6, 6, 6, 18, 4))
    lot = factories.make_lot(revision, bags=bags)
    first, second, third, _fourth, bad = lot.bags.order_by("pk")
    boxes = [labelled_from(size, bag) for bag in (first, second, third)]
    for box in boxes[:2]:
        whom = factories.make_consignee("Farrow Health Centre")
        factories.send(factories.make_shipment(box, consignee=whom))
    scrap(bag_id=bad.pk, pieces=4, reason="Damaged", sign=sign())
    page = quality.get(PAGE, {"q": lot.number}).content.decode()
    assert opening(page) == (
        f"Lot {lot.number}: 40 pieces received: 18 pieces in 1 bag here,"
        " 12 pieces in 2 boxes sent to 2 consignees, 6 pieces in 1 box here,"
        " 4 pieces scrapped; nothing is unaccounted for."
    )
    named = quality.get(PAGE, {"q": bad.number}).content.decode()
    assert opening(named) == (
        f"Bag {bad.number}: 4 pieces received: 4 pieces scrapped;"
        " nothing is unaccounted for."
    )
    assert 'href="#balance">4' in named


def test_the_call_sheet_has_who_is_called_about_which_boxes(quality: Client) -> None:
    lot, serials, names = two_boxes_of_one_lot()
    names[0].contact, names[0].night_contact = "Stores, ext. 214", "Porter, ext. 9"
    names[0].save()
    address = reverse("dispatch:recall-calls")
    page = quality.get(PAGE, {"q": lot.number}).content.decode()
    assert f'href="{address}?q={lot.number}"' in page
    answer = quality.get(address, {"q": lot.number})
    assert answer.headers["Content-Type"] == "application/pdf"
    reader = PdfReader(BytesIO(answer.content))
    text = " ".join(each.extract_text() for each in reader.pages)
    for said in (*map(spaced, serials), "Stores, ext. 214", "Porter, ext. 9"):
        assert said in text
    assert "12 pieces received: 12 pieces in 2 boxes sent to 2 consignees" in re.sub(
        r"\s+", " ", text
    )
    assert text.count("not on record") == 2


def test_there_is_no_call_sheet_where_nobody_has_any(quality: Client) -> None:
    lot = factories.make_lot()
    address = reverse("dispatch:recall-calls")
    answer = quality.get(address, {"q": lot.number}, follow=True)
    assert answer.redirect_chain == [(f"{PAGE}?q={lot.number}", 302)]
    assert "there is nobody to call" in answer.content.decode()
    assert address not in answer.content.decode()
    assert quality.get(address, {"q": "HB-9999"}).status_code == 404


def test_a_box_that_was_received_short_says_so(quality: Client) -> None:
    """As the newest note of ours has it; what a consignee says by its link is not that."""
    lot, serials, _names = two_boxes_of_one_lot()
    first, second = (Box.objects.get(serial=serial) for serial in serials)
    for box, counted in ((first, 4), (second, 5)):
        shipment = box.shipment_boxes.get().shipment
        short = noted(shipment, 1, BoxSaid(box.pk, "short", counted))
        by = later(shipment)
        record_delivery(shipment_id=shipment.pk, said=short, sign=by)
    whole = noted(shipment, 1)
    newest = {"seen": shipment.receipts.get().pk, "reason": "Found behind a shelf"}
    by = later(shipment, 3)
    correct_delivery(shipment_id=shipment.pk, said=whole, **newest, sign=by)
    page = quality.get(PAGE, {"q": lot.number})
    assert [box.short for box in page.context["found"].boxes] == [4, None]
    text = page.content.decode().replace("\N{NO-BREAK SPACE}", " ")
    assert text.count("received short, counted: 4 sets") == 2
    rows = b"".join(quality.get(PAGE, {"q": lot.number, "as": "csv"})).decode()
    assert "received_short" in rows
    sheet = quality.get(reverse("dispatch:recall-calls"), {"q": lot.number})
    pages = PdfReader(BytesIO(sheet.content)).pages
    told = " ".join(page.extract_text() for page in pages)
    assert told.count("received short, sets counted: ") == 1
    assert "received short, sets counted: 4" in told
