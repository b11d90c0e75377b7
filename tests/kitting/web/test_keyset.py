"""Pages that begin at a row: every row once, in both directions, whatever is added."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest

from dispatch.log.queries import ORDER
from dispatch.models import Shipment
from kitting.web.keyset import Page, page_of
from tests import factories

pytestmark = pytest.mark.django_db

FIRST = datetime(2026, 1, 1, tzinfo=UTC)


def made(count: int) -> list[str]:
    """Shipments of which many left at the same moment; their numbers, newest first."""
    whom, luck = factories.make_consignee(), Random(1)
    rows = [
        Shipment(
            number=f"S{n:04}",
            consignee=whom,
            stage="sent",
            driver="Driver 2",
            sent_at=FIRST + timedelta(minutes=luck.randrange(count // 3 + 1)),
            boxes=1,
        )
        for n in range(count)
    ]
    Shipment.objects.bulk_create(rows)
    order = sorted(Shipment.objects.all(), key=lambda row: (row.sent_at, row.pk))
    return [row.number for row in reversed(order)]


def page(size: int = 7, **asked: Any) -> Page[Shipment]:
    return page_of(Shipment.objects.all(), ORDER, asked, size)


def numbers(shown: Page[Shipment]) -> list[str]:
    return [row.number for row in shown.rows]


@pytest.mark.parametrize("count", [0, 1, 6, 7, 8, 13, 14, 15, 40])
def test_pages_show_every_row_once_down_and_up(count: int) -> None:
    every = made(count)
    shown = page()
    down = [numbers(shown)]
    while shown.older:
        shown = page(older=shown.older)
        down.append(numbers(shown))
    assert [number for some in down for number in some] == every
    assert all(len(some) == 7 for some in down[:-1])
    up = []
    while shown.newer:
        shown = page(newer=shown.newer)
        up.append(numbers(shown))
    assert up == down[-2::-1]


def test_the_oldest_page_is_one_step_away_and_full() -> None:
    every = made(40)
    shown = page(newer="")
    assert (numbers(shown), shown.older) == (every[-7:], "")
    assert numbers(page(newer=shown.newer)) == every[-14:-7]
    assert numbers(page(50, newer="")) == every


def test_a_row_that_is_added_moves_no_other_to_another_page() -> None:
    every = made(20)
    second = numbers(page(older=every[6]))
    whom = Shipment.objects.all()[0].consignee
    late = FIRST + timedelta(days=1)
    Shipment.objects.create(
        number="NEW",
        consignee=whom,
        stage="sent",
        driver="Driver 2",
        sent_at=late,
        boxes=1,
    )
    assert numbers(page(older=every[6])) == second
    assert numbers(page())[0] == "NEW"
    assert numbers(page(newer=every[6])) == ["NEW", *every[:6]]


@pytest.mark.parametrize("odd", ["none", "\x00", "é", "x" * 5000, "S0001 "])
def test_what_names_no_row_shows_the_newest_page(odd: str) -> None:
    every = made(20)
    assert numbers(page(older=odd)) == every[:7]
    assert numbers(page(newer=odd)) == every[:7]


def test_a_row_that_has_no_place_in_the_order_names_none() -> None:
    every = made(20)
    waits = factories.make_shipment().number
    assert (
        numbers(
            page_of(Shipment.objects.exclude(sent_at=None), ORDER, {"older": waits}, 7)
        )
        == every[:7]
    )
