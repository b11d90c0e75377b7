from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from html import unescape

import pytest
from django.test import Client
from django.utils import timezone

from kitting.day.pictures import picture_of
from kitting.day.queries.pieces import SHOWN, Boxes, the_day
from kitting.ledger import holds
from kitting.ledger.clock import day_of
from kitting.ledger.reach import standing_reach
from kitting.lots.services.lots import NewBag
from kitting.models import User, Workshop
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in

pytestmark = pytest.mark.django_db

Clients = Callable[[User], Client]
SINCE = datetime(2026, 1, 14, tzinfo=UTC)


def figures():
    return the_day(factories.TODAY, SINCE, standing_reach())


def test_everybody_who_works_sees_the_day(
    client: Client, client_for: Clients, outsider: User
) -> None:
    assert_sent_to_sign_in(client.get("/"))
    assert client_for(outsider).get("/").status_code == 403
    page = client_for(factories.make_person("packer")).get("/")
    assert_page(page)
    assert b"No bag was taken in yet." in page.content
    assert b"Nothing is on hold." in page.content


def test_boxes_are_counted_by_how_far_they_are() -> None:
    recipe = factories.make_recipe()
    size = factories.make_size(recipe, sets=6)
    for _ in range(2):
        factories.make_labelled_box(size)
    factories.make_open_box(size)
    factories.make_closed_box(size)
    factories.send(factories.make_shipment(factories.make_labelled_box(size)))
    factories.make_shipment(factories.make_labelled_box(size))
    day = figures()
    assert day.packed == Boxes(5, 30)
    assert (day.open, day.closed) == (Boxes(1, 6), Boxes(1, 6))
    assert day.ready == Boxes(2, 12)
    assert day.loaded == Boxes(1, 6)
    assert day.sent == Boxes(1, 6)


def test_a_held_box_is_not_ready() -> None:
    box = factories.make_labelled_box()
    line = box.lines.get()
    holds.place_hold(
        target="lot", value=line.lot_id, reason="cracks", sign=factories.sign()
    )
    day = figures()
    assert day.ready == Boxes(0, 0)
    assert (day.holds, day.held_lots, day.held_boxes) == (1, 1, 1)


@pytest.mark.smoke
def test_lots_are_counted_by_what_they_wait_for() -> None:
    factories.make_lot(close=False)
    factories.make_lot()
    factories.accept(factories.make_lot())
    free = factories.make_part(needs_check=False)
    factories.make_lot(factories.make_revision(free))
    day = figures()
    assert (day.lots_open, day.lots_waiting) == (1, 1)
    assert day.uncleared == 200


def test_pieces_are_summed_by_part_and_stage() -> None:
    part = factories.make_part(name="Headband")
    revision = factories.make_revision(part)
    factories.make_lot(revision, bags=(NewBag(100), NewBag(50)))
    held = factories.accept(factories.make_lot(revision, bags=(NewBag(30),)))
    gram = factories.make_part(name="Filament", unit="gram")
    factories.make_lot(factories.make_revision(gram), bags=(NewBag(900, "roll"),))
    holds.place_hold(
        target="lot", value=held.pk, reason="cracks", sign=factories.sign()
    )
    day = figures()
    assert [(line.part.name, line.total, line.held) for line in day.parts] == [
        ("Headband", 180, 30)
    ]
    assert dict(zip(SHOWN, day.parts[0].stages, strict=True)) == {
        "arrived": 150,
        "accepted": 30,
        "in_run": 0,
        "exposed": 0,
        "cleared": 0,
        "rejected": 0,
    }
    assert [(line.part.name, line.total) for line in day.materials] == [
        ("Filament", 900)
    ]


def test_the_page_says_its_figures(client_for: Clients) -> None:
    part = factories.make_part(name="Headband", code="HB")
    factories.make_lot(factories.make_revision(part), bags=(NewBag(1234),))
    page = client_for(factories.make_person()).get("/").content.decode()
    assert "1\u202f234" in page
    assert 'href="/lots/?part=HB"' in page
    assert 'href="/lots/?verdict=waiting"' in page
    assert page.count('class="stock-arrived"') == 2  # the bar, and its swatch


def test_the_bars_stand_on_one_scale() -> None:
    for name, pieces in (("Long", 400), ("Short", 100)):
        revision = factories.make_revision(factories.make_part(name=name))
        factories.accept(factories.make_lot(revision, bags=(NewBag(pieces),)))
        factories.make_lot(revision, bags=(NewBag(pieces),))
    picture = picture_of(figures().parts)
    assert picture is not None
    long, short = picture.bars
    assert (long.total, short.total) == (800, 200)
    widths = [[s.width for s in bar.segments] for bar in (long, short)]
    assert widths[0] == pytest.approx([4 * w for w in widths[1]], abs=0.3)
    end = long.segments[-1]
    assert end.x + end.width == pytest.approx(picture.width - 2, abs=0.2)
    assert long.segments[1].x == pytest.approx(
        long.segments[0].x + long.segments[0].width, abs=0.1
    )
    assert [tick.pieces for tick in picture.ticks] == [0, 200, 400, 600, 800]


@pytest.mark.parametrize(
    ("most", "last"), [(1, 1), (7, 6), (10, 10), (99, 80), (12_345, 10_000)]
)
def test_the_scale_is_round(most: int, last: int) -> None:
    revision = factories.make_revision()
    factories.make_lot(revision, bags=(NewBag(most),))
    picture = picture_of(figures().parts)
    assert picture is not None
    assert picture.ticks[-1].pieces == last
    assert len(picture.ticks) <= 7


def test_nothing_makes_no_picture() -> None:
    assert picture_of([]) is None


@pytest.mark.smoke
def test_a_busy_day_is_said_in_sentences_with_links(client_for: Clients) -> None:
    size = factories.make_size(factories.make_recipe(), sets=6)
    factories.make_open_box(size)
    factories.make_closed_box(size)
    factories.make_labelled_box(size)
    factories.make_shipment(factories.make_labelled_box(size))
    page = client_for(factories.make_person()).get("/").content.decode()
    for stage in ("open", "closed", "ready", "loaded"):
        assert f'href="/boxes/?stage={stage}"' in page
    assert 'href="/shipments/"' in page


def test_the_first_box_of_a_day_leads_to_the_boxes_of_that_day(
    client_for: Clients, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(factories, "NOW", timezone.now())
    box = factories.make_closed_box()
    today = day_of(Workshop.objects.get(), factories.NOW)
    client = client_for(factories.make_person())
    links = re.findall('href="([^"]*)"', client.get("/").content.decode())
    to = f"/boxes/?since={today}&until={today}"
    assert to in map(unescape, links)
    assert list(client.get(to).context["page"]) == [box]
