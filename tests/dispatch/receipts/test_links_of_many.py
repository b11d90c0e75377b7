"""A link of a shipment of many boxes: only those are named that differ."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone

from dispatch.models import ReceiptBox, ReceiptLink, Shipment
from dispatch.receipts.forms import links as forms
from dispatch.receipts.forms.links import AnswerForm
from dispatch.receipts.queries.links import BoxShown, Shown
from dispatch.receipts.services import links
from dispatch.receipts.spoken import ENGLISH
from kitting.models import Box
from tests import factories
from tests.assertions import assert_page, text_of
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    first = factories.make_labelled_box()
    return [first, *(factories.make_labelled_box(first.size) for _ in range(2))]


@once_a_module
def shipment(boxes: list[Box]) -> Shipment:
    return factories.send(factories.make_shipment(*boxes))


@pytest.fixture
def address(shipment: Shipment, monkeypatch: pytest.MonkeyPatch) -> str:
    """The page of a shipment that counts as one of many."""
    monkeypatch.setattr(forms, "MOST_BY_BOX", 2)
    now = factories.sign(now=timezone.now())
    links.give_link(shipment_id=shipment.pk, days=30, sign=now)
    return links.path_of(ReceiptLink.objects.get(shipment=shipment))


def counted(shipment: Shipment, **changes: Any) -> dict[str, Any]:
    assert shipment.sent_at is not None
    at = timezone.localtime(shipment.sent_at)
    head = {"by": "M. Ward", "on": at.date().isoformat(), "at": f"{at:%H:%M}"}
    return {"op_key": str(uuid.uuid4()), **head, "boxes": 2, "remark": "", **changes}


def whole(client: Client, address: str) -> dict[str, Any]:
    """All that a browser sends of the page, filled in or not."""
    form = client.get(address).context["form"]
    return dict.fromkeys(form.fields, "")


def test_a_thousand_boxes_have_no_more_fields_than_are_read() -> None:
    """Two fields for each would be 2,000 and more: Django answers 400 to that."""
    day = date(2026, 11, 27)
    many = tuple(
        BoxShown(nth, f"K1{nth:06}X", "Shield", 6, day, None, (), stopped=False)
        for nth in range(1_000)
    )
    shown = Shown(many, (), (), (), by_light=False, like=(), unchecked=(), bare=())
    form = AnswerForm(shown=shown, words=ENGLISH)
    assert len(form.fields) + 1 < settings.DATA_UPLOAD_MAX_NUMBER_FIELDS / 10
    few = AnswerForm(
        shown=Shown(many[:200], *(), *((),) * 3, False, (), (), ()), words=ENGLISH
    )
    assert len([*few.rows()]) == 200
    assert len(few.fields) + 1 < settings.DATA_UPLOAD_MAX_NUMBER_FIELDS


def test_only_what_differs_is_named_as_its_label_says_it(
    client: Client, address: str, shipment: Shipment, boxes: list[Box]
) -> None:
    page = client.get(address)
    assert_page(page)
    assert ENGLISH["only_odd"] in text_of(page)
    number = str(boxes[1])
    spaced = f" {number[:4].lower()} {number[4:]}"
    lines = {"box-0": spaced, "sets-0": "4", "box-7": str(boxes[2]), "how-7": "absent"}
    sent = {**whole(client, address), **counted(shipment), **lines}
    assert client.post(address, sent)["Location"] == address
    told = ReceiptBox.objects.order_by("pk").values_list("box", "found", "sets")
    assert [*told] == [(boxes[1].pk, "short", 4), (boxes[2].pk, "absent", None)]
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("line", "named"),
    [
        ({"box-0": "K1999999X", "how-0": "absent"}, "box_number"),
        ({"box-0": "\u202e", "how-0": "absent"}, "box_number"),
        ({"how-0": "absent"}, "box_number"),
        ({"sets-0": "3"}, "box_number"),
        ({"box-0": "FIRST"}, "how"),
        ({"box-0": "FIRST", "sets-0": "x"}, "sets_counted"),
        (
            {"box-0": "FIRST", "how-0": "absent", "box-1": "FIRST", "how-1": "absent"},
            "box_number",
        ),
    ],
)
def test_a_line_that_names_nothing_is_said_and_nothing_is_kept(
    client: Client,
    address: str,
    shipment: Shipment,
    boxes: list[Box],
    line: dict[str, str],
    named: str,
) -> None:
    line = {at: said.replace("FIRST", str(boxes[0])) for at, said in line.items()}
    answer = client.post(address, counted(shipment, **line))
    assert answer.status_code == 422
    assert ENGLISH[named] in answer.context["form"].named
    assert not shipment.receipts.exists()
