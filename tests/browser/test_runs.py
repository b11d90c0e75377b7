"""A line operator at a tablet: opens a run, scans bags on and off, closes it."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.lots.services import lots
from kitting.models import Bag, Run, RunBag
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.browser.measuring import settle

pytestmark = pytest.mark.django_db(transaction=True)

TABLET = {"width": 1280, "height": 800}
# One inch is 25.4 mm and, in CSS Values and Units, 96 px.
TARGET_PX = 18 / 25.4 * 96


@pytest.fixture
def bag(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Bag:
    """What the line needs, as of now: the server in the test reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("line operator", name="line")
    revision = factories.make_revision(factories.make_part(name="Headband"))
    lot = factories.accept(factories.make_lot(revision, bags=(lots.NewBag(pieces=10),)))
    factories.make_protocol(revision)
    factories.make_meter(due=now.date() + timedelta(days=30))
    place = factories.make_place(PlaceKind.LINE)
    place.name = "Line 1"
    place.save()
    return lot.bags.get()


def sign_in(page: Page, address: str) -> None:
    page.goto(f"{address}/sign-in/?next=/disinfection/")
    page.fill("input[name=username]", "line")
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/disinfection/")


def open_a_run(page: Page) -> None:
    page.get_by_role("link", name="Open a run on Line 1").click()
    page.get_by_label("Length of the lit zone").fill("500")
    page.get_by_label("Speed of the belt").fill("1,5")
    page.get_by_label("Uncertainty of the speed").fill("2")
    page.get_by_label("Decline of the lamps").fill("1.5")
    for point, reading in enumerate(["4,12", "3.98", "4.3"], start=1):
        page.get_by_label(f"Point {point}, top").fill(reading)
    page.get_by_role("button", name="Open the run on Line 1").click()
    page.wait_for_url(re.compile("/disinfection/R[0-9]"))


def scan(page: Page, text: str) -> None:
    page.locator("#line-read").fill(text)
    page.locator("#line-read").press("Enter")


def close_the_run(page: Page) -> None:
    page.get_by_role("link", name=re.compile("^Close run")).click()
    for point in (1, 2, 3):
        page.get_by_label(f"Point {point}, top").fill("3.9")
    page.get_by_label("Your password again").fill("pass")
    page.get_by_role("button", name=re.compile("^Close run")).click()


def passes_are_over() -> None:
    """The bag went on an hour ago: nobody waits six minutes for a test."""
    RunBag.objects.update(on_at=timezone.now() - timedelta(hours=1))


def assert_cleared(bag: Bag) -> None:
    bag.refresh_from_db()
    assert (bag.stage, Run.objects.get().stage) == ("cleared", "released")


def walk(page: Page, address: str, bag: Bag) -> None:
    sign_in(page, address)
    expect(page.locator(".answer")).to_contain_text("Headband, 1 bag with 10 pieces")
    open_a_run(page)
    scan(page, bag.number)
    expect(page.locator("#main")).to_contain_text(f"Bag {bag.number} is on the line.")
    scan(page, bag.number)
    expect(page.locator("#line-answer")).to_contain_text("are not complete")
    passes_are_over()
    scan(page, bag.number)
    expect(page.locator("#main")).to_contain_text(f"Bag {bag.number} is off the line.")
    close_the_run(page)
    expect(page.locator(".answer")).to_contain_text("released")


def test_a_line_operator_runs_a_bag_from_opening_to_verdict(
    page: Page, live_server, bag: Bag, console_errors: list[str]
) -> None:
    page.set_viewport_size(TABLET)
    walk(page, live_server.url, bag)
    assert_cleared(bag)
    # A refused scan is answered with 422, which the browser writes into its console.
    refused = [text for text in console_errors if "422" not in text]
    assert refused == []


def test_the_line_works_with_javascript_switched_off(
    browser: Browser, live_server, bag: Bag
) -> None:
    context = browser.new_context(java_script_enabled=False)
    try:
        walk(context.new_page(), live_server.url, bag)
        assert_cleared(bag)
    finally:
        context.close()


def test_scan_field_and_acts_at_the_line_are_18_mm(
    page: Page, live_server, bag: Bag
) -> None:
    page.set_viewport_size(TABLET)
    sign_in(page, live_server.url)
    open_a_run(page)
    targets = [
        page.locator("#line-read"),
        page.get_by_role("button", name="Take the scan"),
        page.get_by_role("link", name=re.compile("^Close run")),
    ]
    settle(page)
    heights = [box["height"] for t in targets if (box := t.bounding_box())]
    assert len(heights) == 3
    assert min(heights) >= TARGET_PX
    # After a scan the next one lands in the field again, and in nothing else.
    scan(page, "nothing")
    expect(page.locator("#line-answer")).to_contain_text("Nothing has the number")
    expect(page.locator("#line-read")).to_be_focused()
    expect(page.locator("#line-read")).to_have_value("")


def test_a_line_that_stopped_and_a_dosimeter_are_entered_at_the_line(
    page: Page, live_server, bag: Bag
) -> None:
    page.set_viewport_size(TABLET)
    sign_in(page, live_server.url)
    open_a_run(page)
    scan(page, bag.number)
    expect(page.locator("#main")).to_contain_text(f"Bag {bag.number} is on the line.")
    page.get_by_role("link", name="The line stopped").click()
    page.get_by_label("What happened").fill("The belt jammed")
    page.get_by_role("button", name="Set every bag on the line to accepted").click()
    expect(page.locator("#run-stops")).to_contain_text("The belt jammed")
    expect(page.locator("#run-bags")).to_contain_text("No bag is on the line.")
    weakest = page.locator(".map-weakest")
    expect(weakest).to_contain_text("3.98")
    page.get_by_role("link", name=re.compile("^Close run")).click()
    for point in (1, 2, 3):
        page.get_by_label(f"Point {point}, top").fill("3.9")
    page.get_by_text("A dosimeter went through as well").click()
    page.get_by_label("Dosimeter 1, dose").fill("1050")
    page.get_by_label("Dosimeter 1, its uncertainty").fill("8")
    page.get_by_label("Your password again").fill("pass")
    page.get_by_role("button", name=re.compile("^Close run")).click()
    # 1050 less √(8² + 2²) % and 1.5 % is 947.6: the weaker evidence decides.
    expect(page.locator(".answer")).to_contain_text("So it is not enough")
    bag.refresh_from_db()
    assert (bag.stage, bag.passes, Run.objects.get().stage) == ("accepted", 0, "failed")
