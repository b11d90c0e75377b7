"""Somebody with a scanner puts bags, a trolley and boxes away, with and without scripts."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.models import Bag, Box, Carrier, Place
from kitting.places.services import carriers
from tests import factories
from tests.browser.measuring import settle, width

pytestmark = pytest.mark.django_db(transaction=True)

TABLET = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}
# One inch is 25.4 mm and, in CSS Values and Units, 96 px.
TARGET_PX = 18 / 25.4 * 96
TARGETS = """[...document.querySelectorAll(
    '#put-away form button, #put-away .in-hand a.button, #put-read, #put-away summary')]
    .map(e => e.getBoundingClientRect()).filter(r => r.height)
    .map(r => Math.min(r.height, r.width))"""


@pytest.fixture
def shelf(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Place:
    """A shelf beside a line, in a workshop that packs now: the server's clock is real."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("packer", name="packer")
    Place.objects.create(code="RACK-Q", name="Rack Q", kind="rack")
    return Place.objects.create(code="SHELF-Q", name="Shelf Q", kind="shelf")


@pytest.fixture
def trolley(shelf: Place) -> Carrier:
    made = carriers.make_carrier(name="Blue trolley", sign=factories.sign())
    return Carrier.objects.get(number=made.carrier)


def sign_in(page: Page, address: str) -> None:
    page.goto(f"{address}/sign-in/?next=/put-away/")
    page.fill("input[name=username]", "packer")
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/put-away/")


def scan(page: Page, text: str) -> None:
    """Type as a scanner does, into the field that has the focus."""
    expect(page.locator("#put-read")).to_be_focused()
    expect(page.locator("#put-read")).to_have_value("")
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def said(page: Page, words: str) -> None:
    expect(page.locator("#put-said, .said").filter(has_text=words)).to_be_visible()


def test_one_scan_of_a_place_takes_bags_a_trolley_and_a_box(
    page: Page,
    live_server,
    console_errors: list[str],
    shelf: Place,
    trolley: Carrier,
) -> None:
    bags = [factories.make_bag(pieces=40) for _ in range(3)]
    box = factories.make_labelled_box()
    page.set_viewport_size(TABLET)
    sign_in(page, live_server.url)
    scan(page, trolley.number)
    said(page, "Blue trolley, 0 bags")
    for bag in bags[:2]:
        scan(page, bag.number)
        said(page, f"Bag {bag.number} is on carrier {trolley.number}")
    settle(page)
    assert min(page.evaluate(TARGETS)) >= TARGET_PX - 0.5
    scan(page, shelf.code)
    said(page, f"Carrier {trolley.number} with 2 bags is at Shelf Q now.")
    scan(page, bags[2].number)
    said(page, f"Bag {bags[2].number} is at Shelf Q now.")
    scan(page, str(box.sscc or box.serial))
    said(page, f"Box {box.serial} is at Shelf Q now.")
    scan(page, "Γενικό Νοσοκομείο")
    said(page, "Nothing has the number “Γενικό Νοσοκομείο”")
    expect(page.get_by_text("Everything scanned now goes to Shelf Q.")).to_be_visible()
    scan(page, shelf.code)
    said(page, "Shelf Q is no longer in hand.")
    assert set(Bag.objects.values_list("place__code", flat=True)) >= {"SHELF-Q"}
    assert all(bag.place == shelf for bag in Bag.objects.filter(pieces=40))
    assert Box.objects.get(pk=box.pk).place == shelf
    # The refused scan is answered 422, which the browser writes down; nothing else.
    assert [e for e in console_errors if "422" not in e] == []


def test_a_place_is_touched_where_none_can_be_scanned(
    page: Page, live_server, shelf: Place
) -> None:
    bag = factories.make_bag()
    page.set_viewport_size(PHONE)
    sign_in(page, live_server.url)
    scan(page, bag.number)
    said(page, f"Bag {bag.number}")
    settle(page)
    assert min(page.evaluate(TARGETS)) >= TARGET_PX - 0.5
    page.get_by_role("button", name=re.compile("^Rack Q")).click()
    said(page, f"Bag {bag.number} is at Rack Q now.")
    expect(page.locator("#put-read")).to_be_focused()
    assert width(page) <= PHONE["width"]


def test_things_are_put_away_without_scripts(
    browser: Browser, live_server, shelf: Place, trolley: Carrier
) -> None:
    bag = factories.make_bag(pieces=40)
    context = browser.new_context(java_script_enabled=False, viewport=TABLET)
    page = context.new_page()
    sign_in(page, live_server.url)
    scan(page, bag.number)
    expect(page).to_have_url(re.compile(f"hand={bag.number}$"))
    scan(page, trolley.number)
    said(page, f"Bag {bag.number} is on carrier {trolley.number}")
    scan(page, "SHELF-Q")
    said(page, "is at Shelf Q now.")
    expect(page).to_have_url(re.compile("hand=SHELF-Q$"))
    scan(page, "B1000042A")
    expect(page.get_by_role("alert").filter(has_text="B1000042A")).to_be_visible()
    page.get_by_role("link", name="Finish with it").click()
    expect(page.get_by_text("Nothing in hand", exact=True)).to_be_visible()
    page.get_by_role("link", name="Places, and what is there").click()
    page.get_by_role("link", name="SHELF-Q").click()
    expect(page.get_by_role("heading", name="What is at Shelf Q?")).to_be_visible()
    page.get_by_label("Bags or boxes").select_option("boxes")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_text("Nothing matches the sentence below.")).to_be_visible()
    assert Bag.objects.get(pk=bag.pk).place == shelf
    context.close()
