"""A quality officer keeps meters and lamps; a line operator sees what follows."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.lots.services import lots
from kitting.models import Bag, Hold, Lamp, Meter, Run
from kitting.models.catalogue import PlaceKind
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bag(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Bag:
    """A bag that waits, as of now: the server in the test reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("quality officer", name="quality")
    factories.make_person("line operator", name="line")
    revision = factories.make_revision(factories.make_part(name="Headband"))
    lot = factories.make_lot(revision, bags=(lots.NewBag(pieces=10),))
    factories.make_protocol(revision, low_nm=250, high_nm=258)
    place = factories.make_place(PlaceKind.LINE)
    place.name = "Line 1"
    place.save()
    return factories.accept(lot).bags.get()


def sign_in(page: Page, address: str, name: str, to: str) -> None:
    page.goto(f"{address}/sign-in/?next={to}")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url(f"**{to}")


def sign_out(page: Page) -> None:
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/**")


def keep_a_meter(page: Page, low_nm: str, high_nm: str) -> None:
    today = timezone.now().date()
    page.get_by_label("Calibrated on").fill(today.isoformat())
    page.get_by_label("Due on").fill((today + timedelta(days=20)).isoformat())
    page.get_by_label("Relative expanded uncertainty").fill("6,5")
    page.get_by_label("Spectral range from").fill(low_nm)
    page.get_by_label("Spectral range to").fill(high_nm)
    page.get_by_role("button", name="Record the calibration").click()
    expect(page.locator("#main")).to_contain_text("is recorded, due")


def walk(page: Page, address: str) -> None:
    sign_in(page, address, "quality", "/meters/")
    page.get_by_role("link", name="Add a meter").click()
    page.get_by_label("Name", exact=True).fill("Radiometer")
    page.get_by_label("Serial number").fill("RM-0417")
    page.get_by_role("button", name="Add the meter").click()
    expect(page.locator(".answer")).to_contain_text("never calibrated")
    keep_a_meter(page, "315", "400")
    expect(page.locator(".answer")).to_contain_text("for 20 more days")

    # It sees UV-A, and the protocol is about 254 nm: the line is not offered it.
    page.goto(f"{address}/lamps/")
    page.get_by_role("link", name="Record a lamp that was fitted").click()
    page.get_by_label("Lamp", exact=True).fill("Top 1")
    page.get_by_label("Rated for").fill("9000")
    page.get_by_role("button", name="Record the lamp").click()
    expect(page.locator("#main")).to_contain_text("Top 1 is fitted to Line 1.")
    sign_out(page)

    sign_in(page, address, "line", "/disinfection/")
    expect(page.locator("#main")).to_contain_text("its calibration is due in 20 days")
    page.get_by_role("link", name="Open a run on Line 1").click()
    expect(page.locator(".answer")).to_contain_text("No meter is in calibration")
    page.goto(f"{address}/lamps/")
    page.get_by_role("link", name="Enter its hours").click()
    page.get_by_label("Hours in use").fill("120")
    page.get_by_role("button", name="Record the hours").click()
    expect(page.locator("#main")).to_contain_text("Top 1 has 120 h in use.")
    sign_out(page)

    sign_in(page, address, "quality", "/meters/RM-0417/")
    keep_a_meter(page, "220", "280")
    run = factories.open_run(factories.make_protocol(), Meter.objects.get())
    factories.close_run(run)
    page.get_by_role("link", name="It was found to read wrong").click()
    page.get_by_label("Found on").fill(timezone.now().date().isoformat())
    page.get_by_label("What is wrong with it").fill("Window cracked")
    page.get_by_role(
        "button", name="Place a hold on every run since that calibration"
    ).click()
    expect(page.locator("#main")).to_contain_text("1 run measured with RM-0417")
    expect(page.locator(".answer")).to_contain_text("No: it was found wrong on")


def assert_held() -> None:
    assert Hold.objects.get().run == Run.objects.get()
    assert Lamp.objects.get().hours.get().hours == 120


def test_a_quality_officer_keeps_meters_and_the_line_follows(
    page: Page, live_server, bag: Bag, console_errors: list[str]
) -> None:
    walk(page, live_server.url)
    assert_held()
    assert console_errors == []


def test_meters_are_kept_with_javascript_switched_off(
    browser: Browser, live_server, bag: Bag
) -> None:
    context = browser.new_context(java_script_enabled=False)
    try:
        walk(context.new_page(), live_server.url)
        assert_held()
    finally:
        context.close()
