"""The page on which pieces of a bag are scrapped; who sees it: ``test_bag_pages``."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from kitting.models import Bag, Link
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.databases import once_a_module
from tests.kitting.lots.test_bag_pages import ClientFor, at, keyed

pytestmark = pytest.mark.django_db


@once_a_module
def bag() -> Bag:
    return factories.make_bag(pieces=41)


@pytest.fixture
def packer(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("packer"))


def scrap_values(bag: Bag, **changes: Any) -> dict[str, Any]:
    values = {"moves": bag.moves, "pieces": "3", "reason": "Dropped"}
    return keyed(**{**values, **changes})


@pytest.mark.smoke
def test_a_packer_scraps_pieces_once(bag: Bag, packer: Client) -> None:
    assert at("scrap", bag) in text_of(packer.get(at("detail", bag)))
    page = text_of(packer.get(at("scrap", bag)))
    for reason in ("Dropped", "Damaged", "Soiled", "Cutting waste"):
        assert reason in page
    values = scrap_values(bag)
    for _ in range(2):
        response = packer.post(at("scrap", bag), values)
        assert response.headers["Location"] == at("detail", bag)
    bag.refresh_from_db()
    assert bag.pieces == 38
    assert "scrapped; 38 are left" in text_of(packer.get(at("detail", bag)))


@pytest.mark.smoke
@pytest.mark.parametrize(
    ("changes", "code", "status"),
    [
        ({"pieces": "0"}, "min_value", 422),
        ({"pieces": ""}, "required", 422),
        ({"pieces": "42"}, "not_enough_pieces", 422),
        ({"reason": ""}, "required", 422),
        ({"reason": "Bored"}, "invalid_choice", 422),
        ({"note": "x" * 151}, "max_length", 422),
        ({"moves": "0"}, "bag_moved_since", 409),
    ],
)
def test_a_bad_scrapping_gets_its_reason_and_nothing_is_written(
    changes: dict[str, str], code: str, status: int, bag: Bag, packer: Client
) -> None:
    links = Link.objects.count()
    response = packer.post(at("scrap", bag), scrap_values(bag, **changes))
    assert_problem(response, code, status=status)
    assert Link.objects.count() == links
