"""Keys on the screen of a bench, for a label that no scanner reads any more."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from kitting.domain import gs1
from kitting.models import OpenBag
from kitting.packing.services.practice import SAID
from tests.benches import Packing
from tests.browser.benching import keys_on, next_words, turn, type_scan, waiting
from tests.browser.measuring import settle

pytestmark = [pytest.mark.django_db(transaction=True)]

SIZES = [(1280, 800), (1024, 768), (800, 1280), (640, 400)]
"""The last is the first at twice its zoom."""

TARGET_PX = 68


def touch(page: Page, text: str) -> None:
    for sign in text:
        page.locator(f"[data-key='{sign}']").click()


# That a touch reaches each key is measured and, in one test, done.
PRESS = """text => [...text].forEach(
    sign => document.querySelector(`[data-key='${sign}']`).click())"""


def press(page: Page, text: str) -> None:
    page.evaluate(PRESS, text)


def opened(page: Page) -> None:
    page.locator("[data-keypad]").click()
    expect(page.locator("#keypad")).to_be_visible()


def measure(page: Page, size: tuple[int, int]) -> None:
    assert len(keys_on(page, size, at_least=TARGET_PX)) == 35 + 3
    opens = page.locator("[data-keypad]:visible").bounding_box()
    assert opens is not None
    assert min(opens["width"], opens["height"]) >= TARGET_PX
    assert opens["x"] + opens["width"] <= size[0]


def test_every_key_is_large_and_reached_at_every_size(
    page: Page, at: Packing, bench
) -> None:
    """And the keys leave what the bench asks for in sight, but at twice the zoom."""
    bench()
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    for size in SIZES:
        turn(page, size)
        settle(page)
        opened(page)
        measure(page, size)
        words = next_words(page).bounding_box()
        pad = page.locator("#keypad").bounding_box()
        assert words is not None
        assert pad is not None
        if size in SIZES[:3]:
            assert words["y"] + words["height"] <= pad["y"]
            assert pad["y"] + pad["height"] == pytest.approx(size[1], abs=1)
        if size != SIZES[-1]:
            page.get_by_role("button", name="Hide", exact=True).click()
    touch(page, at.band_bag.number)
    page.locator("[data-do=take]").click()
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    expect(page.locator("#keypad")).to_be_hidden()
    expect(page.locator("#scan")).to_be_focused()


def test_a_wrong_last_character_is_said_at_once_and_not_taken(
    page: Page, at: Packing, bench
) -> None:
    bench()
    opened(page)
    said, take = page.locator("#keypad [role=status]"), page.locator("[data-do=take]")
    expect(take).to_be_disabled()
    number = at.band_bag.number
    press(page, number[:-1])
    expect(said).to_have_text("Type what is under the bar code")
    press(page, "A" if number[-1] != "A" else "B")
    expect(said).to_have_text("Wrong: compare it with the label")
    expect(take).to_be_disabled()
    page.get_by_role("button", name="Delete").click()
    press(page, number[-1])
    expect(said).to_have_text("Right: it fits its last character")
    expect(take).to_be_enabled()
    page.get_by_role("button", name="Hide", exact=True).click()
    sscc = gs1.sscc("4012345", 42)
    opened(page)
    press(page, sscc[:-1] + str((int(sscc[-1]) + 1) % 10))
    expect(said).to_have_text("Wrong: compare it with the label")
    page.get_by_role("button", name="Delete").click()
    press(page, sscc[-1])
    expect(said).to_have_text("Right: it fits its last character")


def test_a_scan_while_the_keys_are_open_is_taken_and_closes_them(
    page: Page, at: Packing, bench
) -> None:
    bench()
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    opened(page)
    press(page, "B10")
    type_scan(page, at.band_bag.number)
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    expect(page.locator("#keypad")).to_be_hidden()
    opened(page)
    expect(page.locator("#keypad output")).to_have_text("")


def test_what_is_typed_answers_the_menu_that_is_open_and_waits_without_network(
    page: Page, at: Packing, bench
) -> None:
    bench()
    type_scan(page, "ACT-BOX-6")
    type_scan(page, at.band_bag.number)
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    type_scan(page, "ACT-TAKE-OFF")
    expect(next_words(page)).to_contain_text("off the bench")
    page.context.set_offline(True)
    opened(page)
    press(page, at.band_bag.number)
    page.locator("[data-do=take]").click()
    expect(waiting(page)).to_have_text("1 scan waits")
    opened(page)
    press(page, "B10")
    page.context.set_offline(False)
    expect(waiting(page)).to_have_text("No scan waits")
    # The screen was swapped under the keys; what was typed so far is still there.
    expect(page.locator("#keypad output")).to_have_text("B10")
    assert not OpenBag.objects.exists()


def test_who_practises_has_the_keys_as_well(page: Page, at: Packing, bench) -> None:
    bench()
    page.goto(page.url.rsplit("/", 2)[0] + "/practice/")
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    settle(page)
    opened(page)
    measure(page, SIZES[0])
    press(page, SAID)
    page.locator("[data-do=take]").click()
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    assert not OpenBag.objects.exists()
