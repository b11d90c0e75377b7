"""Boxes that a consignee sends back or destroys are replaced by requests, once."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.domain.needs import Asked, Tier, Way
from dispatch.models import Case, Consignee, Replacement, Request, ShipmentBox
from dispatch.notices.services.replacements import replace_boxes
from dispatch.requests.services import cancel_request, take_request
from kitting.domain.errors import LotwardError
from kitting.models import Box, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.notices.calling import There, a_case, box_at, came_back
from tests.dispatch.notices.test_calls import passed
from tests.factories import sign

pytestmark = pytest.mark.django_db

ASKED = Asked(sets=0, tier=Tier.NONE_LEFT, way=Way.TELEPHONE, caller="Sister")


def instead(case: Case, whom: Consignee, *boxes: Box) -> Any:
    return replace_boxes(
        number=case.number,
        consignee_id=whom.pk,
        box_ids=[box.pk for box in boxes],
        asked=ASKED,
        sign=sign(),
    )


def refused(code: str, *given: Any) -> None:
    before = Request.objects.count()
    with pytest.raises(LotwardError) as caught:
        instead(*given)
    assert caught.value.code == code
    assert Request.objects.count() == before


def served_box() -> tuple[Box, Consignee, Request]:
    """A box that left for a request, and served it."""
    box, whom = factories.make_labelled_box(), factories.make_consignee()
    asked = Asked(sets=box.size.sets, tier=Tier.STOCK, way=Way.MAIL)
    product = box.size.product_id
    take_request(consignee_id=whom.pk, product_id=product, asked=asked, sign=sign())
    factories.send(factories.make_shipment(box, consignee=whom))
    box.refresh_from_db()
    return box, whom, Request.objects.get()


@pytest.mark.smoke
def test_the_sets_of_its_boxes_become_a_request_for_each_product(there: There) -> None:
    box, whom = there
    second, _same = box_at(whom)  # of a product of its own
    case = a_case(box, second)
    done = instead(case, whom, box, second)
    rows = Request.objects.filter(number__in=done.requests)
    assert done.sets == box.size.sets + second.size.sets
    assert {(row.product_id, row.sets, row.consignee_id) for row in rows} == {
        (each.size.product_id, each.size.sets, whom.pk) for each in (box, second)
    }
    assert {(row.note, row.tier, row.caller) for row in rows} == {
        (f"Replacement, case {case.number}", 1, "Sister")
    }
    assert Replacement.objects.count() == 2
    refused("box_replaced", case, whom, box)
    assert factories.prove() == []


def test_what_a_cancelled_request_replaced_is_replaced_anew(there: There) -> None:
    box, whom = there
    case = a_case(box)
    [first] = instead(case, whom, box).requests
    cancel_request(number=first, reason="They need none", sign=sign())
    [second] = instead(case, whom, box).requests
    assert first != second
    assert factories.prove() == []


def test_what_left_of_a_cancelled_request_replaces_all_the_same() -> None:
    """Common practice: nobody is sent twice for what was recalled once."""
    box, whom, first = served_box()
    second = factories.make_labelled_box(size=box.size)
    factories.send(factories.make_shipment(second, consignee=whom))
    case = a_case(box, second)
    [number] = instead(case, whom, box, second).requests
    fresh = factories.make_labelled_box(size=box.size)
    factories.send(factories.make_shipment(fresh, consignee=whom))
    request = Request.objects.get(number=number)
    assert ShipmentBox.objects.get(box=fresh).request == request
    assert (request.stage, request.sets) == ("open", 2 * box.size.sets)
    cancel_request(number=number, reason="They need no more", sign=sign())
    refused("box_replaced", case, whom, box)
    refused("box_replaced", case, whom, second)
    came_back(box, opened=False)
    first.refresh_from_db()
    assert first.stage == "served"
    assert factories.prove() == []


@pytest.mark.parametrize("opened", [False, True])
def test_what_is_replaced_opens_no_other_request_when_it_comes_back(
    opened: bool,
) -> None:
    box, whom, request = served_box()
    assert request.stage == "served"
    instead(a_case(box), whom, box)
    came_back(box, opened=opened)
    request.refresh_from_db()
    assert request.stage == "served"
    assert not ShipmentBox.objects.get(box=box, live=True).back
    assert factories.prove() == []


def test_what_a_cancelled_request_replaced_opens_the_first_one_again() -> None:
    box, whom, request = served_box()
    case = a_case(box)
    [second] = instead(case, whom, box).requests
    cancel_request(number=second, reason="They have others", sign=sign())
    came_back(box, opened=False)
    request.refresh_from_db()
    assert request.stage == "open"
    refused("box_not_replaced", case, whom, box)
    assert factories.prove() == []


def test_what_is_cancelled_after_it_came_back_can_be_replaced_again() -> None:
    box, whom, request = served_box()
    case = a_case(box)
    [second] = instead(case, whom, box).requests
    came_back(box, opened=False)
    cancel_request(number=second, reason="They have others", sign=sign())
    request.refresh_from_db()
    assert request.stage == "served"
    assert factories.prove() == []
    assert instead(case, whom, box).sets == box.size.sets
    assert factories.prove() == []


def test_what_came_back_unopened_is_replaced_by_its_own_request() -> None:
    box, whom, request = served_box()
    case = a_case(box)
    came_back(box, opened=False)
    request.refresh_from_db()
    assert request.stage == "open"
    refused("box_not_replaced", case, whom, box)


def test_what_came_back_unopened_and_served_no_request_is_replaced(
    there: There,
) -> None:
    box, whom = there
    case = a_case(box)
    came_back(box, opened=False)
    assert instead(case, whom, box).sets == box.size.sets
    assert factories.prove() == []


def test_what_came_back_of_a_request_that_stays_cancelled_is_replaced() -> None:
    box, whom = factories.make_labelled_box(), factories.make_consignee()
    asked = Asked(sets=box.size.sets + 1, tier=Tier.STOCK, way=Way.MAIL)
    product = box.size.product_id
    take_request(consignee_id=whom.pk, product_id=product, asked=asked, sign=sign())
    factories.send(factories.make_shipment(box, consignee=whom))
    box.refresh_from_db()
    row = Request.objects.get()
    cancel_request(number=row.number, reason="They need no more", sign=sign())
    case = a_case(box)
    came_back(box, opened=False)
    row.refresh_from_db()
    assert row.stage == "cancelled"
    assert instead(case, whom, box).sets == box.size.sets
    assert factories.prove() == []


def test_what_cannot_be_is_refused(there: There) -> None:
    box, whom = there
    strange, _other = box_at()
    case, other = a_case(box), factories.make_consignee()
    refused("boxes_missing", case, whom)
    refused("box_not_replaced", case, whom, strange)
    refused("case_not_there", case, other, box)
    passed(box, other)
    refused("box_not_replaced", case, whom, box)
    assert instead(case, other, box).sets == box.size.sets


@pytest.mark.smoke
def test_a_clerk_takes_the_request_from_the_page_of_the_case(
    client_for: Callable[[User], Client], there: There
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    box, whom = there
    case = a_case(box)
    page = reverse("dispatch:case-detail", args=[case.number])
    address = reverse("dispatch:case-replace", args=[case.number, whom.code])
    assert f'href="{address}"' in clerk.get(page).content.decode()
    key = {"op_key": str(uuid.uuid4()), "boxes": [box.pk], "tier": "1"}
    assert clerk.post(address, {**key, "boxes": []}).status_code == 422
    for _ in range(2):
        answer = clerk.post(address, key, follow=True)
        assert answer.status_code == 200
    request = Request.objects.get()
    text = " ".join(text_of(answer).split())
    assert request.number in text
    assert "replaced by" in text
    again = {**key, "op_key": str(uuid.uuid4())}
    assert clerk.post(address, again).status_code == 409
    assert "None: they are replaced" in text_of(clerk.get(address))


def test_others_are_kept_out(
    client_for: Callable[[User], Client], there: There
) -> None:
    box, whom = there
    case = a_case(box)
    address = reverse("dispatch:case-replace", args=[case.number, whom.code])
    assert Client().get(address).status_code == 302
    for role in ("packer", "quality officer"):  # who sends no boxes
        person = client_for(factories.make_person(role))
        assert person.get(address).status_code == 403
    clerk = client_for(factories.make_person("clerk"))
    other = factories.make_consignee()
    for args in ([case.number, other.code], [case.number, "NO"], ["K9", whom.code]):
        address = reverse("dispatch:case-replace", args=args)
        assert clerk.get(address).status_code == 404
