"""A tied tablet from morning to evening: tied, signed on, scanned, handed over, revoked."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, Request, expect

from kitting.models import Bench, OpenBag, Operation
from kitting.people.services.badges import revoke_badge
from tests import factories, tablets
from tests.benches import Packing, make_packing
from tests.browser.benching import (
    keys_on,
    next_words,
    time_passes,
    turn,
    type_scan,
    waiting,
)
from tests.browser.measuring import barriers
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

LYING, _STANDING = SIZES = ((1280, 800), (800, 1280))
TARGET = 68  # CSS pixels, 18 mm


@pytest.fixture
def at(live_server) -> Packing:
    return make_packing()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A tablet that is touched."""
    context = browser.new_context(has_touch=True)
    page = context.new_page()
    turn(page, LYING)
    yield page
    context.close()


@pytest.fixture
def manager(browser: Browser, live_server, client_for: Callable) -> Iterator[Page]:
    context = browser.new_context()
    client = client_for(factories.make_person("manager", name="lead"))
    value = client.cookies["lotward_session"].value
    cookie = {"name": "lotward_session", "value": value, "url": live_server.url}
    context.add_cookies([cookie])  # type: ignore[list-item]
    yield context.new_page()
    context.close()


def code_from(manager: Page, address: str, bench: Bench) -> str:
    manager.goto(address + reverse("kitting:bench-change", args=[bench.code]))
    manager.get_by_role("link", name="Tie a tablet").click()
    manager.get_by_role("button", name="Show a code").click()
    return manager.locator(".shown-once").inner_text()


def tie(page: Page, address: str, code: str) -> None:
    page.goto(address + reverse("kitting:tablet"))
    expect(page.get_by_label("Code")).to_be_focused()
    page.keyboard.type(code)
    touch(page, "Tie this tablet")
    asks_for(page, "Scan your badge")


def asks_for(page: Page, words: str) -> None:
    expect(page.locator("#sign-on h1")).to_have_text(words)


def scan_badge(page: Page, token: str) -> None:
    expect(page.locator("#scan")).to_be_focused()
    page.keyboard.insert_text(token)
    page.keyboard.press("Enter")


def touch_pin(page: Page, pin: str) -> None:
    asks_for(page, "Enter your PIN")
    for digit in pin:
        page.locator(f'.pin-keys [data-key="{digit}"]').tap()
    page.get_by_role("button", name="Sign on").tap()


def is_on(page: Page, name: str) -> None:
    expect(page.locator(".strip-who a")).to_contain_text(name)
    page.wait_for_load_state()


def touch(page: Page, name: str) -> None:
    """Touch a key once; lying and standing it can be touched."""
    key = page.get_by_role("button", name=name)
    for size in SIZES:
        turn(page, size)
        key.tap(trial=True)
    key.tap()


def fits(page: Page) -> None:
    """Lying and standing."""
    wide = "document.documentElement.scrollWidth - innerWidth"
    high = "document.documentElement.scrollHeight - innerHeight"
    for size in SIZES:
        turn(page, size)
        assert page.evaluate(f"[{wide}, {high}]") == [0, 0], size


def say_that_it_is_clear(page: Page) -> None:
    """By touch and by scans; no at first."""
    expect(next_words(page)).to_contain_text("clear of bags")
    fits(page)
    touch(page, "No")
    expect(page.locator("#bench-next .go-to")).to_contain_text("Put each bag away")
    touch(page, "Yes")
    expect(next_words(page)).to_contain_text("clear of boxes")
    type_scan(page, "ACT-YES")
    expect(next_words(page)).to_contain_text("clear of labels")
    type_scan(page, "ACT-YES")
    expect(next_words(page)).to_have_text("Choose the next box")


def no_key_is_small(page: Page) -> None:
    """And nobody is barred from them."""
    for size in SIZES:
        turn(page, size)
        assert len(keys_on(page, size, at_least=TARGET, of=".pin-keys")) == 10 + 2
        assert barriers(page) == []


