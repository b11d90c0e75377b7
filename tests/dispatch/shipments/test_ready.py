"""How many boxes are ready to go: three pages tell it, and all tell the same."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.models import Box, User
from kitting.packing.queries.boxes import ready_boxes
from tests import factories
from tests.factories import sign

pytestmark = pytest.mark.django_db

PAGES = {
    "boxes": r"(\d+) box(?:es)? (?:is|are) ready to go",
    "the day": r"(\d+) box(?:es)? ready to go, \d+ sets",
    "shipments": r"(\d+) box(?:es)? with \d+ sets (?:is|are) ready to go",
}
ADDRESSES = {
    "boxes": reverse("kitting:boxes"),
    "the day": reverse("kitting:day"),
    "shipments": reverse("dispatch:shipments"),
}


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", "", page).split())


def told(client: Client) -> dict[str, list[str]]:
    return {
        name: re.findall(PAGES[name], words(client.get(to).content.decode()))
        for name, to in ADDRESSES.items()
    }


def make_boxes() -> list[Box]:
    """Two that may go, and one for each reason why a box may not."""
    size = factories.make_size(factories.make_recipe())
    may, last_day, held_lot, held, late, _loaded = (
        factories.make_labelled_box(size) for _ in range(6)
    )
    today = timezone.localdate()
    for box, days in ((last_day, 0), (late, -1)):
        Box.objects.filter(pk=box.pk).update(use_by=today + timedelta(days=days))
    factories.make_shipment(_loaded)
    factories.make_closed_box(size)
    stopped = (("lot", held_lot.lines.get().lot_id), ("box", held.pk))
    for target, value in stopped:
        holds.place_hold(target=target, value=value, reason="Cracks", sign=sign())
    return [may, last_day]


def test_three_pages_tell_the_same_number_of_boxes(clerk: Client) -> None:
    ready = make_boxes()
    found = ready_boxes(standing_reach(), timezone.localdate())
    assert set(found) == set(ready)
    assert told(clerk) == {page: ["2"] for page in PAGES}


def test_the_figure_leads_to_just_those_boxes(clerk: Client) -> None:
    ready = make_boxes()
    for page in ("boxes", "the day"):
        assert 'stage=ready"' in clerk.get(ADDRESSES[page]).content.decode()
    answer = clerk.get(ADDRESSES["boxes"], {"stage": "ready"})
    assert {box.pk for box in answer.context["page"]} == {box.pk for box in ready}
    assert not answer.context["held"]
    assert '<option value="ready" selected' in answer.content.decode()


def test_held_boxes_are_marked_and_counted_among_all(clerk: Client) -> None:
    make_boxes()
    answer = clerk.get(ADDRESSES["boxes"])
    marked = answer.context["held"]
    assert len(marked) == answer.context["totals"].held == 2
    assert answer.context["totals"].by_stage == {
        "labelled": 5,
        "loaded": 1,
        "closed": 1,
    }
