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
from dispatch.domain.needs import Asked, Tier, Way
from dispatch.models import Consignee, Shipment
from dispatch.requests.services import take_request
from dispatch.shipments import services
from kitting.domain.errors import Conflict, Missing, Refused
from kitting.ledger.reach import standing_reach
from kitting.models import Operation, User
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of
from tests.factories import sign

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


def test_one_for_which_something_is_open_is_not_merged() -> None:
    stays, twice = added("A"), added("B")
    request = ask(twice, factories.make_labelled_box().size.product_id)
    begun = factories.make_shipment(consignee=twice)
    with pytest.raises(Refused) as caught:
        merge(twice, stays)
    assert caught.value.code == "merged_while_asked"
    assert caught.value.params["which"] == f"{request}, {begun.number}"
    twice.refresh_from_db()
    assert twice.active


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
