"""Two consignees that are one: nothing past is bent, and both are seen together."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.allotment.queries.proposals import facts_of
from dispatch.consignees.services.consignees import (
    WhereTo,
    add_consignee,
    change_consignee,
    merge_consignees,
)
from dispatch.consignees.services.files import take_in_consignees
from dispatch.domain.needs import Asked, Tier, Way
from dispatch.models import (
    AllotmentLine,
    Consignee,
    Request,
    Shipment,
    ShipmentBox,
)
from dispatch.receipts.services.passing import pass_on
from dispatch.requests.queries.promises import open_promises
from dispatch.requests.services import take_request
from dispatch.shipments import services
from dispatch.shipments.queries.fetch import _lots_had
from kitting.domain.errors import Conflict, Missing, Refused
from kitting.ledger.reach import standing_reach
from kitting.models import Operation, User
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of
from tests.dispatch.allotment.allotting import confirm
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later

pytestmark = pytest.mark.django_db

WHERE = WhereTo(name="North End", country="GB", street="1 Road", city="Eskmoor")


def added(code: str, name: str = "North End") -> Consignee:
    to = WhereTo(**{**vars(WHERE), "name": name})
    add_consignee(code=code, to=to, sign=sign())
    return Consignee.objects.get(code=code)


def merge(one: Consignee, into: Consignee) -> None:
    why = "the same door"
    merge_consignees(code=one.code, into_id=into.pk, reason=why, sign=sign())
    for row in (one, into):
        row.refresh_from_db()


def page(row: Consignee, act: str = "merge") -> str:
    return reverse(f"dispatch:consignee-{act}", args=[row.code])


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def test_what_is_past_stays_and_is_shown_with_the_other(clerk: Client) -> None:
    stays, twice = added("A"), added("B", "Northend")
    box, other = factories.make_labelled_box(), factories.make_labelled_box()
    first = factories.send(factories.make_shipment(box, consignee=twice))
    second = factories.send(factories.make_shipment(other, consignee=stays))
    merge(twice, stays)
    assert (twice.active, twice.merged_into, stays.active) == (False, stays, True)
    assert Shipment.objects.get(pk=first.pk).consignee == twice
    rows = clerk.get(reverse("dispatch:log"), {"consignee": "A"}).context["rows"]
    assert {row.shipment.number for row in rows} == {first.number, second.number}
    rows = clerk.get(reverse("dispatch:log"), {"consignee": "B"}).context["rows"]
    assert [row.shipment.number for row in rows] == [first.number]
    recall = clerk.get(reverse("dispatch:recall"), {"q": box.serial})
    assert [who.code for who in recall.context["reached"]] == ["A"]
    assert "is on record twice" in text_of(clerk.get(page(twice, "detail")))
    assert "Northend" in text_of(clerk.get(page(stays, "detail")))
    assert factories.prove() == []


def test_what_both_had_counts_for_the_one_that_stays() -> None:
    stays, twice = added("A"), added("B")
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box, consignee=twice))
    ask(stays, box.size.product_id)
    merge(twice, stays)
    since = factories.NOW - timedelta(days=1)
    seen = facts_of(box.size.product_id, since, factories.TODAY, standing_reach())
    assert seen.received == {"A": 6}


def ask(whom: Consignee, product_id: int) -> str:
    asked = Asked(sets=6, tier=Tier.STOCK, way=Way.MAIL)
    return take_request(
        consignee_id=whom.pk, product_id=product_id, asked=asked, sign=sign()
    ).request


def test_one_that_is_being_loaded_for_is_not_merged(clerk: Client) -> None:
    stays, twice = added("A"), added("B")
    begun = factories.make_shipment(consignee=twice)
    with pytest.raises(Refused) as caught:
        merge(twice, stays)
    assert caught.value.code == "merged_while_loading"
    assert caught.value.params["which"] == begun.number
    twice.refresh_from_db()
    assert twice.active
    at = reverse("dispatch:shipment-detail", args=[begun.number])
    assert f'href="{at}"' in clerk.get(page(twice)).content.decode()
    services.cancel_shipment(shipment_id=begun.pk, reason="twice", sign=sign())
    merge(twice, stays)


def test_what_it_asked_for_goes_on_as_the_other_s(clerk: Client) -> None:
    """Fetched, loaded, sent and served as the other one's; it says who asked."""
    stays, twice = added("A", "Southend"), added("B", "Northend")
    box = factories.make_labelled_box()
    number = ask(twice, box.size.product_id)
    merge(twice, stays)
    assert (
        number
        in clerk.get(reverse("dispatch:requests"), {"consignee": "A"}).content.decode()
    )
    detail = reverse("dispatch:request-detail", args=[number])
    said = text_of(clerk.get(detail))
    assert "What does Southend ask for?" in said
    assert "Northend asked for it, which is Southend" in said
    shipment = factories.make_shipment(consignee=stays)
    at = reverse("dispatch:shipment-detail", args=[shipment.number])
    assert str(box) in text_of(clerk.get(at)).replace("\u2009", "")
    services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())
    load = ShipmentBox.objects.get(box=box)
    assert load.request is not None
    assert (load.request.number, load.request.consignee) == (number, twice)
    factories.send(shipment)
    assert Request.objects.get(number=number).stage == "served"
    assert factories.prove() == []
    # Two people again: what was served stays so, and the record still holds.
    change_consignee(code="B", to=WHERE, sign=sign())
    assert factories.prove() == []


