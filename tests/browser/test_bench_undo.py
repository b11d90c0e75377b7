"""Undo, stopping and putting away at a bench: by touch, by scans, and without network."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from kitting.ledger import clock
from kitting.models import Box, BoxLine, Operation
from kitting.packing.services.plan import plan_day
from tests.benches import Packing
from tests.browser.benching import next_words, touch, type_scan
from tests.factories import make_place, sign

pytestmark = [pytest.mark.django_db(transaction=True)]

SIZES = [(1280, 800), (800, 1280), (1024, 768)]


def inside() -> int:
    return sum(BoxLine.objects.values_list("pieces", flat=True))


def test_the_last_scan_is_undone_by_two_touches_and_by_two_scans(
    page: Page, at: Packing, bench
) -> None:
    bench()
    for text in ("ACT-BOX-6", at.band_bag.number, at.visor_bag.number):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Manual: scan a bag")
    touch(page.get_by_role("button", name="Undo", exact=True), SIZES)
    touch(page.get_by_role("button", name=re.compile("Visor bag .* 12 taken")), SIZES)
    expect(next_words(page)).to_have_text("Put it back")
    page.reload()
    expect(next_words(page)).to_have_text("Put it back")
    touch(page.get_by_role("button", name="It is back"), SIZES)
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    assert inside() == 6
    for text in ("ACT-UNDO", "ACT-YES"):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Put it back")
    assert inside() == 0


def test_an_undo_without_network_undoes_nothing_that_nobody_saw(
    page: Page, at: Packing, bench
) -> None:
    bench()
    for text in ("ACT-BOX-6", at.band_bag.number):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    page.context.set_offline(True)
    for text in ("nonsense", "ACT-UNDO", "ACT-YES"):
        type_scan(page, text)
    expect(page.locator("#bench-waiting")).to_have_text("3 scans wait")
    page.context.set_offline(False)
    for words in ("Nothing has the number", "was scanned without network", "answers"):
        expect(next_words(page)).to_contain_text(words)
        page.get_by_role("button", name="Go on").click()
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    assert not Operation.objects.filter(name="undo").exists()
    assert inside() == 6


def test_small_boxes_go_on_by_two_scans_until_a_touch_stops_that(
    page: Page, at: Packing, bench
) -> None:
    plan_day(day=clock.today(), wanted={at.size.pk: 9}, sign=sign())
    ready = make_place("boxes ready")
    bench()
    for text in ("ACT-BOX-6", *(bag.number for bag in at.bags)):
        type_scan(page, text)
    for _ in range(2):
        expect(next_words(page)).to_have_text("Close the box")
        type_scan(page, "ACT-CLOSE")
        expect(next_words(page)).to_have_text(re.compile("stick its label on"))
        type_scan(page, str(Box.objects.latest("pk").serial))
    expect(next_words(page)).to_have_text("Close the box")
    type_scan(page, ready.code)
    expect(page.locator(".strip-last")).to_contain_text("is put away")
    type_scan(page, "ACT-CLOSE")
    key = page.get_by_role("button", name="Stop after this box")
    expect(key).to_contain_text("else the next box starts by itself")
    touch(key, SIZES)
    expect(key).to_have_count(0)
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    type_scan(page, str(Box.objects.latest("pk").serial))
    expect(next_words(page)).to_have_text("Choose the next box")
    assert Box.objects.filter(place=ready).count() == 1
    assert Box.objects.count() == 3
