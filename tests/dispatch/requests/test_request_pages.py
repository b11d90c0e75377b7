"""Requests on pages: taken in one form, seen with what would serve them, changed."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from dispatch.models import Consignee, Request, Shipment
from kitting.models import Box, User
from tests import factories
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


@once_a_module
def whom() -> Consignee:
    return factories.make_consignee("Ward's End")


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def words_of(response: HttpResponse) -> str:
    """What is read on a page."""
    return " ".join(unescape(re.sub("<[^>]+>", "", response.content.decode())).split())


def said(box: Box, whom: Consignee, **more: Any) -> dict[str, Any]:
    return {
        "op_key": str(uuid.uuid4()),
        "consignee": whom.code,
        "product": box.size.product_id,
        "sets": 18,
        "tier": 1,
        "way": "telephone",
        **more,
    }


def take(clerk: Client, box: Box, whom: Consignee, **more: Any) -> Request:
    answer = clerk.post(reverse("dispatch:request-new"), said(box, whom, **more))
    assert answer.status_code == 302, words_of(answer)
    return Request.objects.latest("pk")


def page_of(row: Request, what: str = "detail") -> str:
    return reverse(f"dispatch:request-{what}", args=[row.number])


@pytest.mark.smoke
def test_a_request_of_a_closed_one_leads_to_no_shipment(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    row = take(clerk, box, whom)
    shown = words_of(clerk.get(page_of(row)))
    assert "Begin a shipment for it" in shown
    assert "is closed" not in shown
    Consignee.objects.filter(pk=whom.pk).update(active=False)
    shown = words_of(clerk.get(page_of(row)))
    assert "Begin a shipment for it" not in shown
    assert "Ward's End is closed, so no shipment to it can begin." in shown
    page = reverse("dispatch:consignee-detail", args=[whom.code])
    shown = words_of(clerk.get(page))
    assert "It is closed: nothing more can be asked for" in shown
    assert "Its open requests" in shown


@pytest.mark.smoke
def test_a_shipment_that_is_open_already_is_named_before_another_begins(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    row = take(clerk, box, whom)
    factories.make_shipment()
    assert "open already" not in words_of(clerk.get(page_of(row)))
    there = factories.make_shipment(consignee=whom)
    shown = clerk.get(page_of(row))
    assert "Open already for Ward's End:" in words_of(shown)
    address = reverse("dispatch:shipment-detail", args=[there.number])
    assert f'href="{address}"' in shown.content.decode()


@pytest.mark.smoke
def test_a_shipment_says_which_request_each_box_serves(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    row = take(clerk, box, whom, sets=6)
    other = factories.make_labelled_box(size=box.size)
    there = factories.make_shipment(box, other, consignee=whom)
    page = reverse("dispatch:shipment-detail", args=[there.number])
    address = f'href="{page_of(row)}"'
    shown = clerk.get(page).content.decode()
    on = shown[shown.index('<ul class="boxes"') :]
    assert on.count(address) == 1
    factories.send(there)
    shown = clerk.get(page).content.decode()
    assert shown.count(address) == 1
    assert "Request" in words_of(clerk.get(page))


@pytest.mark.smoke
def test_a_way_that_there_is_not_is_said_in_words(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    said_ = said(box, whom, way="pigeon")
    answer = clerk.post(reverse("dispatch:request-new"), said_)
    assert "Choose how it was asked." in words_of(answer)


@pytest.mark.smoke
def test_a_request_is_taken_changed_and_cancelled(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    row = take(clerk, box, whom, caller="Night sister")
    shown = words_of(clerk.get(page_of(row)))
    assert "18 sets of" in shown
    assert "3 × 6 = 18 sets" in shown
    assert "2 of these 3 are yet to be packed. Of what is ready: 1 × 6 = 6" in shown
    assert "12 too few" in shown
    assert "Night sister" in shown
    change = clerk.get(page_of(row, "change"))
    assert f"How many sets of {box.size.product.name} does" in words_of(change)
    entries = change.context["form"].initial
    to = {**said(box, whom), "sets": 6, "seen": entries["seen"], "reason": "Fewer"}
    assert clerk.post(page_of(row, "change"), to).status_code == 302
    shown = words_of(clerk.get(page_of(row)))
    assert "1 × 6 = 6 sets All of these are ready to go." in shown
    seen = clerk.get(page_of(row, "cancel")).context["form"].initial["seen"]
    gone = {"op_key": str(uuid.uuid4()), "seen": seen, "reason": "Closed for good"}
    assert clerk.post(page_of(row, "cancel"), gone).status_code == 302
    row.refresh_from_db()
    assert (row.stage, row.sets) == ("cancelled", 6)
    for act in ("change", "cancel"):  # nothing is left to do there
        assert clerk.get(page_of(row, act))["Location"] == page_of(row)
    listed = reverse("dispatch:requests")
    assert row.number not in clerk.get(listed).content.decode()
    every = clerk.get(f"{listed}?stage=all&as=csv")
    assert row.number in b"".join(every.streaming_content).decode()  # type: ignore[attr-defined]


@pytest.mark.smoke
def test_a_slip_keeps_what_was_typed(clerk: Client, box: Box, whom: Consignee) -> None:
    page = reverse("dispatch:request-new")
    slip = said(box, whom, needed_by="2000-01-01", caller="Sister")
    answer = clerk.post(page, slip)
    assert answer.status_code == 422
    shown = words_of(answer)
    assert "2000-01-01 is over. Write a day from today on, or none." in shown
    assert 'value="Sister"' in answer.content.decode()
    assert "3 × 6 = 18 sets" in shown
    assert not Request.objects.exists()


def test_sending_the_form_twice_takes_one_request(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    twice = said(box, whom)
    page = reverse("dispatch:request-new")
    to = {clerk.post(page, twice)["Location"] for _ in range(2)}
    assert to == {page_of(Request.objects.get())}


@pytest.mark.parametrize("sets", ["", "x", "0", "100001", "9" * 400])
def test_what_is_no_number_of_sets_shows_no_boxes(
    clerk: Client, box: Box, sets: str
) -> None:
    page = reverse("dispatch:request-mix")
    shown = words_of(clerk.get(page, {"product": box.size.product_id, "sets": sets}))
    assert "Choose the product and write how many sets" in shown


def test_a_shipment_says_what_is_asked_for_and_begins_from_there(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    row = take(clerk, box, whom, sets=6, reference="PO 7")
    begin = {"op_key": str(uuid.uuid4()), "consignee": whom.code, "reference": "PO 7"}
    to = clerk.post(reverse("dispatch:shipment-new"), begin)["Location"]
    shown = words_of(clerk.get(to))
    assert "6 sets are left. Of what is ready: 1 × 6 = 6 sets" in shown
    assert f"Fetch 1 box {box.bench.place.name}" in shown
    shipment = Shipment.objects.get()
    scan = {"op_key": str(uuid.uuid4()), "scan": str(box.serial)}
    clerk.post(reverse("dispatch:shipment-scan", args=[shipment.number]), scan)
    assert "All of it is on a shipment or sent." in words_of(clerk.get(to))
    factories.send(shipment)
    row.refresh_from_db()
    assert row.stage == "served"
    shown = words_of(clerk.get(page_of(row)))
    assert f"{shipment.number[:4]}" in shown
    assert "1 box, 6 sets" in shown


def test_its_number_leads_to_its_page(
    clerk: Client, client_for: Callable[[User], Client], box: Box, whom: Consignee
) -> None:
    row = take(clerk, box, whom)
    for page, person in (
        ("kitting:find", client_for(factories.make_person("packer"))),
        ("dispatch:recall", clerk),
    ):
        answer = person.get(reverse(page), {"q": f" {row.number.lower()} "})
        assert answer["Location"] == page_of(row)
    scan = {"op_key": str(uuid.uuid4()), "scan": row.number}
    shipment = factories.make_shipment()
    answer = clerk.post(reverse("dispatch:shipment-scan", args=[shipment.number]), scan)
    assert "is a request, not a box" in words_of(answer)


def test_a_request_is_one_touch_away_for_who_may_take_it(
    clerk: Client, client_for: Callable[[User], Client]
) -> None:
    way = f'href="{reverse("dispatch:request-new")}"'
    checker = client_for(factories.make_person("checker"))
    for page in ("kitting:day", "kitting:lots", "dispatch:log"):
        assert way in clerk.get(reverse(page)).content.decode()
        assert way not in checker.get(reverse(page)).content.decode()


def test_who_may_not_send_boxes_reads_only(
    clerk: Client, client_for: Callable[[User], Client], box: Box, whom: Consignee
) -> None:
    row = take(clerk, box, whom)
    packer = client_for(factories.make_person("packer"))
    assert packer.get(page_of(row)).status_code == 200
    for name in ("request-new", "request-change", "request-cancel"):
        args = [] if name == "request-new" else [row.number]
        assert packer.get(reverse(f"dispatch:{name}", args=args)).status_code == 403
        assert packer.post(reverse(f"dispatch:{name}", args=args)).status_code == 403


def test_a_refused_form_keeps_the_boxes_that_would_serve(
    clerk: Client, box: Box, whom: Consignee
) -> None:
    said_ = said(box, whom, point="Ward 9")
    answer = clerk.post(
        reverse("dispatch:request-new"), said_, headers={"HX-Request": "true"}
    )
    assert answer.status_code == 422
    assert 'id="mix"' in answer.content.decode()
    assert "add it on the page of the consignee" in words_of(answer)
