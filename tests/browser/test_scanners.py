"""Scanners as they are: any suffix or none, any key for the separator, two scans at once.

The page's clock stands still: a busy machine types with pauses that no scanner makes.
"""

from __future__ import annotations

import itertools
import re
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import zxingcpp
from django.urls import reverse
from PIL import Image
from playwright.sync_api import expect

from kitting.domain import badges
from kitting.domain.scanner import COMMAND, wanted
from kitting.models import Operation
from tests import factories
from tests.browser.benching import next_words, type_scan, waiting
from tests.browser.measuring import settle

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page, Route

    from tests.benches import Packing

STATIC = Path(__file__).resolve().parent.parent.parent / "static"
SUFFIXES = [
    *(["Enter"], ["Tab"], ["Enter", "Enter"], ["Enter", "Control+j"]),
    *(["Control+m", "Control+j"], ["Tab", "Tab"], []),
]
PAUSE_MS = 400
HAND_MS = 90
DESK = """<!doctype html><html class="desk"><body><main>
<form class="form" id="one"><input name="text"><select name="part"><option>Ann</option>
<option>Bob</option></select><input type="number" name="count"></form>
<form id="two"><input name="read" data-scan></form></main><p tabindex="0">Here</p>
<ol></ol><script>
for (const form of document.forms) { form.addEventListener("submit", (event) => {
  event.preventDefault();
  const row = document.createElement("li");
  row.textContent = `${form.id} ${form.elements.read?.value}`;
  document.querySelector("ol").append(row);
  if (form.elements.read) { form.elements.read.value = ""; }
}); }</script></body></html>"""


LEAKS = """
    window.leaked = [];
    addEventListener("keydown", (event) => {
      const control = event.ctrlKey && event.key !== "Control";
      if ((control || /^(Tab|F[0-9]+)$/.test(event.key)) && !event.defaultPrevented) {
        leaked.push(event.key);
      }
    });
"""
"""Notes the keys that were left to the browser, which opens something or goes on."""


def still(page: Page) -> None:
    page.add_init_script(LEAKS)
    page.clock.install(time=0)
    page.clock.pause_at(1_000)


def scan(page: Page, text: str, suffix: list[str]) -> None:
    page.keyboard.type(text)
    for key in suffix:
        page.keyboard.press(key)
    if not suffix:
        page.clock.run_for(PAUSE_MS)


def by_hand(page: Page, text: str) -> None:
    for letter in text:
        page.keyboard.type(letter)
        page.clock.run_for(HAND_MS)


@pytest.fixture(scope="module")
def _desk(browser: Browser, browser_context_args: dict[str, Any]) -> Iterator[Page]:
    context = browser.new_context(**browser_context_args)
    page = context.new_page()
    still(page)
    page.route(
        "http://desk.test/",
        lambda way: way.fulfill(body=DESK, content_type="text/html"),
    )
    yield page
    context.close()


@pytest.fixture
def desk(_desk: Page) -> Page:
    """A page of a desk with a field of every kind, as if nobody had been there."""
    go_to_the_desk(_desk)
    return _desk


def go_to_the_desk(page: Page) -> None:
    page.goto("http://desk.test/")
    page.evaluate("localStorage.clear(); sessionStorage.clear()")
    for script in ("kitting/people/badges.js", "keys.js", "scans.js"):
        page.add_script_tag(path=STATIC / script)


# -- At a bench --------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_a_bench_takes_scans_with_any_suffix_in_their_order(
    page: Page, at: Packing, bench, subtests
) -> None:
    still(page)
    bench()
    for suffix in SUFFIXES:
        new = factories.make_bench()
        page.goto(page.url.replace(at.bench.code, new.code))
        at.bench = new
        with subtests.test(suffix=suffix):
            expect(page.locator("#scan")).to_be_focused()
            bags = at.bag(at.band), at.bag(at.visor)
            for text in ("ACT-BOX-6", *(bag.number for bag in bags)):
                scan(page, text, suffix)
            expect(next_words(page)).to_have_text("Manual: scan a bag")
            expect(waiting(page)).to_have_text("No scan waits")
            expect(page.locator("#scan")).to_be_focused()
            expect(page.locator("#scan")).to_have_value("")
            assert Operation.objects.filter(bench=new).count() == 3
            assert page.evaluate("leaked") == []


