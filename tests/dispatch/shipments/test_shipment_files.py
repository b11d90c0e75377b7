"""A shipment's boxes as a file, and what its page asks of the database."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from kitting.models import User
from tests import factories
from tests.assertions import assert_page
from tests.dispatch.shipments.test_shipment_pages import act_of, keyed, page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def test_the_boxes_download_and_an_unknown_kind_shows_the_page(clerk: Client) -> None:
    box = factories.make_labelled_box()
    shipment = factories.make_shipment(box)
    csv = clerk.get(page_of(shipment), {"as": "csv"})
    lines = b"".join(csv.streaming_content).decode("utf-8-sig").splitlines()  # type: ignore[attr-defined]
    assert lines[0] == "box,product,sets,packed_on,use_by,lots"
    assert lines[1].startswith(f"{box.serial},")
    xlsx = clerk.get(page_of(shipment), {"as": "xlsx"})
    assert b"".join(xlsx.streaming_content)[:2] == b"PK"  # type: ignore[attr-defined]
    assert_page(clerk.get(page_of(shipment), {"as": "pdf"}))


def test_a_page_asks_no_more_for_ten_boxes_than_for_one(
    clerk: Client, django_assert_num_queries
) -> None:
    size = factories.make_size(factories.make_recipe(), 6)
    shipment = factories.make_shipment(factories.make_labelled_box(size))
    clerk.get(page_of(shipment))
    with django_assert_num_queries(10):
        clerk.get(page_of(shipment))
    more = [factories.make_labelled_box(size) for _ in range(4)]
    for box in more:
        clerk.post(act_of(shipment, "scan"), keyed(scan=box.serial))
    clerk.get(page_of(shipment))  # the messages are said
    with django_assert_num_queries(10):
        clerk.get(page_of(shipment))
