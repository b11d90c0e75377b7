"""The page on which pieces are repacked; who sees it: ``test_bag_pages``."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Link
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.databases import once_a_module
from tests.kitting.lots.test_bag_pages import ClientFor, at, keyed

pytestmark = pytest.mark.django_db


@once_a_module
def bags() -> list[Bag]:
    """Two totes of one lot that waits for its check: 40 and 20 pieces."""
    lot = factories.make_lot(bags=(NewBag(40), NewBag(20)))
    return list(lot.bags.order_by("pk"))


@pytest.fixture
def operator(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("line operator"))


def values(bag: Bag, **changes: Any) -> dict[str, Any]:
    said = {"moves": bag.moves, "pieces": "10", "bags": "2", "container": "open tray"}
    return keyed(**{**said, **changes})


@pytest.mark.smoke
def test_a_line_operator_lays_pieces_in_trays_and_prints_their_labels(
    bags: list[Bag], operator: Client
) -> None:
    bag = bags[0]
    assert at("repack", bag) in text_of(operator.get(at("detail", bag)))
    assert 'value="tote"' in text_of(operator.get(at("repack", bag)))
    sent = values(bag)
    for _ in range(2):
        response = operator.post(at("repack", bag), sent)
        assert response.status_code == 302
    trays = Bag.objects.filter(container="open tray").order_by("pk")
    assert [tray.pieces for tray in trays] == [10, 10]
    query = "&".join(f"n={tray.number}" for tray in trays)
    labels = reverse("kitting:label-print", args=["bag"])
    assert response.headers["Location"] == f"{labels}?{query}"
    page = text_of(operator.get(response.headers["Location"]))
    assert "each of 2 new bags; 20\N{NO-BREAK SPACE}pieces are left" in page
    there = text_of(operator.get(at("detail", trays[0])))
    assert "from" in there
    assert at("detail", bag) in there


def test_pieces_are_put_to_those_of_a_scanned_bag(
    bags: list[Bag], operator: Client
) -> None:
    bag, other = bags
    sent = values(bag, bags="1", into=other.number)
    response = operator.post(at("repack", bag), sent)
    assert response.headers["Location"] == at("detail", other)
    other.refresh_from_db()
    assert other.pieces == 30


def test_the_page_says_what_opening_a_pack_ends(operator: Client) -> None:
    revision = factories.make_revision()
    new = (NewBag(40, container="film pack"), NewBag(20))
    lot = factories.accept(factories.make_lot(revision, bags=new))
    pack, tote = lot.bags.order_by("pk")
    run = factories.open_run(factories.make_protocol(revision, container="film pack"))
    factories.expose(run, pack)
    factories.close_run(run)
    page = text_of(operator.get(at("repack", pack)))
    assert "Opening it ends that" in page
    assert 'name="again"' in page
    other = text_of(operator.get(at("repack", tote)))
    assert "Opening it ends that" not in other
    assert 'name="again"' not in other


@pytest.mark.smoke
@pytest.mark.parametrize(
    ("changes", "code", "status"),
    [
        ({"pieces": "0"}, "min_value", 422),
        ({"pieces": "21"}, "not_enough_pieces", 422),
        ({"bags": "51"}, "max_value", 422),
        ({"container": "bucket"}, "invalid_choice", 422),
        ({"into": "rubbish"}, "number_malformed", 422),
        ({"moves": "0"}, "bag_moved_since", 409),
    ],
)
def test_a_bad_repacking_gets_its_reason_and_nothing_is_written(
    changes: dict[str, str],
    code: str,
    status: int,
    bags: list[Bag],
    operator: Client,
) -> None:
    links = Link.objects.count()
    response = operator.post(at("repack", bags[0]), values(bags[0], **changes))
    assert_problem(response, code, status=status)
    assert Link.objects.count() == links
