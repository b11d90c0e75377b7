"""The picture of a recall shows every piece once in each layer, however much there is."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.domain.trace import Balance
from dispatch.recall.picture import MOST, Picture, picture_of
from dispatch.recall.queries.recall import Reached, whom_it_reached
from dispatch.recall.tags import whereabouts_picture
from dispatch.trace.queries import BoxRow, Trace, trace
from kitting.models import Box, Lot, User
from tests import factories
from tests.ledgers import History

PLACES = (
    *("sent", "in_boxes", "in_bags", "returned", "made_into"),
    *("sampled", "scrapped", "missing"),
)


def total(picture: Picture, layer: int) -> int:
    return sum(picture.words[key][1] for key in picture.layers[layer])


@pytest.mark.django_db
def test_every_piece_of_a_lot_is_drawn_once_in_each_layer(history: History) -> None:
    drawn = 0
    for lot in Lot.objects.filter(part__unit="piece"):
        found = trace(lot.number)
        reached = whom_it_reached(found, "GB")
        picture = picture_of(found, reached)
        balances = [balance for _number, balance in found.balances]
        pieces = sum(getattr(its, name) for its in balances for name in PLACES)
        if picture is None:
            assert pieces == 0
            continue
        drawn += 1
        assert total(picture, 0) == total(picture, 1) == pieces
        sent = sum(its.sent for its in balances)
        assert picture.words.get("sent", ("", 0))[1] == sent
        if sent:
            assert total(picture, 2) == sent
    assert drawn > 3


def large() -> tuple[Trace, list[Reached]]:
    """A lot of which 40 lots were made, in 400 boxes at 50 consignees."""
    balances = [
        (f"V{nth}", Balance("piece", 60, 0, 0, 0, 50 + nth % 11, 0, 0, 0, 10, 0, 0))
        for nth in range(40)
    ]
    sent = sum(its.sent for _number, its in balances)
    each = [sent // 50 + (nth < sent % 50) for nth in range(50)]
    reached = [
        Reached(
            code=f"W{nth}",
            name="A ward with a very long name, longer than there is room for",
            address="",
            contact="",
            night_contact="",
            points=(),
            boxes=(BoxRow("K1", "", "sent", many, 6, "S1", "W", None),),
            pieces=many,
        )
        for nth, many in enumerate(each)
    ]
    return Trace(number="SH-1", kind="lot", derived=balances), reached


def test_the_small_ones_of_many_are_drawn_as_one() -> None:
    found, reached = large()
    picture = picture_of(found, reached)
    assert picture is not None
    assert [len(layer) for layer in picture.layers] == [MOST, 2, MOST]
    sent = sum(its.sent for _number, its in found.derived)
    assert total(picture, 0) == total(picture, 1) == sent + 400
    assert total(picture, 2) == sent
    assert "29 other lots" in picture.words
    assert "39 other consignees" in picture.words


def test_names_are_cut_to_the_room_between_two_layers() -> None:
    picture = picture_of(*large())
    assert picture is not None
    svg = whereabouts_picture(picture)
    names = re.findall(r'<text class="flow-name"[^>]*>([^<]*)</text>', svg)
    assert len(names) == 2 * MOST + 2
    assert max(map(len, names)) == 34
    assert "style=" not in svg


@pytest.mark.django_db
def test_the_page_has_the_picture_where_something_is(
    client_for: Callable[[User], Client], box: Box
) -> None:
    client = client_for(factories.make_person("quality officer"))
    page = reverse("dispatch:recall")
    lot = box.lines.get().lot
    assert 'class="flow"' in client.get(page, {"q": lot.number}).content.decode()
    assert 'class="flow"' not in client.get(page, {"q": box.serial}).content.decode()