def test_a_promise_to_it_is_the_other_s_in_shares_and_on_the_fetch_list() -> None:
    stays, twice = added("A"), added("B")
    box = factories.make_labelled_box()
    product = box.size.product_id
    ask(twice, product)
    confirm(box.size.product)
    merge(twice, stays)
    (promised,) = open_promises([product]).rows
    assert (promised.whom, promised.boxes) == ("A", 1)
    ask(stays, product)
    since = factories.NOW - timedelta(days=1)
    seen = facts_of(product, since, factories.TODAY, standing_reach())
    assert seen.received == {"A": 6}
    # Another one's box is refused, theirs keeps the promise.
    other = factories.make_shipment(consignee=added("C"))
    with pytest.raises(Refused) as caught:
        services.load_box(shipment_id=other.pk, box_id=box.pk, sign=sign())
    assert caught.value.code == "box_promised"
    shipment = factories.make_shipment(box, consignee=stays)
    load = shipment.shipment_boxes.get()
    assert load.promise_id == promised.promise


def test_requests_of_both_share_as_one_and_did_when_they_are_two_again() -> None:
    stays, twice, other = added("A"), added("B"), added("C")
    size = factories.make_size(factories.make_recipe(), 6)
    for _ in range(2):
        factories.make_labelled_box(size)
    for whom in (stays, twice, other):
        ask(whom, size.product_id)
    merge(twice, stays)
    number = confirm(size.product).allotment
    lines = AllotmentLine.objects.filter(allotment__number=number)
    by = {line.request.consignee.code: line for line in lines}
    assert {code: line.whom.code for code, line in by.items()} == {
        "A": "A",
        "B": "A",
        "C": "C",
    }
    assert [by[code].asked for code in "ABC"] == [12, 12, 6]
    assert [by[code].given for code in "ABC"] == [6, 6, 6]
    assert factories.prove() == []
    change_consignee(code="B", to=WHERE, sign=sign())
    assert factories.prove() == []


def test_to_the_one_that_it_is_nothing_is_passed_on() -> None:
    stays, twice = added("A"), added("B")
    box = factories.make_labelled_box()
    sent = factories.send(factories.make_shipment(box, consignee=twice))
    merge(twice, stays)
    told: dict[str, Any] = {"point": "", "told_by": "Stores", "note": ""}
    of = {"shipment_id": sent.pk, "box_ids": [box.pk], "consignee_id": stays.pk}
    with pytest.raises(Refused) as caught:
        pass_on(**of, on=factories.TODAY, **told, sign=later(sent))
    assert caught.value.code == "passed_to_itself"


def test_lots_that_the_other_one_had_are_fetched_again() -> None:
    """Of boxes that are alike one goes whose lots are known there: a lot reaches few."""
    stays, twice = added("A"), added("B")
    size = factories.make_size(factories.make_recipe(), 6)
    first, strange = (factories.make_labelled_box(size) for _ in range(2))
    factories.send(factories.make_shipment(first, consignee=twice))
    merge(twice, stays)
    ask(stays, size.product_id)
    shipment = factories.make_shipment(consignee=stays)
    had = _lots_had(shipment, {line.lot_id for line in first.lines.all()})
    assert had == {line.lot_id for line in first.lines.all()}
    theirs = {line.lot_id for line in strange.lines.all()}
    assert _lots_had(shipment, theirs) == theirs & had


