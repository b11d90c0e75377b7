"""The page of figures: three pictures, each beside a table that says all of it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Consignee, Shipment, ShipmentBox
from kitting.models import Box, PackPlan, User
from tests import factories
from tests.assertions import (
    assert_page,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.databases import once_a_module
from tests.dispatch.allotment.allotting import ask, pack
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db

PAGE = reverse("dispatch:figures")


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    later = NOW + timedelta(minutes=15)
    monkeypatch.setattr(timezone, "now", lambda: later)


@once_a_module
def boxes() -> list[Box]:
    """Three boxes of six, ready to go."""
    first = factories.make_labelled_box()
    return [first, *pack(first.size, 2)]


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def told(client: Client, **asked: object) -> str:
    """What the page says, without its markup."""
    plain = re.sub(r"<[^>]+>", "", text_of(client.get(PAGE, asked)))
    return " ".join(plain.split())


def csv_rows(client: Client, **asked: object) -> list[dict[str, str]]:
    answer = client.get(PAGE, {**asked, "as": "csv"})
    text = b"".join(answer.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.smoke
def test_who_may_see_it(
    client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    assert_sent_to_sign_in(client.get(PAGE))
    assert client_for(outsider).get(PAGE).status_code == 403
    assert_page(client_for(factories.make_person("packer")).get(PAGE))


def test_without_a_product_there_is_nothing_to_count(clerk: Client) -> None:
    assert "There is no product yet" in told(clerk)
    assert "<svg" not in clerk.get(PAGE).content.decode().split("<main")[1]


@pytest.mark.smoke
def test_the_last_fortnight_is_shown_with_how_each_figure_is_made(
    clerk: Client, boxes: list[Box]
) -> None:
    hill = factories.make_consignee("Hill")
    ask(hill, boxes[0].size.product, 20, tier=1)
    factories.send(factories.make_shipment(boxes[0], consignee=hill))
    page = clerk.get(PAGE)
    period = page.context["period"]
    assert ((period.last - period.first).days, period.last) == (13, TODAY)
    said = told(clerk)
    assert "20 sets asked for, 6 sent, 0 of them delivered." in said
    # Twelve sets are ready, six went in fourteen days: 12 / (6 / 14) is 28 days.
    assert "What is there lasts 28.0 days." in said
    assert "They have none left" in said
    for word in ("Asked:", "Promised:", "Sent:", "Delivered:", "Packed:", "Planned:"):
        assert word in said


def test_without_a_shipment_there_is_nothing_to_divide_by(
    clerk: Client, boxes: list[Box]
) -> None:
    said = told(clerk)
    assert "How long what is there lasts cannot be told." in said
    assert "Nothing was sent in these days, so there is nothing to divide by." in said
    assert "Nobody asked for anything in these days" in said
    assert [row["days"] for row in csv_rows(clerk, table="cover")] == ["", "", ""]


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"from": "2026-02-30"}, "invalid"),
        ({"to": "0001-01-01"}, "out_of_range"),
        ({"from": "2026-02-01", "to": "2026-01-01"}, "days_reversed"),
        ({"from": "2025-10-01", "to": "2026-01-09"}, "too_many_days"),
        ({"product": "NONE"}, "invalid_choice"),
        ({"product": "\x00"}, None),
    ],
)
def test_a_filter_that_cannot_be_read_shows_a_sentence_and_no_picture(
    clerk: Client, boxes: list[Box], asked: dict[str, str], code: str | None
) -> None:
    answer = clerk.get(PAGE, {**asked, "as": "csv"})
    assert_page(answer, status=422)
    if code:
        assert_problem(answer, code)
    assert 'role="alert"' in answer.content.decode()
    assert "days-picture" not in answer.content.decode()


def test_a_hundred_days_have_room(clerk: Client, boxes: list[Box]) -> None:
    page = clerk.get(PAGE, {"from": "2025-10-02", "to": "2026-01-09"})
    assert_page(page)
    assert len(page.context["days"]) == 100


def test_a_picture_shows_what_its_table_says_and_is_hidden_from_readers(
    clerk: Client, boxes: list[Box]
) -> None:
    hill = factories.make_consignee("Hill")
    ask(hill, boxes[0].size.product, 12)
    factories.send(factories.make_shipment(boxes[0], consignee=hill))
    PackPlan.objects.create(day=TODAY, size=boxes[0].size, boxes=4)
    html = clerk.get(PAGE).content.decode().split("<main")[1]
    drawn = re.findall(r"<svg [^>]*>", html)
    assert len(drawn) > 5
    assert all('aria-hidden="true"' in each for each in drawn)
    assert "style=" not in html
    [bars] = re.findall(r'<svg class="share-bars".*?</svg>', html, re.DOTALL)
    shown = dict(
        re.findall(r'class="figures-(\w+)" x="44.0" y="\d+" width="([\d.]+)"', bars)
    )
    # The scale is 0, 5, 10, 15 over 272: twelve are 217.6, six 108.8.
    assert shown == {"asked": "217.6", "sent": "108.8"}
    [days] = re.findall(r'<svg class="days-picture".*?</svg>', html, re.DOTALL)
    assert len(re.findall('rect class="figures-packed"', days)) == 1
    assert len(re.findall('rect class="figures-sent"', days)) == 1
    assert len(re.findall('path class="figures-plan"', days)) == 1


def test_each_table_is_a_file(clerk: Client, boxes: list[Box]) -> None:
    hill = factories.make_consignee("=Hill")
    ask(hill, boxes[0].size.product, 20, tier=2)
    factories.send(factories.make_shipment(boxes[0], consignee=hill))
    PackPlan.objects.create(day=TODAY, size=boxes[0].size, boxes=4)
    assert csv_rows(clerk, table="consignees") == [
        {
            "consignee_code": hill.code,
            "consignee": "'=Hill",
            "tier": "2",
            "asked": "20",
            "promised": "0",
            "sent": "6",
            "delivered": "0",
        }
    ]
    assert csv_rows(clerk, table="odd") == csv_rows(clerk)
    days = csv_rows(clerk, table="days")
    today = {"day": str(TODAY), "packed": "18", "planned": "24", "sent": "6"}
    assert (len(days), days[-1]) == (14, today)
    assert days[0]["planned"] == ""
    cover = csv_rows(clerk, table="cover")
    assert [(row["sets"], row["days"]) for row in cover] == [
        ("12", "28.0"),
        ("0", "0.0"),
        ("12", "28.0"),
    ]
    html = clerk.get(PAGE).content.decode()
    for table in ("consignees", "days", "cover"):
        assert f'href="?as=xlsx&amp;table={table}"' in html
        answer = clerk.get(PAGE, {"as": "xlsx", "table": table})
        data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
        assert data.startswith(b"PK")
        assert f'filename="{table}.xlsx"' in answer["Content-Disposition"]


def test_sixty_consignees_are_asked_for_as_one_is(
    clerk: Client, boxes: list[Box], django_assert_num_queries: Any
) -> None:
    many = [
        Consignee(code=f"C{at}", name=f"Infirmary {at}", address="1 Ward Road")
        for at in range(60)
    ]
    Consignee.objects.bulk_create(many)
    for each in Consignee.objects.all():
        ask(each, boxes[0].size.product, 6)
    factories.send(factories.make_shipment(boxes[0], consignee=each))
    with django_assert_num_queries(10):
        page = clerk.get(PAGE)
    assert len(page.context["shares"]) == 60
    assert page.content.decode().count('class="share-bars"') == 60
    assert Shipment.objects.count() == ShipmentBox.objects.count() == 1


def test_an_end_of_blanks_is_today(clerk: Client, boxes: list[Box]) -> None:
    assert_page(clerk.get(PAGE, {"to": "\t\n"}))
