"""The page of a case leads to what is to be done, in its order, and to all its parts."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import User
from tests import factories
from tests.dispatch.closing.test_closings import close
from tests.dispatch.notices.calling import a_case, box_at, call

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def ways(client: Client, number: str) -> tuple[list[str], list[str]]:
    """What the page leads to: what there is to do, and the other parts."""
    page = client.get(reverse("dispatch:case-detail", args=[number])).content.decode()
    ids = set(re.findall(r'\bid="([a-z-]+)"', page))
    start = page.index('<nav class="ways"')
    part = " ".join(page[start : page.index("</nav>", start)].split())
    links = re.findall(r'<a( class="[^"]*")? href="#(\w+)">([^<]*)', part)
    assert {to for _, to, _ in links} <= ids
    to_do = [words for style, _, words in links if style]
    return to_do, [to for style, to, _ in links if not style]


def test_what_would_leave_comes_before_the_calls_and_these_before_the_shelf(
    quality: Client, client_for: Callable[[User], Client]
) -> None:
    (gone, consignee), here = box_at(), factories.make_labelled_box()
    loaded = factories.make_labelled_box()
    factories.make_shipment(loaded)
    case = a_case(gone, here, loaded)
    to_do, besides = ways(quality, case.number)
    assert to_do == [
        "Take 1 box off shipments",
        "Call 1 consignee",
        "Set the day by which answers are due",
    ]
    assert besides == ["effectiveness", "closing", "scope", "boxes"]
    clerk = client_for(factories.make_person("clerk"))  # who sets no such day
    assert ways(clerk, case.number)[0] == to_do[:-1]
    kept = a_case(factories.make_labelled_box())
    assert ways(quality, kept.number)[0] == [
        "Bring 1 to quarantine, of 1 that are here"
    ]
    call(case, consignee)
    assert "Call 1 consignee" not in ways(quality, case.number)[0]
    assert "whom" in ways(quality, case.number)[1]


def test_a_closed_case_has_nothing_to_do(quality: Client) -> None:
    box, _whom = box_at()
    case = a_case(box)
    close(case.number, (box.pk, "burnt"))
    to_do, besides = ways(quality, case.number)
    assert to_do == []
    assert besides == ["whom", "answers", "effectiveness", "closing", "scope", "boxes"]