def test_nothing_new_goes_to_the_one_that_is_closed() -> None:
    stays, twice = added("A"), added("B")
    merge(twice, stays)
    with pytest.raises(Refused) as caught:
        services.begin_shipment(consignee_id=twice.pk, reference="", sign=sign())
    assert caught.value.code == "consignee_closed"


def test_none_leads_to_itself_in_turns_or_twice() -> None:
    one, two, three = added("A"), added("B"), added("C")
    with pytest.raises(Refused) as caught:
        merge(one, one)
    assert caught.value.code == "merged_with_itself"
    with pytest.raises(Missing):
        merge(one, Consignee(pk=0, code="0"))
    merge(one, two)
    with pytest.raises(Conflict) as again:
        merge(one, three)
    assert again.value.code == "consignee_merged"
    with pytest.raises(Refused) as caught:
        merge(two, one)
    assert caught.value.code == "consignee_closed"
    merge(two, three)
    one.refresh_from_db()
    assert (one.merged_into, two.merged_into, three.merged_into) == (three, three, None)
    assert factories.prove() == []


def test_opening_it_again_undoes_it() -> None:
    stays, twice = added("A"), added("B")
    merge(twice, stays)
    change_consignee(code="B", to=WHERE, sign=sign())
    twice.refresh_from_db()
    assert (twice.active, twice.merged_into) == (True, None)
    merge(twice, stays)


def merged_into(*rows: Consignee) -> list[str]:
    """The code that each leads to; a dash for none."""
    for row in rows:
        row.refresh_from_db()
    return [row.merged_into.code if row.merged_into else "-" for row in rows]


def test_undone_in_a_row_those_come_back_that_led_to_it() -> None:
    z, a, b, c, beside = (added(code) for code in ("Z", "A", "B", "C", "D"))
    merge(z, a)
    merge(a, b)
    merge(beside, c)
    merge(b, c)
    assert merged_into(z, a, b, c, beside) == ["C", "C", "C", "-", "C"]
    change_consignee(code="B", to=WHERE, sign=sign())
    assert merged_into(z, a, b, c, beside) == ["B", "B", "-", "-", "C"]
    change_consignee(code="A", to=WHERE, sign=sign())
    assert merged_into(z, a, b, c, beside) == ["A", "-", "-", "-", "C"]
    # Merged anew another way, the newest counts.
    merge(a, c)
    merge(c, b)
    change_consignee(code="C", to=WHERE, sign=sign())
    assert merged_into(z, a, b, c, beside) == ["C", "C", "-", "-", "C"]
    assert factories.prove() == []


def test_a_file_that_opens_them_again_undoes_it_the_same_way(clerk: Client) -> None:
    a, b, c = (added(code) for code in "ABC")
    merge(a, b)
    merge(b, c)
    data = b"code,name,country,street,city,active\nB,Two,GB,1 Road,Eskmoor,yes\n"
    data += b"A,One,GB,1 Road,Eskmoor,no\n"
    take_in_consignees(data=data, sign=sign())
    assert merged_into(a, b, c) == ["B", "-", "-"]
    a.refresh_from_db()
    assert a.name == "One"
    assert factories.prove() == []


def test_the_page_merges_once(
    clerk: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    stays, twice = added("A"), added("B")
    assert_sent_to_sign_in(Client().get(page(twice)))
    assert client_for(outsider).get(page(twice)).status_code == 403
    packer = client_for(factories.make_person("packer"))
    assert packer.post(page(twice)).status_code == 403
    assert clerk.get(page(twice)).status_code == 200
    assert clerk.get(reverse("dispatch:consignee-merge", args=["X"])).status_code == 404
    form: dict[str, Any] = {"op_key": str(uuid.uuid4()), "into": "A"}
    assert clerk.post(page(twice), form).status_code == 422
    form["reason"] = "the same door"
    for _ in range(2):
        assert clerk.post(page(twice), form)["Location"] == page(stays, "detail")
    assert Operation.objects.filter(name="merge_consignees").count() == 1
    form = {"op_key": str(uuid.uuid4()), "into": "B", "reason": "x"}
    assert clerk.post(page(stays), form).status_code == 422
