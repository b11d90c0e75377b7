"""A day is shown and typed as year, month, day, whatever language the browser speaks."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from kitting.ledger.setup import ensure_workshop
from tests import factories
from tests.browser.measuring import settle

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def address(live_server, transactional_db: None) -> str:
    ensure_workshop("Harrow Lane Workshop")
    factories.make_person("clerk", name="clerk")
    return str(live_server.url)


def log_of(browser: Browser, address: str, **options: object) -> Page:
    page = browser.new_context(**options).new_page()
    page.goto(f"{address}/sign-in/?next=/log/%3Ffrom=2026-03-01")
    page.fill("input[name=username]", "clerk")
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/log/?from=2026-03-01")
    return page


@pytest.mark.parametrize("scripts", [True, False])
@pytest.mark.parametrize("locale", ["de-DE", "en-US"])
def test_a_day_reads_and_is_typed_the_same_in_every_language(
    browser: Browser, address: str, locale: str, scripts: bool
) -> None:
    page = log_of(browser, address, locale=locale, java_script_enabled=scripts)
    # A text field shows its value as it is; a browser's field for days would not.
    assert page.locator("input[type=date]").count() == 0
    since, until = page.locator("#id_from"), page.locator("#id_to")
    expect(since).to_have_value("2026-03-01")
    expect(since).to_have_attribute("type", "text")
    until.focus()
    page.keyboard.type("20260405")  # as on a telephone's keys, which have no hyphen
    expect(until).to_have_value("2026-04-05" if scripts else "20260405")
    page.keyboard.press("Enter")
    page.wait_for_url("**to=*")
    expect(page.locator("[data-wrong]")).to_have_count(0)
    until.fill("")
    until.focus()
    page.keyboard.type("2026-04-06")
    expect(until).to_have_value("2026-04-06")
    page.keyboard.press("Enter")
    page.wait_for_url("**to=2026-04-06*")
    expect(page.locator("[data-wrong]")).to_have_count(0)
    until.fill("03/04/2026")
    page.keyboard.press("Enter")
    expect(page.locator("[data-wrong]")).to_contain_text("2026-03-01")
    expect(until).to_have_value("03/04/2026")
    page.context.close()


def test_a_telephone_shows_its_keys_for_figures(browser: Browser, address: str) -> None:
    phone = {"width": 390, "height": 844}
    page = log_of(browser, address, viewport=phone, is_mobile=True, has_touch=True)
    settle(page)
    for name in ("from", "to"):
        field = page.locator(f"#id_{name}")
        expect(field).to_have_attribute("inputmode", "numeric")
        whole = field.evaluate("e => e.scrollWidth <= e.clientWidth")
        assert whole, "the placeholder or the day is cut off"
    page.locator("#id_from").fill("2026-12-31")
    assert page.locator("#id_from").evaluate("e => e.scrollWidth <= e.clientWidth")
    page.context.close()