@pytest.mark.django_db(transaction=True)
def test_what_a_hand_types_at_a_bench_waits_for_its_enter(
    page: Page, at: Packing, bench
) -> None:
    still(page)
    bench()
    by_hand(page, "ACT-BOX-6")
    page.clock.run_for(PAUSE_MS)
    expect(page.locator("#scan")).to_have_value("ACT-BOX-6")
    page.keyboard.press("Tab")  # a hand's Tab goes on to the next key
    expect(page.locator("#scan")).not_to_be_focused()
    page.locator("#scan").press("Enter")
    expect(next_words(page)).to_have_text("Headband: scan a bag")


@pytest.mark.django_db(transaction=True)
def test_a_scanner_that_ends_with_a_key_may_pause_within_a_scan(
    page: Page, at: Packing, bench
) -> None:
    """By radio it may: half a scan must never be taken for one."""
    still(page)
    bench()
    scan(page, "ACT-BOX-6", ["Enter"])
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    number = at.band_bag.number
    scan(page, number[:5], [])
    expect(page.locator("#scan")).to_have_value(number[:5])
    scan(page, number[5:], ["Enter"])
    expect(next_words(page)).to_have_text("Visor: scan a bag")


@pytest.mark.django_db(transaction=True)
def test_two_scans_without_any_suffix_are_told_apart_by_what_names_their_code(
    page: Page, at: Packing, bench
) -> None:
    still(page)
    bench()
    scan(page, f"]C0ACT-BOX-6]C0{at.band_bag.number}]d1{at.visor_bag.number}", [])
    expect(next_words(page)).to_have_text("Manual: scan a bag")


@pytest.mark.django_db(transaction=True)
def test_a_scan_leaves_the_key_that_has_the_focus_alone(
    page: Page, at: Packing, bench
) -> None:
    still(page)
    bench()
    page.get_by_role("button", name="Sign out").focus()
    scan(page, "ACT-BOX-6", ["Tab"])
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    scan(page, "ACT-UNDO", ["Tab"])
    expect(next_words(page)).to_have_text("Undo what?")
    page.get_by_role("button", name="Cancel the box").focus()
    scan(page, at.band_bag.number, ["Tab"])
    expect(next_words(page)).to_have_text("Visor: scan a bag")


@pytest.mark.django_db(transaction=True)
def test_a_scan_goes_on_while_the_screen_is_swapped_under_it(
    page: Page, at: Packing, bench
) -> None:
    bench()
    held: list[Route] = []
    page.route("**/scan/", lambda route: held.append(route))
    type_scan(page, "ACT-BOX-6")
    expect(waiting(page)).to_have_text("1 scan waits")
    number = at.band_bag.number
    page.keyboard.type(number[:5])
    assert len(held) == 1
    page.unroute("**/scan/")  # which lets it go
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    page.keyboard.type(number[5:])
    page.keyboard.press("Enter")
    expect(next_words(page)).to_have_text("Visor: scan a bag")


@pytest.mark.django_db(transaction=True)
def test_scans_without_a_suffix_wait_for_the_network_too(
    page: Page, at: Packing, bench
) -> None:
    still(page)
    bench()
    page.context.set_offline(True)
    for text in ("ACT-BOX-6", at.band_bag.number):
        scan(page, text, [])
    expect(waiting(page)).to_have_text("2 scans wait")
    page.context.set_offline(False)
    page.wait_for_function("navigator.onLine")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    expect(waiting(page)).to_have_text("No scan waits")


# -- At a desk ---------------------------------------------------------------------------


def test_a_desk_takes_two_scans_in_one_burst_wherever_the_focus_is(
    desk: Page, subtests
) -> None:
    numbers = ["B1000042T", "006141411234567890"]
    for suffix in SUFFIXES:
        go_to_the_desk(desk)
        taken: list[str] = []
        with subtests.test(suffix=suffix):
            for focus in ("p", "[name=read]", "select", "[type=number]"):
                desk.locator(focus).focus()
                for text in numbers:
                    scan(desk, text, suffix)
                taken += [f"two {text}" for text in numbers]
                expect(desk.locator("li")).to_have_text(taken)
            expect(desk.locator("select")).to_have_value("Ann")
            expect(desk.locator("[type=number]")).to_have_value("")
            assert desk.evaluate("leaked") == []


