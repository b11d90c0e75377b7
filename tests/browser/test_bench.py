"""One box packed wholly by scanning, in a browser, with and without JavaScript."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from kitting.ledger import holds
from kitting.models import Bag, Box
from tests.benches import Packing, bag_of, hold, lift
from tests.browser.benching import (
    SLOW_MS,
    Size,
    next_words,
    time_passes,
    turn,
    type_scan,
    waiting,
)
from tests.browser.measuring import settle
from tests.factories import make_place, sign

pytestmark = [pytest.mark.django_db(transaction=True)]


def pack_by_scans(page: Page, at: Packing) -> Box:
    expect(next_words(page)).to_have_text("Choose the next box")
    expect(page.locator("#scan")).to_be_focused()
    type_scan(page, "ACT-BOX-6")
    asked = ["Headband", "Visor", "Manual"]
    for part, bag in zip(asked, at.bags, strict=True):
        expect(next_words(page)).to_have_text(f"{part}: scan a bag")
        expect(page.locator("#scan")).to_be_focused()
        type_scan(page, bag.number)
    expect(next_words(page)).to_have_text("Close the box")
    expect(page.locator(".line-done")).to_have_count(3)
    type_scan(page, "ACT-CLOSE")
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    box = Box.objects.get()
    link = page.get_by_role("link", name="Open the label")
    assert link.get_attribute("target") == "_blank"
    got = page.request.get(page.url.split("/bench/")[0] + link.get_attribute("href"))
    assert got.headers["content-type"] == "application/pdf"
    type_scan(page, str(box.serial))
    expect(next_words(page)).to_have_text("Choose the next box")
    expect(page.locator(".strip-last")).to_have_text(f"Box {box.serial} labelled")
    box.refresh_from_db()
    return box


def test_a_box_is_packed_by_scanning_alone(
    page: Page, at: Packing, bench, console_errors: list[str]
) -> None:
    bench()
    assert pack_by_scans(page, at).stage == "labelled"
    expect(page.locator("#bench-waiting")).to_have_attribute("data-waiting", "0")
    assert console_errors == []


class TestWithoutJavaScript:
    @pytest.fixture
    def browser_context_args(self, browser_context_args):
        return {**browser_context_args, "java_script_enabled": False}

    def test_the_same_box_is_packed_by_plain_forms(
        self, page: Page, at: Packing, bench
    ) -> None:
        bench()
        assert pack_by_scans(page, at).stage == "labelled"

    def test_a_wrong_scan_is_said_and_the_next_one_goes_on(
        self, page: Page, at: Packing, bench
    ) -> None:
        bench()
        type_scan(page, "Νοσοκομείο")
        expect(page.locator("#bench-next")).to_have_attribute("data-state", "wrong")
        page.get_by_role("button", name="Go on").click()
        expect(next_words(page)).to_have_text("Choose the next box")
        page.get_by_role("button", name="6").first.click()
        expect(next_words(page)).to_have_text("Headband: scan a bag")


def test_a_wrong_scan_covers_only_its_zone(page: Page, at: Packing, bench) -> None:
    bench()
    type_scan(page, "ACT-BOX-6")
    expect(page.locator("#bench-lines tbody tr")).to_have_count(3)
    type_scan(page, "nonsense")
    expect(page.locator("#bench-next")).to_have_attribute("data-state", "wrong")
    expect(page.locator("#bench-lines tbody tr")).to_have_count(3)
    type_scan(page, at.band_bag.number)
    expect(next_words(page)).to_have_text("Visor: scan a bag")


def test_the_field_takes_the_scan_wherever_the_focus_is(
    page: Page, at: Packing, bench
) -> None:
    bench()
    page.keyboard.press("Tab")
    page.locator("#bench-box").click()
    expect(page.locator("#scan")).to_be_focused()
    page.get_by_role("link", name=at.bench.name).focus()
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")


def test_a_button_touched_twice_is_one_act(page: Page, at: Packing, bench) -> None:
    bench()
    page.locator(".zone-act").first.dblclick()
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    expect(page.locator("#bench-next")).to_have_attribute("data-state", "right")
    assert Box.objects.count() == 1


TABLET = ((1280, 800), (800, 1280))
SMALLER = ((1024, 768), (800, 1280))


def fits(page: Page, what: str, sizes: tuple[Size, ...] = TABLET) -> None:
    """All of the screen is there, each key large enough for a glove and in its reach."""
    for size in sizes:
        turn(page, size)
        settle(page)
        assert page.evaluate(UNFIT) == [], (what, size)


UNFIT = """() => [...document.querySelectorAll(
    '#bench button:not(.out-of-sight), #bench .next-words, #bench h2, a.zone-act')]
  .filter(e => {
    const r = e.getBoundingClientRect();
    const words = e.matches('.next-words') && e.scrollHeight > e.clientHeight + 1;
    const key = e.matches('button, a.zone-act');
    const top = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
    const bad = key && (Math.min(r.width, r.height) < 68 || !e.contains(top));
    return words || bad || r.right > innerWidth + 1 || r.bottom > innerHeight + 1;
  }).map(e => e.className + ' ' + e.textContent.trim())"""


def test_every_state_of_the_screen_fits_the_tablet(
    page: Page, at: Packing, bench
) -> None:
    bench()

    def scan(text: str, then: str | re.Pattern[str]) -> None:
        type_scan(page, text)
        expect(waiting(page)).to_have_text("No scan waits")  # it was answered
        expect(next_words(page)).to_have_text(then)
        fits(page, text)

    def hold_bag(bag: Bag) -> None:
        reason = "Rough edge beside the clip, on every tenth piece of the lot. " * 3
        holds.place_hold(target="bag", value=bag.pk, reason=reason, sign=sign())

    expect(next_words(page)).to_have_text("Choose the next box")
    fits(page, "choose")
    held = bag_of(at.band)
    scan(held.number, "Choose the next box")
    hold_bag(held)
    scan("ACT-BOX-6", "Headband: scan another bag")
    scan(held.number, re.compile("is on hold by"))
    scan("ACT-CANCEL-PARTS", "Empty the box")
    scan("nonsense", "Nothing has the number “nonsense”")
    scan("ACT-BOX-6", "Headband: scan another bag")
    scan(at.band_bag.number, "Visor: scan a bag")
    scan("ACT-UNDO", "Undo what?")
    scan("ACT-CANCEL", "Why is the box cancelled?")
    scan("ACT-CANCEL-DAMAGED", "What is damaged?")
    scan("ACT-COUNT", "Which bag is miscounted?")
    scan(at.band_bag.number, "Headband: 94 left, 6 in the box?")
    scan("ACT-MORE", "Headband: how many too many?")
    scan("ACT-BAD", "Headband: why is one piece scrapped?")
    scan("ACT-EMPTY", "Headband: how many of the 6 are not in the box?")
    scan("ACT-NEXT", "Visor: scan a bag")
    scan("ACT-TAKE-OFF", "Scan the bag to take off the bench")
    scan("ACT-NEXT", "Visor: scan a bag")
    scan(at.visor_bag.number, "Manual: scan a bag")
    scan(at.manual_bag.number, "Close the box")
    scan("ACT-CLOSE", re.compile("stick its label on"))
    scan("ACT-PRINT", "Why print it again?")


# -- A miscount, and a damaged box ------------------------------------------------------


def test_a_bag_that_was_short_is_said_by_touch_and_a_damaged_box_emptied(
    page: Page, at: Packing, bench
) -> None:
    bench()
    few = bag_of(at.visor, 12)
    for text in ("ACT-BOX-6", at.band_bag.number, few.number, at.manual_bag.number):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Close the box")

    def touch(name: str, then: str) -> None:
        page.get_by_role("button", name=name, exact=True).click()
        expect(next_words(page)).to_have_text(then)
        fits(page, name, SMALLER)

    touch("Count", "Which bag is miscounted?")
    page.get_by_role("button", name="Visor").click()
    expect(next_words(page)).to_have_text("Visor: 0 left, 12 in the box?")
    touch("It is empty", "Visor: how many of the 12 are not in the box?")
    touch("2", "Visor: scan a bag")
    expect(page.locator(".strip-last")).to_contain_text("is empty; missing: 2")
    touch("Undo", "Undo what?")
    touch("Cancel the box", "Why is the box cancelled?")
    touch("Damaged", "What is damaged?")
    page.get_by_role("button", name="Manual").click()
    expect(page.get_by_role("button", name="Manual")).to_contain_text("into the waste")
    touch("Cancel the box", "Empty the box")
    expect(page.locator("#bench-next")).to_contain_text("Into the waste: 1 × Manual")
    touch("It is empty", "Choose the next box")
    assert Bag.objects.get(pk=few.pk).pieces == 10


# -- A hold ---------------------------------------------------------------------------


def test_a_hold_shows_on_an_idle_screen_and_is_met_by_touch(
    page: Page, at: Packing, bench
) -> None:
    make_place("quarantine")
    page.clock.install()
    bench()
    for text in ("ACT-BOX-6", at.band_bag.number, at.visor_bag.number):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Manual: scan a bag")
    hold("bag", at.band_bag.pk)
    shows(page, f"On hold: take out 6 × Headband ({at.band_bag.number})")
    fits(page, "take out")
    page.get_by_role("button", name="Taken out: go on").click()
    expect(next_words(page)).to_have_text("Headband: none may be packed")
    box = Box.objects.get()
    placed = hold("box", box.pk)
    shows(page, "On hold: put the box in quarantine")
    fits(page, "quarantine")
    page.get_by_role("button", name="Box in quarantine").click()
    expect(next_words(page)).to_have_text("Choose the next box")
    lift(placed)
    time_passes(page)
    key = page.get_by_role("button", name="its hold is lifted")
    expect(key).to_be_visible(timeout=SLOW_MS)
    fits(page, "goes on")
    key.click()
    expect(next_words(page)).to_have_text("Headband: none may be packed")


def test_a_menu_stays_while_other_holds_come_and_gives_way_to_one_on_the_box(
    page: Page, at: Packing, bench
) -> None:
    page.clock.install()
    bench()
    for text in ("ACT-BOX-6", at.band_bag.number, "ACT-UNDO"):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Undo what?")
    with page.expect_response(re.compile("/holds/"), timeout=SLOW_MS) as answer:
        hold("lot", bag_of(at.visor).lot_id)
        time_passes(page)
    if answer.value.status == 204:  # it asked just before
        page.wait_for_event("response", lambda r: "/holds/" in r.url)
    expect(next_words(page)).to_have_text("Undo what?")
    hold("bag", at.band_bag.pk)
    shows(page, f"On hold: take out 6 × Headband ({at.band_bag.number})")


def shows(page: Page, words: str) -> None:
    """Without a touch or a scan."""
    time_passes(page)
    expect(next_words(page)).to_have_text(words, timeout=SLOW_MS)


# -- Scans that arrive late -----------------------------------------------------------
