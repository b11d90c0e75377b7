"""The pages of allotments: proposed from the address, moved, confirmed, released."""

from __future__ import annotations

import html
import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from dispatch.domain.needs import RequestStage
from dispatch.models import Allotment, Consignee, Promise, Request
from kitting.domain.errors import Refused
from kitting.ledger import holds
from kitting.models import Box, BoxSize, Operation, Product
from tests import factories
from tests.assertions import (
    assert_page,
    assert_sent_to_sign_in,
)
from tests.databases import once_a_module
from tests.dispatch.allotment.allotting import ask, confirm, load, pack, promised
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

NEW = reverse("dispatch:allotment-new")
LIST = reverse("dispatch:allotments")
OK, MOVED, FORBIDDEN, NOT_FOUND, CONFLICT, UNFIT = 200, 302, 403, 404, 409, 422
MOST_QUERIES = 15


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    later = factories.NOW + timedelta(minutes=15)
    monkeypatch.setattr(timezone, "now", lambda: later)


@once_a_module
def boxes() -> list[Box]:
    """Four boxes of six, ready to go."""
    first = factories.make_labelled_box()
    return [first, *pack(first.size, 3)]


@pytest.fixture
def product(boxes: list[Box]) -> Product:
    return boxes[0].size.product


@once_a_module
def hill() -> Consignee:
    return factories.make_consignee("Hill")


@once_a_module
def dale() -> Consignee:
    return factories.make_consignee("Dale")


@pytest.fixture
def clerk(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("clerk", group="clerk"))  # type: ignore[no-any-return]


def text_of(page: Any) -> str:
    """What a page says, without its tags."""
    bare = re.sub(r"<[^>]+>", " ", page.content.decode())
    return re.sub(r" ([.,;:])", r"\1", " ".join(html.unescape(bare).split()))


def sent_of(page: Any, **more: str) -> dict[str, str]:
    """What the page's form sends."""
    form = page.context["form"]
    hidden = {name: str(form[name].value()) for name in ("op_key", "seen", "beyond")}
    return {**hidden, **more}


def test_the_proposal_says_who_gets_what_and_why(
    clerk: Client, product: Product, hill: Consignee, dale: Consignee
) -> None:
    ask(hill, product, 600, tier=1)
    ask(dale, product, 10, tier=3)
    before = Operation.objects.count()
    page = clerk.get(NEW)
    assert_page(page)
    text = text_of(page)
    assert "2 requests lack 610 sets" in text
    assert "To promise: 4 boxes with 24 sets." in text
    shown = page.content.decode()
    assert shown.index('href="#promise"') < shown.index('id="promise"')
    assert "A fair share is 24 sets now; whole boxes come to 24 sets." in text
    assert "Nothing is left: whoever needs it more comes first." in text
    assert Operation.objects.count() == before
    assert clerk.get(NEW).content != b""


@pytest.mark.smoke
def test_what_is_confirmed_is_promised_and_shown(
    clerk: Client, product: Product, hill: Consignee
) -> None:
    row = ask(hill, product, 60)
    page = clerk.get(NEW, {"product": product.code, "window": "0"})
    sent = sent_of(page)
    done = clerk.post(page.context["action"], sent)
    made = Allotment.objects.get()
    assert (made.window, made.product) == (0, product)
    assert done["Location"] == reverse("dispatch:allotment-detail", args=[made.number])
    assert clerk.post(page.context["action"], sent)["Location"] == done["Location"]
    assert promised(product) == {row.number: {6: 4}}
    text = text_of(clerk.get(done["Location"]))
    assert "4 boxes with 24 sets to 1 request. Still to be loaded: 4." in text
    assert made.number in text_of(clerk.get(LIST)).replace(" ", "")
    found = clerk.get(reverse("kitting:find"), {"q": made.number})
    assert found["Location"] == done["Location"]