def test_figures_of_a_scan_are_no_count(desk: Page) -> None:
    field = desk.locator("[type=number]")
    field.fill("12")
    last = (
        "field => field.addEventListener('change', () => { field.said = field.value; })"
    )
    field.evaluate(last)
    scan(desk, "4012345678901", ["Enter"])
    expect(field).to_have_value("12")
    assert field.evaluate("field => field.said") == "12"
    expect(desk.locator("li")).to_have_text(["two 4012345678901"])
    field.press("End")
    scan(desk, "34", ["Tab"])
    expect(field).to_have_value("1234")


def test_the_tab_of_a_hand_goes_on_to_the_next_field(desk: Page) -> None:
    desk.locator("[name=text]").focus()
    by_hand(desk, "Torn")
    desk.keyboard.press("Tab")
    expect(desk.locator("select")).to_be_focused()
    expect(desk.locator("li")).to_have_count(0)


def test_scans_wait_while_the_page_is_busy_with_the_one_before(desk: Page) -> None:
    form = "document.getElementById('two')"
    desk.locator("[name=read]").focus()
    desk.evaluate(f"{form}.classList.add('htmx-request')")
    for text in ("B1000042T", "B1000043R"):
        scan(desk, text, ["Enter"])
    expect(desk.locator("[name=read]")).to_have_value("")
    expect(desk.locator("li")).to_have_count(0)
    desk.evaluate(f"{form}.classList.remove('htmx-request')")
    done = "new CustomEvent('htmx:afterRequest', {detail: {}})"
    desk.evaluate(f"document.dispatchEvent({done})")
    desk.clock.run_for(PAUSE_MS)
    expect(desk.locator("li")).to_have_text(["two B1000042T", "two B1000043R"])


def test_a_badge_waits_for_no_other_page(desk: Page) -> None:
    token = badges.PREFIX + (badges.LETTERS * 3)[: badges.LENGTH - len(badges.PREFIX)]
    desk.locator("[name=read]").focus()
    desk.evaluate("document.getElementById('two').classList.add('htmx-request')")
    for text in ("B1000042T", token):
        scan(desk, text, ["Enter"])
    desk.evaluate("window.dispatchEvent(new Event('pagehide'))")
    kept = desk.evaluate("sessionStorage.getItem('lotward-scans')")
    assert "B1000042T" in kept
    assert token not in kept


