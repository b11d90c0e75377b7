"""The page of what a fault would touch, before there is one."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from fractions import Fraction

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import ShipmentBox
from dispatch.recall.reach import DAYS, reached_today
from dispatch.trace.queries import trace
from kitting.domain.stages import GONE, IN_HOUSE
from kitting.ledger import clock
from kitting.models import Lot, User
from tests import factories
from tests.ledgers import History

pytestmark = pytest.mark.django_db

PAGE = reverse("dispatch:recall-reach")


def test_each_lot_reaches_what_its_trace_finds(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Everything of the history is recent, so that the trace tells the same."""
    monkeypatch.setattr("dispatch.recall.reach.DAYS", 4000)
    monkeypatch.setattr("dispatch.recall.reach.SHOWN", 1000)
    found = reached_today(clock.now())
    assert found.lots == len(found.worst) > 3
    for lot, its in found.worst:
        boxes = trace(lot.number).boxes
        serials = {box.serial for box in boxes if box.stage in GONE}
        back = ShipmentBox.objects.filter(live=True, back=True)
        away = serials - set(back.values_list("box__serial", flat=True))
        assert its.boxes == len(away), lot
        assert its.here == sum(box.stage in IN_HOUSE for box in boxes), lot
    named = {lot.number for lot, _its in found.worst}
    for lot in Lot.objects.exclude(number__in=named):
        stages = {box.stage for box in trace(lot.number).boxes}
        assert not stages & {*GONE, *IN_HOUSE}, lot


def test_what_was_sent_long_ago_is_taken_as_used() -> None:
    box = factories.make_labelled_box()
    now = factories.send(factories.make_shipment(box)).sent_at
    assert now is not None
    ((_lot, its),) = reached_today(now).worst[:1]
    assert (its.boxes, its.here) == (1, 0)
    assert [share for _whom, share in its.shares] == [Fraction(1)]
    later = reached_today(now + timedelta(days=DAYS, minutes=1))
    assert later.worst == []
    assert later.lots == 0


def test_the_page_says_it_and_is_led_to(
    client_for: Callable[[User], Client],
    django_assert_max_num_queries,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("dispatch.recall.reach.DAYS", 4000)
    client = client_for(factories.make_person("quality officer"))
    empty = client.get(PAGE).content.decode()
    assert "Nothing is in a box" in empty
    assert f'href="{PAGE}"' in client.get(reverse("dispatch:recall")).content.decode()
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    factories.make_labelled_box()
    with django_assert_max_num_queries(15):
        page = client.get(PAGE).content.decode()
    lot = box.lines.get().lot
    assert f'href="{reverse("dispatch:recall")}?q={lot.number}"' in page
    assert "1\N{NO-BREAK SPACE}box at 1 consignee, and" in page
    assert "100\N{NARROW NO-BREAK SPACE}% of what" in page