def test_boxes_are_moved_in_the_address_and_need_a_reason(
    clerk: Client, product: Product, hill: Consignee, dale: Consignee
) -> None:
    first, second = ask(hill, product, 60), ask(dale, product, 60)
    move = {"boxes": "1", "size": "6", "by": first.number, "to": second.number}
    to = clerk.get(NEW, {"product": product.code, "add": "move", **move})["Location"]
    page = clerk.get(to)
    assert "1 box of 6 sets from Hill" in text_of(page)
    assert "proposed 2" in text_of(page)
    again = clerk.post(page.context["action"], sent_of(page, reason=" "))
    assert again.status_code == UNFIT
    assert not Allotment.objects.exists()
    done = clerk.post(
        again.context["action"], sent_of(again, reason="The van goes there")
    )
    assert set(Promise.objects.values_list("proposed", "boxes")) == {(2, 1), (2, 3)}
    text = text_of(clerk.get(done["Location"]))
    assert "The van goes there" in text
    fair = "A fair share is 12 sets now; whole boxes come to 12 sets."
    for much in ("6 sets fewer", "6 sets more"):
        assert f"By hand it gets {much} than was proposed. Proposed: {fair}" in text
    assert "3 of 6 (proposed 2)" in text


def test_a_move_that_cannot_be_is_answered_where_it_was_asked(
    clerk: Client, product: Product, hill: Consignee
) -> None:
    row = ask(hill, product, 60)
    move = {"add": "move", "boxes": "9", "size": "6", "by": row.number, "to": ""}
    page = clerk.get(NEW, move)
    assert page.status_code == UNFIT
    assert "Boxes of 6 to move from there: 4" in text_of(page)
    stale = clerk.get(NEW, {"move": f"9:6:{row.number}:"})
    assert stale.status_code == OK
    assert "Boxes of 6 to move from there: 4" in text_of(stale)
    assert "Promise 4 boxes" not in text_of(stale)