@pytest.mark.django_db(transaction=True)
def test_the_second_scan_of_a_burst_means_the_page_of_the_first(
    page: Page, live_server, client_for
) -> None:
    bag = factories.make_lot().bags.get()
    client = client_for(factories.make_person("checker", name="checker"))
    cookie = client.cookies["lotward_session"].value
    page.context.add_cookies(
        [{"name": "lotward_session", "value": cookie, "url": live_server.url}]
    )
    page.goto(live_server.url + reverse("kitting:lots"))
    held = []
    page.route("**/*q=*", lambda route: held.append(route))
    for text in (bag.number, "ACT-BAG-COUNT"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    held[0].continue_()
    expect(page).to_have_url(re.compile(f"/bags/{bag.number}/count/$"))


# -- The separator -----------------------------------------------------------------------


def test_a_separator_comes_by_any_key_that_scanners_type(desk: Page) -> None:
    desk.evaluate("localStorage.setItem('lotward-separator', '~')")
    keys, focused = ("Control+]", "F8", "\x1d", "~"), ("p", "[name=read]", "select")
    for times, (key, focus) in enumerate(itertools.product(keys, focused), 1):
        desk.locator(focus).focus()
        desk.keyboard.type("]d210A")
        press(desk, key)
        scan(desk, "21B", ["Enter"])
        # GS1 General Specifications: FNC1 as a separator is sent as 0x1D.
        expect(desk.locator("li")).to_have_text(["two ]d210A\x1d21B"] * times)


def test_a_key_that_is_no_separator_here_opens_nothing(desk: Page) -> None:
    desk.locator("[name=read]").focus()
    for times, key in enumerate(("F5", "F7", "Control+d", "Control+p"), 1):
        desk.keyboard.type("]d210A")
        desk.keyboard.press(key)
        expect(desk.locator("[name=read]")).to_have_value("]d210A")
        scan(desk, "21B", ["Enter"])
        expect(desk.locator("li")).to_have_text(["two ]d210A21B"] * times)
        assert desk.evaluate("leaked") == [], key


def test_where_the_keyboard_is_german_the_separator_is_another_sign(desk: Page) -> None:
    desk.locator("[name=read]").focus()
    desk.keyboard.type("10A")
    press(desk, "+", code="BracketRight", modifiers=2)
    desk.keyboard.type("21B")
    expect(desk.locator("[name=read]")).to_have_value("10A\x1d21B")


def test_a_stand_in_is_a_sign_like_any_other_in_a_text(desk: Page) -> None:
    desk.evaluate("localStorage.setItem('lotward-separator', '~')")
    desk.locator("[name=text]").focus()
    desk.keyboard.type("A~B")
    expect(desk.locator("[name=text]")).to_have_value("A~B")


def press(page: Page, key: str, *, code: str = "", modifiers: int = 0) -> None:
    """Press a key, also one that Playwright has no name for."""
    if key != "\x1d" and not code:
        page.keyboard.press(key)
        return
    session = page.context.new_cdp_session(page)
    event = {"key": key, "code": code, "modifiers": modifiers}
    session.send("Input.dispatchKeyEvent", {"type": "rawKeyDown", **event})
    session.send("Input.dispatchKeyEvent", {"type": "keyUp", **event})
    session.detach()


# -- Its trial ---------------------------------------------------------------------------


@pytest.fixture
def trial(page: Page, live_server, client_for) -> Page:
    client = client_for(factories.make_person("packer", name="packer"))
    cookie = client.cookies["lotward_session"].value
    page.context.add_cookies(
        [{"name": "lotward_session", "value": cookie, "url": live_server.url}]
    )
    page.set_viewport_size({"width": 1280, "height": 800})
    page.goto(live_server.url + reverse("kitting:scanner"))
    return page


@pytest.mark.django_db(transaction=True)
def test_the_codes_of_the_trial_are_read_from_the_screen(trial: Page) -> None:
    settle(trial)
    picture = Image.open(BytesIO(trial.locator(".trial").screenshot()))
    read = zxingcpp.read_barcodes(picture)
    found = {(one.symbology_identifier, one.bytes.decode()) for one in read}
    assert found == {("]C1", wanted()), ("]d2", wanted()), ("]C0", COMMAND)}


@pytest.mark.django_db(transaction=True)
def test_a_trial_shows_each_key_and_none_does_anything(trial: Page) -> None:
    here = trial.url
    first, second = wanted().split("\x1d")
    for key in ("~", "F7"):
        scan(trial, f"]d2{first}", [key])
        scan(trial, second, ["Tab", "Control+j"])
        said = f"“{key}” came where the separator belongs."
        expect(trial.locator(".trial-faults")).to_contain_text(said)
        expect(trial.locator(".trial-keys li")).to_have_count(3 + len(wanted()) + 2)
        expect(trial.locator("#trial-read")).to_be_focused()
    trial.get_by_role("button", name="Take “F7”").click()
    expect(trial.locator(".trial-faults")).to_have_count(0)
    expect(trial.locator("#stand-in kbd")).to_have_text("F7")
    scan(trial, f"]d2{first}", ["F7"])
    scan(trial, second, ["Enter"])
    expect(trial.locator(".trial-keys")).to_contain_text("GSseparator")
    expect(trial.get_by_text("Nothing, as far as this scan shows.")).to_be_visible()
    assert trial.url == here
    trial.get_by_role("button", name="Take it no longer").click()
    expect(trial.locator(".trial-faults")).to_contain_text("“F7” came where")


@pytest.mark.django_db(transaction=True)
def test_a_badge_in_the_trial_is_not_sent(trial: Page) -> None:
    sent: list[str] = []
    trial.on("request", lambda request: sent.append(request.url))
    token = badges.PREFIX + (badges.LETTERS * 3)[: badges.LENGTH - len(badges.PREFIX)]
    scan(trial, token, ["Enter"])
    expect(trial.get_by_role("alert")).to_contain_text("That is a badge.")
    expect(trial.locator("#trial-read")).to_have_value("")
    assert sent == []
