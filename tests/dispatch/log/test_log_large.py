"""A log of very many shipments is asked in other ways, and says the same."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from dispatch.log import queries
from dispatch.models import Shipment
from kitting.models import User
from tests import factories
from tests.assertions import assert_page
from tests.dispatch.log.test_log import LOG, many

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def told(client: Client, **asked: object) -> tuple[list[str], object]:
    """The numbers of the rows, and the totals."""
    answer = client.get(LOG, asked)
    assert_page(answer)
    context = answer.context
    return [row.shipment.number for row in context["rows"]], context["sums"]


ASKED: list[dict[str, object]] = [
    {"q": "eskmoor"},
    {"q": "eskmoor s00001"},
    {"q": "nowhere"},
    {"taken": "driver"},
]


@pytest.mark.parametrize("asked", ASKED)
def test_many_that_have_the_words_are_found_like_few(
    clerk: Client,
    monkeypatch: pytest.MonkeyPatch,
    asked: dict[str, object],
    subtests: pytest.Subtests,
) -> None:
    made = many(120)
    beyond: list[dict[str, object]] = [{"older": made[49]}, {"newer": made[110]}]
    ways = [{}, {"newer": ""}, *beyond]
    expected = [told(clerk, **asked, **way) for way in ways]
    for few in (0, 11, 12, 119, 120):
        monkeypatch.setattr(queries, "FEW", few)
        with subtests.test(few=few):
            assert [told(clerk, **asked, **way) for way in ways] == expected


def test_what_nobody_said_is_looked_for_once(
    clerk: Client, django_assert_num_queries: Any
) -> None:
    many(3)
    with django_assert_num_queries(5):
        assert told(clerk, taken="nobody")[0] == []


@pytest.mark.parametrize("lines", [1, 10**6])
def test_a_lot_is_carried_by_what_has_its_whole_number(
    clerk: Client, monkeypatch: pytest.MonkeyPatch, lines: int
) -> None:
    """Also where it is so often packed that its number is looked for."""
    monkeypatch.setattr(queries, "MANY_LINES", lines)
    sent = {number: sent_with(number) for number in ("EM-1", "EM-11", "XEM-1")}
    for number, shipment in sent.items():
        assert told(clerk, lot=number)[0] == [shipment.number]


def sent_with(number: str) -> Shipment:
    """A sent shipment of a box with a lot of a number."""
    part = factories.make_part(needs_check=False, needs_clearing=False)
    revision = factories.make_revision(part)
    lot = factories.make_lot(revision, number=number)
    size = factories.make_size(factories.make_recipe([(revision, 1, "set")]), 6)
    box = factories.close_box(factories.make_open_box(size, None, lot.bags.get()))
    return factories.send(factories.make_shipment(factories.label_box(box)))
