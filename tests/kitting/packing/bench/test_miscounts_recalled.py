"""What the page Recall says of a bag that was miscounted at a bench."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import Bag, Box
from kitting.packing.services.miscounts import miss_pieces
from tests import factories
from tests.benches import Packing, fill, words
from tests.factories import sign

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


@pytest.fixture
def officer(client_for: Callable[..., Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def missed(at: Packing, bag: Bag) -> None:
    """Say at the bench that a bag is empty, and that the open box lacks one of it."""
    miss_pieces(bench_id=at.bench.pk, bag_id=bag.pk, inside=1, sign=sign())


@pytest.mark.usefixtures("full_box")
def test_recall_of_a_bag_its_lot_and_its_boxes_names_the_miscount(
    scan: Scan, at: Packing, officer: Client
) -> None:
    scan("ACT-CLOSE")
    box = Box.objects.get()
    scan(box.serial)
    scan("ACT-BOX-6")
    bag, other = at.visor_bag, at.band_bag

    def recalled(number: str) -> str:
        return words(officer.get(reverse("dispatch:recall"), {"q": number}))

    assert "Miscounted at a bench" not in recalled(bag.number)
    missed(at, bag)
    for number in (bag.number, bag.lot.number, str(box)):
        seen = recalled(number)
        assert "Miscounted at a bench" in seen, number
        assert "Visor, missing: 77." in seen, number
    for number in (other.number, other.lot.number):
        assert "Miscounted at a bench" not in recalled(number)


def test_what_is_missing_is_never_said_to_be_accounted_for(
    scan: Scan, at: Packing, officer: Client
) -> None:
    page, bag = reverse("dispatch:recall"), at.visor_bag
    whole = "nothing is unaccounted for"
    for number in (bag.number, bag.lot.number):
        assert whole in words(officer.get(page, {"q": number}))
    scan("ACT-BOX-6")
    fill(scan, at)
    missed(at, bag)
    missing = officer.get(page, {"q": bag.number}).context["found"].balance.missing
    assert missing > 1
    for number in (bag.number, bag.lot.number):
        seen = words(officer.get(page, {"q": number}))
        assert whole not in seen
        assert f"Missing, and nobody knows where: {missing}\xa0pieces of" in seen
    assert whole in words(officer.get(page, {"q": at.band_bag.lot.number}))