def test_a_day_at_a_tied_tablet(
    page: Page, manager: Page, at: Packing, live_server, monkeypatch
) -> None:
    (_petra, first), (oskar, second) = (
        tablets.packer("petra"),
        tablets.packer("oskar", "8352"),
    )
    page.clock.install()
    sent: list[Request] = []
    page.on("request", lambda request: sent.append(request))
    tie(page, live_server.url, code_from(manager, live_server.url, at.bench))
    fits(page)
    scan_badge(page, first)
    asks_for(page, "Enter your PIN")
    fits(page)
    no_key_is_small(page)

    touch_pin(page, "9999")
    expect(page.locator(".sign-on-wrong")).to_contain_text("do not belong together")
    fits(page)
    page.locator('.pin-keys [data-key="1"]').tap()
    page.get_by_role("button", name="Delete").tap()
    expect(page.locator("#scan")).to_have_value("")
    tablets.clock_of_machine(monkeypatch)(
        seconds=1
    )  # so long a wrong one is waited for
    touch_pin(page, tablets.PIN)
    is_on(page, "petra")

    say_that_it_is_clear(page)
    type_scan(page, at.band_bag.number)
    expect(page.locator(".strip-last")).to_contain_text("Headband bag")
    act = Operation.objects.filter(bench=at.bench).latest("pk")
    assert (act.name, act.by_name) == ("bring_bag", "petra")

    scan_badge(page, second)
    touch_pin(page, "8352")
    is_on(page, "oskar")
    type_scan(page, at.visor_bag.number)
    expect(page.locator(".strip-last")).to_contain_text("Visor bag")
    assert Operation.objects.filter(bench=at.bench).latest("pk").by_name == "oskar"

    scan_badge(page, second)
    asks_for(page, "Scan your badge")
    expect(page.locator("#sign-on-said")).to_have_text("You are signed out.")
    scan_badge(page, second)
    touch_pin(page, "8352")
    is_on(page, "oskar")
    revoke_badge(badge_id=tablets.newest_badge(oskar), sign=sign(now=None))
    time_passes(page)
    asks_for(page, "Scan your badge")  # by itself
    assert OpenBag.objects.count() == 2
    assert [one.url for one in sent if first in one.url or second in one.url] == []
    stored = "JSON.stringify([{...localStorage}, {...sessionStorage}, document.cookie])"
    kept = page.evaluate(stored)
    assert first not in kept + page.content()
    assert "lotward" not in page.evaluate("document.cookie")


def test_a_pin_is_typed_and_another_badge_scanned_over_it(
    page: Page, at: Packing, live_server
) -> None:
    (_petra, first), (_oskar, second) = (
        tablets.packer("petra"),
        tablets.packer("oskar", "8352"),
    )
    tie(page, live_server.url, tablets.code_for(at.bench))
    scan_badge(page, first)
    asks_for(page, "Enter your PIN")
    with page.expect_navigation():
        scan_badge(page, second)
    asks_for(page, "Enter your PIN")
    expect(page.locator("#scan")).to_be_focused()
    page.keyboard.type("8352")
    page.keyboard.press("Enter")
    is_on(page, "oskar")


def test_nobody_takes_over_while_scans_wait(
    page: Page, at: Packing, live_server
) -> None:
    (_petra, first), (_oskar, second) = (
        tablets.packer("petra"),
        tablets.packer("oskar", "8352"),
    )
    tie(page, live_server.url, tablets.code_for(at.bench))
    scan_badge(page, first)
    touch_pin(page, tablets.PIN)
    is_on(page, "petra")
    page.context.set_offline(True)
    type_scan(page, at.band_bag.number)
    expect(waiting(page)).to_have_text("1 scan waits")
    scan_badge(page, second)
    expect(next_words(page)).to_have_text("No badge is taken yet")
    is_on(page, "petra")
    assert second not in page.evaluate("JSON.stringify({...localStorage})")
    page.context.set_offline(False)
    expect(waiting(page)).to_have_text("No scan waits")
    act = Operation.objects.filter(bench=at.bench).latest("pk")
    assert (act.name, act.by_name) == ("bring_bag", "petra")
    page.context.set_offline(True)
    scan_badge(page, second)
    expect(next_words(page)).to_have_text("No badge is taken yet")
    page.context.set_offline(False)
    scan_badge(page, second)
    touch_pin(page, "8352")
    is_on(page, "oskar")


def test_another_browser_is_told_where_the_bench_takes_scans(
    page: Page, manager: Page, at: Packing, live_server
) -> None:
    tie(page, live_server.url, tablets.code_for(at.bench))
    manager.goto(live_server.url + reverse("kitting:bench", args=[at.bench.code]))
    type_scan(manager, at.band_bag.number)
    expect(next_words(manager)).to_contain_text("has a tablet of its own")
    assert not OpenBag.objects.exists()


def test_without_scripts_a_badge_and_a_pin_sign_on(
    browser: Browser, at: Packing, live_server
) -> None:
    _person, token = tablets.packer("petra")
    context = browser.new_context(java_script_enabled=False)
    plain = context.new_page()
    plain.goto(live_server.url + reverse("kitting:tablet"))
    plain.get_by_label("Code").fill(tablets.code_for(at.bench))
    plain.keyboard.press("Enter")
    asks_for(plain, "Scan your badge")
    scan_badge(plain, token)
    asks_for(plain, "Enter your PIN")
    plain.keyboard.type(tablets.PIN)
    plain.keyboard.press("Enter")
    is_on(plain, "petra")
    assert token not in plain.content()
    context.close()
