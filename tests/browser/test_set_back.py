"""A bag that was open for too long, set back at the bench by touch and by scans."""

from __future__ import annotations

import os
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from kitting.models import Bag, Part
from tests.benches import Packing
from tests.browser.benching import next_words, touch, turn, type_scan
from tests.browser.measuring import settle

SIZES = [(1280, 800), (800, 1280)]
TARGET_PX = 18 / 25.4 * 96

pytestmark = [pytest.mark.django_db(transaction=True)]


@pytest.fixture
def overdue(at: Packing) -> Bag:
    Part.objects.filter(pk=at.band.part_id).update(open_hours=8)
    since = timezone.now() - timedelta(hours=9)
    Bag.objects.filter(pk=at.band_bag.pk).update(opened_at=since)
    return at.band_bag


def seen(page: Page, name: str) -> None:
    if folder := os.environ.get("SHOTS"):
        settle(page)
        page.screenshot(path=f"{folder}/{name}.png")


def test_by_touch_where_it_is_refused(page: Page, bench, overdue: Bag) -> None:
    bench()
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_contain_text("Headband")
    type_scan(page, overdue.number)
    expect(page.locator("#bench-next")).to_have_attribute("data-state", "wrong")
    key = page.get_by_role("button", name="Set it back")
    for size in SIZES:
        turn(page, size)
        seen(page, f"overdue{size[0]}")
        box = key.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= TARGET_PX - 0.1
    touch(key, SIZES)
    expect(next_words(page)).to_contain_text("Stick the label of bag")
    expect(page.get_by_role("link", name="Open the label")).to_be_visible()
    seen(page, "setback")
    touch(page.get_by_role("button", name="It is on: go on"), SIZES)
    expect(page.locator(".strip-last")).to_contain_text("is set back")
    assert overdue.lot.bags.exclude(pk=overdue.pk).get().stage == "arrived"


def test_by_scans_alone(page: Page, bench, overdue: Bag) -> None:
    bench()
    type_scan(page, "ACT-SET-BACK")
    expect(next_words(page)).to_have_text("Which bag is set back?")
    seen(page, "whichback")
    type_scan(page, overdue.number)
    expect(next_words(page)).to_contain_text("Stick the label of bag")
    type_scan(page, "ACT-NEXT")
    expect(next_words(page)).to_have_text("Choose the next box")
