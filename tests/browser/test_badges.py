"""Somebody with a badge: signs in by it, and scans it where it does not belong."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, Request, expect

from kitting.ledger.setup import ensure_workshop
from kitting.models import User
from kitting.people.services.badges import issue_badges
from tests import factories
from tests.browser.measuring import barriers

pytestmark = pytest.mark.django_db(transaction=True)

TABLET = {"width": 1280, "height": 800}


@pytest.fixture
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    return {**browser_context_args, "service_workers": "allow"}


@pytest.fixture
def token(transactional_db: None) -> str:
    """The badge of a packer whose name is nowhere on the page before."""
    ensure_workshop("Harrow Lane Workshop")
    packer = factories.make_person("packer", name="petra")
    (new,) = issue_badges(user_ids=[packer.pk], sign=factories.sign())
    return new.token


@pytest.fixture
def requests(page: Page) -> list[Request]:
    found: list[Request] = []
    page.on("request", lambda request: found.append(request))
    return found


def without_pauses(page: Page) -> None:
    """Stop the page's clock: a busy machine types with pauses that no scanner makes."""
    page.clock.install(time=0)
    page.clock.pause_at(1_000)


def type_scan(page: Page, text: str) -> None:
    """Type as a scanner does, into whatever has the focus, and Enter at the end."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def scan(page: Page, text: str) -> None:
    """Scan without a pause between two letters, however busy the machine is."""
    page.keyboard.insert_text(text)
    page.keyboard.press("Enter")


def sign_in(page: Page, address: str, token: str, to: str) -> None:
    page.goto(f"{address}/sign-in/?next={to}")
    expect(page.get_by_label("Name", exact=True)).to_be_focused()
    scan(page, token)
    expect(page.get_by_label("Password")).to_be_focused()
    expect(page).to_have_url(f"{address}/sign-in/?next={to}")
    page.keyboard.type("pass")
    page.keyboard.press("Enter")
    expect(page).to_have_url(address + to)


def test_a_scan_a_password_and_nothing_else(
    page: Page,
    live_server,
    token: str,
    console_errors: list[str],
    requests: list[Request],
) -> None:
    page.set_viewport_size(TABLET)  # type: ignore[arg-type]
    without_pauses(page)
    page.goto(f"{live_server.url}/sign-in/")
    type_scan(page, token.lower())
    name = page.get_by_label("Name", exact=True)
    expect(name).to_have_value("")
    expect(name).to_have_attribute("placeholder", "Badge read")
    # Somebody else came first: the name that is typed now counts, and a badge again.
    name.press_sequentially("nobody")
    expect(page.locator("input[type=hidden][name=username]")).to_have_count(0)
    expect(name).to_have_attribute("name", "username")
    page.keyboard.press("Control+a")
    type_scan(page, f"]d1{token}")
    expect(page.get_by_label("Password")).to_be_focused()
    page.keyboard.type("pass")
    page.keyboard.press("Enter")
    page.wait_for_url(f"{live_server.url}/bench/")
    expect(page.locator(".who")).to_contain_text("petra")
    posts = [each for each in requests if each.method == "POST"]
    assert [(token in (each.post_data or "")) for each in posts] == [True]
    assert not [each for each in requests if token in each.url]
    assert console_errors == []


def test_a_badge_signs_in_without_scripts(
    browser: Browser, live_server, token: str
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, live_server.url, token, "/put-away/")
    expect(page.locator(".who")).to_contain_text("petra")
    expect(page.locator("#put-read")).to_be_focused()
    scan(page, token)
    expect(page.get_by_text("That is a badge.")).to_be_visible()
    assert token not in page.content()
    context.close()


def test_a_badge_at_a_bench_is_neither_sent_nor_kept(
    page: Page,
    live_server,
    token: str,
    requests: list[Request],
    console_errors: list[str],
) -> None:
    bench = factories.make_bench()
    page.set_viewport_size(TABLET)  # type: ignore[arg-type]
    sign_in(page, live_server.url, token, reverse("kitting:bench", args=[bench.code]))
    page.evaluate("navigator.serviceWorker.ready.then(() => 1)")
    requests.clear()
    page.context.set_offline(True)
    for _ in range(2):
        expect(page.locator("#scan")).to_be_focused()
        scan(page, token)
        expect(page.locator("#bench-next h2")).to_have_text("That is a badge")
        expect(page.locator("#scan")).to_have_value("")
        page.wait_for_timeout(200)
    stored = page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])")
    assert token not in stored
    assert "[]" in json.loads(stored)[0].get("lotward-outbox", "[]")
    assert [each for each in requests if each.method == "POST"] == []
    page.context.set_offline(False)
    type_scan(page, "ACT-NEXT")
    expect(page.locator("#bench-next h2")).not_to_have_text("That is a badge")
    expect(page.locator("#bench-waiting")).to_have_attribute("data-waiting", "0")
    assert console_errors == []


def test_a_badge_in_a_search_or_a_password_goes_nowhere(
    page: Page, live_server, token: str, requests: list[Request]
) -> None:
    factories.make_person("clerk", name="carl")
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("Name", exact=True).fill("carl")
    page.get_by_label("Password").focus()
    requests.clear()
    scan(page, token)
    alarm = page.locator("#alarm")
    expect(alarm).to_contain_text("That is a badge.")
    expect(page.get_by_label("Password")).to_have_value("")
    page.keyboard.type("pass")
    expect(alarm).to_have_text("")
    page.keyboard.press("Enter")
    page.wait_for_url(f"{live_server.url}/shipments/")
    find = page.get_by_label(
        "Any number: lot, bag, run, box, pallet, request, allotment or shipment; or a name"
    )
    find.focus()
    scan(page, f"x{token}")
    expect(alarm).to_contain_text("That is a badge.")
    expect(find).to_have_value("")
    expect(page).to_have_url(f"{live_server.url}/shipments/")
    assert not [each for each in requests if token in each.url + (each.post_data or "")]


def test_a_manager_issues_and_revokes(
    page: Page,
    live_server,
    token: str,
    client_for: Callable,
    console_errors: list[str],
) -> None:
    boss = issue_badges(
        user_ids=[factories.make_person("manager", name="mo").pk],
        sign=factories.sign(),
    )[0]
    sign_in(page, live_server.url, boss.token, "/set-up/badges/")
    expect(page.locator(".answer")).to_contain_text("2 badges are valid")
    assert barriers(page) == []
    row = page.get_by_role("row").filter(has_text="petra")
    row.get_by_role("button", name="Revoke a badge of petra").click()
    expect(page.get_by_text("The badge of petra is revoked.")).to_be_visible()
    expect(page.get_by_role("row").filter(has_text="petra")).to_contain_text("by mo")
    page.get_by_role("button", name="Issue badges to the people ticked").click()
    expect(page.get_by_text("Nobody was chosen.")).to_be_visible()
    assert (
        User.objects.get(username="petra").badges.filter(revoked_at=None).count() == 0
    )
    assert [text for text in console_errors if "422" not in text] == []
