"""A box that is weighed, by keys on the screen and by a scale that types."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from kitting.models import Box
from tests.benches import Packing
from tests.browser.benching import next_words, type_scan, waiting
from tests.browser.measuring import settle, width
from tests.kitting.packing.bench.test_weighing import WHOLE_G, weigh

pytestmark = [pytest.mark.django_db(transaction=True)]

SIZES = [(1280, 800), (800, 1280), (1024, 768), (640, 400)]
"""The last is the first at twice its zoom."""
TARGET_PX = 68


@pytest.fixture
def full(page: Page, at: Packing, bench) -> None:
    weigh(at)
    bench()
    for text in ("ACT-BOX-6", *(bag.number for bag in at.bags)):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Put the box on the scale")


def touch(page: Page, grams: str) -> None:
    page.get_by_role("button", name="Type the mass").click()
    expect(page.locator("#keypad")).to_be_visible()
    for sign in grams:
        page.locator(f"[data-key='{sign}']").click()


@pytest.mark.parametrize("size", SIZES)
def test_a_mass_is_typed_with_large_keys_at_every_size(
    page: Page, full, size: tuple[int, int]
) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    settle(page)
    act = page.get_by_role("button", name="Type the mass").bounding_box()
    assert act is not None
    assert act["height"] >= TARGET_PX
    touch(page, "")
    expect(page.locator("[data-do=take]")).to_be_disabled()
    keys = page.locator("#keypad button:visible").all()
    assert [key.inner_text() for key in keys[3:]] == [*"1234567890", "."]
    measured = [box for key in keys if (box := key.bounding_box())]
    assert min(box["width"] for box in measured) >= TARGET_PX
    assert min(box["height"] for box in measured) >= TARGET_PX
    assert max(box["x"] + box["width"] for box in measured) <= size[0]
    assert width(page) <= size[0]
    for sign in str(WHOLE_G):
        page.locator(f"[data-key='{sign}']").click()
    expect(page.locator("#keypad output")).to_have_text(f"{WHOLE_G} g")
    page.locator("[data-do=take]").click()
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    expect(page.locator("#keypad")).to_be_hidden()
    assert Box.objects.get().mass_mg == int(WHOLE_G * 1000)


def test_a_mass_outside_is_said_and_weighed_again(page: Page, full) -> None:
    touch(page, str(WHOLE_G - 36))
    page.locator("[data-do=take]").click()
    expect(next_words(page)).to_contain_text("Lighter by 36 g")
    page.get_by_role("button", name="Go on").click()
    expect(next_words(page)).to_have_text("Put the box on the scale")
    # Keys for a number after those for a mass are keys for a number again.
    page.get_by_role("button", name="Type the mass").click()
    page.get_by_role("button", name="Type", exact=True).click()
    expect(page.locator("[data-key=B]")).to_be_visible()
    expect(page.locator("[data-key='.']")).to_be_hidden()


def test_a_scale_that_types_behind_the_prefix_closes_the_box(page: Page, full) -> None:
    type_scan(page, f"ACT-MASS-  {WHOLE_G} g")
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))


def test_figures_alone_are_never_a_mass(page: Page, full) -> None:
    type_scan(page, str(WHOLE_G))
    expect(page.locator("#bench-next")).to_have_attribute("data-state", "wrong")
    assert Box.objects.get().stage == "open"


def test_a_reading_waits_for_the_network_with_its_mass(page: Page, full) -> None:
    page.context.set_offline(True)
    touch(page, str(WHOLE_G))
    page.locator("[data-do=take]").click()
    expect(waiting(page)).to_have_text("1 scan waits")
    page.context.set_offline(False)
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    assert Box.objects.get().mass_mg == int(WHOLE_G * 1000)