def test_who_is_first_of_several_with_the_last_box_is_told_why(
    clerk: Client, boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    """Three boxes for two that had nothing: the one whose code comes first has two."""
    factories.send(factories.make_shipment(boxes[0]))
    rows = {each.code: ask(each, product, 60) for each in (hill, dale)}
    first, second = (rows[code].number for code in sorted(rows))
    page = clerk.get(NEW)
    why = {row.asked.number: said for row, _need, said in page.context["rows"]}
    tie = "Of those that had as little its code comes first."
    assert tie in why[first]
    assert tie not in why[second]
    done = clerk.post(page.context["action"], sent_of(page))
    assert text_of(clerk.get(done["Location"])).count(tie) == 1
    assert promised(product) == {first: {6: 2}, second: {6: 1}}


def test_more_than_can_be_shared_is_said_and_no_error(
    clerk: Client, boxes: list[Box], product: Product, hill: Consignee
) -> None:
    row = ask(hill, product, 100_000)
    many = [Request(number=f"R{nth}", **_like(row)) for nth in range(100)]
    Request.objects.bulk_create(many)
    page = clerk.get(NEW)
    assert_page(page)
    assert f"Open requests of {hill.code} come to more than 10000000 sets" in text_of(
        page
    )
    with pytest.raises(Refused, match="asked_too_much"):
        confirm(product)
    Request.objects.get(number="R1").delete()
    assert "To promise: 4 boxes" in text_of(clerk.get(NEW))


def _like(row: Request) -> dict[str, Any]:
    names = ("consignee", "product", "sets", "tier", "asked_on", "way", "taken_by")
    return {name: getattr(row, name) for name in names}


def test_a_weight_is_taken_with_its_reason_and_undone(
    clerk: Client, product: Product, hill: Consignee, dale: Consignee
) -> None:
    ask(hill, product, 60)
    ask(dale, product, 60)
    term = {
        "add": "term",
        "who": hill.code,
        "weight": "3",
        "floor": "",
        "why": "3 wards",
    }
    page = clerk.get(clerk.get(NEW, term)["Location"])
    text = text_of(page)
    assert "It counts 3 times. 3 wards" in text
    assert "Hill counts 3 times;" in text
    [(_term, _name, without)] = page.context["terms"]
    assert "It counts 3 times" not in text_of(clerk.get(without))
    lacking = clerk.get(NEW, {**term, "why": ""})
    assert lacking.status_code == UNFIT
    assert clerk.get(NEW, {**term, "weight": "0"}).status_code == UNFIT


def test_what_benches_can_pack_is_counted_in(
    clerk: Client, product: Product, hill: Consignee
) -> None:
    ask(hill, product, 60)
    few = clerk.get(NEW, {"product": product.code, "pack_6": "0"})
    assert "more than now" not in text_of(few)
    page = clerk.get(NEW, {"product": product.code, "pack_6": "2"})
    # Nothing is cleared: it may be by noon, but that is said.
    assert "more than now" in text_of(page)
    assert "Promise 6 boxes with 36 sets" in text_of(page)
    clerk.post(page.context["action"], sent_of(page))
    assert Promise.objects.get().boxes == 6


@pytest.mark.smoke
def test_the_second_clerk_is_told_and_sees_what_is_there_now(
    clerk: Client, product: Product, hill: Consignee, dale: Consignee
) -> None:
    ask(hill, product, 12)
    page = clerk.get(NEW)
    done = confirm(product, by=sign_by_another())
    later = ask(dale, product, 60)
    told = clerk.post(page.context["action"], sent_of(page))
    assert told.status_code == CONFLICT
    assert f"confirmed allotment {done.allotment}" in text_of(told)
    first = reverse("dispatch:allotment-detail", args=[done.allotment])
    assert f'href="{first}"' in told.content.decode()
    clerk.post(told.context["action"], sent_of(told))
    assert promised(product)[later.number] == {6: 2}


@pytest.mark.parametrize("others", [True, False])
def test_a_lost_answer_is_had_again_once_nobody_asks_for_the_product(
    clerk: Client, product: Product, hill: Consignee, *, others: bool
) -> None:
    row = ask(hill, product, 12)
    page = clerk.get(NEW, {"product": product.code})
    sent = sent_of(page)
    first = clerk.post(page.context["action"], sent)
    if others:
        ask(hill, factories.make_labelled_box().size.product, 12)
    Request.objects.filter(pk=row.pk).update(stage=RequestStage.SERVED)
    again = clerk.post(page.context["action"], sent)
    assert again.status_code == MOVED
    assert again["Location"] == first["Location"]
    shown = clerk.get(page.context["action"])
    assert f"Nobody lacks boxes of {product.name}" in text_of(shown)
    assert shown.context["asking"].product == product


def test_odd_addresses_are_answered(
    clerk: Client, product: Product, hill: Consignee
) -> None:
    ask(hill, product, 60)
    odd = {
        "product": "NO",
        "window": "-1",
        "pack_6": "x",
        "term": "a:b",
        "move": "1:2",
        "add": "?",
    }
    page = clerk.get(NEW, odd)
    assert_page(page)
    assert "Promise 4 boxes with 24 sets" in text_of(page)
    for term in (
        f"{hill.code}:20:0:a\0b",
        f"{hill.code}:0:0:so",
        f"{hill.code}:²:0:so",
    ):
        assert clerk.get(NEW, {"term": term}).context["terms"] == []
    for seen in ("", ".", "x.y", "0.0"):
        sent = sent_of(page) | {"seen": seen or " "}
        told = clerk.post(page.context["action"], sent)
        assert told.status_code in {CONFLICT, UNFIT}
    assert not Allotment.objects.exists()


def test_without_a_request_there_is_nothing_to_share(clerk: Client) -> None:
    Request.objects.update(stage=RequestStage.CANCELLED)
    assert "nothing to share" in text_of(clerk.get(NEW))
    assert "No boxes were allotted yet" in text_of(clerk.get(LIST))


def test_a_promise_is_released_on_its_page(
    clerk: Client, boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    first, second = ask(hill, product, 60), ask(dale, product, 60)
    number = confirm(product).allotment
    load(factories.make_shipment(consignee=hill), boxes[0])
    to = reverse("dispatch:allotment-release", args=[number])
    assert "3 boxes of" in text_of(clerk.get(to))
    page = clerk.get(to, {"request": first.number})
    sent = {
        "op_key": str(uuid.uuid4()),
        "request": first.number,
        "reason": "Closed for the weekend",
    }
    assert clerk.post(to, {**sent, "reason": ""}).status_code == UNFIT
    assert_page(page)
    clerk.post(to, sent)
    clerk.post(to, sent)
    assert promised(product) == {second.number: {6: 2}}
    detail = text_of(clerk.get(reverse("dispatch:allotment-detail", args=[number])))
    assert "Closed for the weekend" in detail
    confirm_all = {**sent, "op_key": str(uuid.uuid4()), "request": ""}
    clerk.post(to, confirm_all)
    assert promised(product) == {}
    assert clerk.get(to).status_code == MOVED


def test_who_may_see_and_who_may_act(
    client: Client,
    outsider: Any,
    make_user: Any,
    client_for: Any,
    product: Product,
    hill: Consignee,
) -> None:
    ask(hill, product, 60)
    number = confirm(product).allotment
    release = reverse("dispatch:allotment-release", args=[number])
    detail = reverse("dispatch:allotment-detail", args=[number])
    packer = client_for(make_user("packer", group="packer"))
    for address in (NEW, release):
        assert_sent_to_sign_in(client.get(address))
        assert packer.get(address).status_code == FORBIDDEN
    for address in (LIST, detail):
        assert_sent_to_sign_in(client.get(address))
        assert client_for(outsider).get(address).status_code == FORBIDDEN
        assert_page(packer.get(address))
    missing = reverse("dispatch:allotment-detail", args=["A1000009X"])
    assert packer.get(missing).status_code == NOT_FOUND


def test_five_hundred_requests_are_proposed_with_few_queries(
    clerk: Client, product: Product, hill: Consignee
) -> None:
    row = ask(hill, product, 60)
    confirm(product)
    size = BoxSize.objects.get(product=product)
    held = pack(size, 5)[0]
    holds.place_hold(target="box", value=held.pk, reason="Wet", sign=sign())
    whom = Consignee.objects.bulk_create(
        Consignee(code=f"W{nth}", name=f"Ward {nth}") for nth in range(499)
    )
    Request.objects.bulk_create(
        Request(
            number=f"Q-{nth}",
            consignee=each,
            product=product,
            sets=nth + 1,
            tier=nth % 3 + 1,
            asked_on=row.asked_on,
            way=row.way,
            taken_by="x",
        )
        for nth, each in enumerate(whom)
    )
    with CaptureQueriesContext(
        connection,
    ) as caught:
        page = clerk.get(NEW)
    assert page.context["laid"].boxes == 4
    assert len(page.context["rows"]) == 500
    assert len(caught) <= MOST_QUERIES


def test_who_scans_what_is_promised_to_another_is_told_to_whom(
    clerk: Client, boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    row = ask(hill, product, 24)
    number = confirm(product).allotment
    shipment = factories.make_shipment(consignee=dale)
    scan = reverse("dispatch:shipment-scan", args=[shipment.number])
    sent = {"op_key": str(uuid.uuid4()), "scan": boxes[0].serial}
    told = clerk.post(scan, sent)
    assert told.status_code == UNFIT
    assert "Ready boxes of 6: 4, all promised to Hill (4)." in text_of(told)
    assert (
        f"on the page of allotment {number[:4]} {number[4:8]} {number[8:]}"
        in text_of(told)
    )
    at = reverse("dispatch:allotment-detail", args=[number])
    assert f'href="{at}"' in told.content.decode()
    own = factories.make_shipment(consignee=hill)
    page = text_of(clerk.get(reverse("dispatch:shipment-detail", args=[own.number])))
    assert "Promised to it: 4 boxes." in page
    page = text_of(clerk.get(reverse("dispatch:request-detail", args=[row.number])))
    assert "4 boxes of 6 sets, by" in page
    assert "Begin a shipment for it" in page
