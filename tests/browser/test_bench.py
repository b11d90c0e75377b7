"""One box packed wholly by scanning, in a browser, with and without JavaScript."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from kitting.ledger import holds
from kitting.models import Bag, Box, Operation
from kitting.packing.services import voiding
from tests.benches import Packing, bag_of, hold, lift, make_packing
from tests.browser.measuring import settle
from tests.factories import make_open_box, make_place, sign
from tests.patience import until

LOOKS_MS = 15_000
"""An idle screen looks every 4 s; the machine of a test may be slow."""

pytestmark = [pytest.mark.django_db(transaction=True)]


@pytest.fixture
def at(live_server) -> Packing:
    return make_packing()


@pytest.fixture
def bench(
    page: Page, at: Packing, live_server, make_user, client_for
) -> Callable[[], None]:
    """Open the bench as a packer."""
    client = client_for(make_user("packer", group="packer"))
    cookie = {
        "name": "lotward_session",
        "value": client.cookies["lotward_session"].value,
        "url": live_server.url,
    }
    page.context.add_cookies([cookie])  # type: ignore[list-item]
    page.set_viewport_size({"width": 1280, "height": 800})
    address = live_server.url + reverse("kitting:bench", args=[at.bench.code])

    def go() -> None:
        page.goto(address)

    return go


def type_scan(page: Page, text: str) -> None:
    """Type as a scanner does: to whatever has the focus, and Enter at the end."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def next_words(page: Page):
    return page.locator("#bench-next h2")


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


def test_scans_made_while_the_network_is_away_are_sent_in_order(
    page: Page, at: Packing, bench
) -> None:
    bench()
    expect(page.locator("#scan")).to_be_focused()
    page.context.set_offline(True)
    for text in ["ACT-BOX-6", *(bag.number for bag in at.bags), "ACT-CLOSE"]:
        type_scan(page, text)
    expect(page.locator("#bench-waiting")).to_have_text("5 scans wait")
    expect(next_words(page)).to_have_text("No network")
    assert Operation.objects.filter(bench=at.bench).count() == 0
    page.context.set_offline(False)
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    expect(page.locator("#bench-waiting")).to_have_text("No scan waits")
    # Started, three bags, closed, printed: each once.
    assert Operation.objects.filter(bench=at.bench).count() == 6


def test_waiting_scans_survive_a_new_load_of_the_page(
    page: Page, at: Packing, bench
) -> None:
    bench()
    page.route("**/scan/", lambda route: route.abort())
    type_scan(page, "ACT-BOX-6")
    type_scan(page, at.band_bag.number)
    expect(page.locator("#bench-waiting")).to_have_text("2 scans wait")
    page.unroute("**/scan/")
    bench()
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    assert Box.objects.get().lines.count() == 1


def test_an_answer_that_is_lost_makes_no_second_act(
    page: Page, at: Packing, bench
) -> None:
    bench()
    lost: list[int] = []

    def lose_the_first(route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort()

    page.route("**/scan/", lose_the_first)
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    assert lost == [200]
    assert Box.objects.count() == 1


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


def fits(page: Page, what: str) -> None:
    """All of the screen is there, with every key large enough for a glove."""
    settle(page)
    faults = page.evaluate(
        """() => [...document.querySelectorAll(
            '#bench button:not(.out-of-sight), #bench .next-words, #bench h2, a.zone-act')]
          .filter(e => {
            const r = e.getBoundingClientRect();
            const words = e.matches('.next-words')
              && e.scrollHeight > e.clientHeight + 1;
            const small = e.matches('button, a.zone-act')
              && Math.min(r.width, r.height) < 68;
            return words || small || r.right > innerWidth + 1
              || r.bottom > innerHeight + 1;
          }).map(e => e.className + ' ' + e.textContent.trim())"""
    )
    assert faults == [], what


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280)])
def test_every_state_of_the_screen_fits_the_tablet(
    page: Page, at: Packing, bench, size: tuple[int, int]
) -> None:
    bench()
    page.set_viewport_size({"width": size[0], "height": size[1]})

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


@pytest.mark.parametrize("size", [(1024, 768), (800, 1280)])
def test_a_bag_that_was_short_is_said_by_touch_and_a_damaged_box_emptied(
    page: Page, at: Packing, bench, size: tuple[int, int]
) -> None:
    bench()
    page.set_viewport_size({"width": size[0], "height": size[1]})
    few = bag_of(at.visor, 12)
    for text in ("ACT-BOX-6", at.band_bag.number, few.number, at.manual_bag.number):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Close the box")

    def touch(name: str, then: str) -> None:
        page.get_by_role("button", name=name, exact=True).click()
        expect(next_words(page)).to_have_text(then)
        fits(page, name)

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
    touch("Cancel", "Empty the box")
    expect(page.locator("#bench-next")).to_contain_text("Into the waste: 1 × Manual")
    touch("It is empty", "Choose the next box")
    assert Bag.objects.get(pk=few.pk).pieces == 10


# -- A hold ---------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280)])
def test_a_hold_shows_on_an_idle_screen_and_is_met_by_touch(
    page: Page, at: Packing, bench, size: tuple[int, int]
) -> None:
    make_place("quarantine")
    bench()
    page.set_viewport_size({"width": size[0], "height": size[1]})
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
    key = page.get_by_role("button", name="its hold is lifted")
    expect(key).to_be_visible(timeout=LOOKS_MS)
    fits(page, "goes on")
    key.click()
    expect(next_words(page)).to_have_text("Headband: none may be packed")


def test_a_menu_stays_while_other_holds_come_and_gives_way_to_one_on_the_box(
    page: Page, at: Packing, bench
) -> None:
    bench()
    for text in ("ACT-BOX-6", at.band_bag.number, "ACT-UNDO"):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Undo what?")
    with page.expect_response(re.compile("/holds/"), timeout=LOOKS_MS) as answer:
        hold("lot", bag_of(at.visor).lot_id)
    if answer.value.status == 204:  # it asked just before
        page.wait_for_event("response", lambda r: "/holds/" in r.url)
    expect(next_words(page)).to_have_text("Undo what?")
    hold("bag", at.band_bag.pk)
    shows(page, f"On hold: take out 6 × Headband ({at.band_bag.number})")


def shows(page: Page, words: str) -> None:
    """Without a touch or a scan."""
    expect(next_words(page)).to_have_text(words, timeout=LOOKS_MS)


# -- Scans that arrive late -----------------------------------------------------------


def waiting(page: Page):
    return page.locator("#bench-waiting")


def test_a_command_that_arrives_late_spares_the_box_of_somebody_else(
    page: Page, at: Packing, bench
) -> None:
    bench()
    page.route("**/scan/", lambda route: route.abort())
    for text in ("ACT-CANCEL-PARTS", at.band_bag.number, "ACT-CLOSE"):
        type_scan(page, text)
    expect(waiting(page)).to_have_text("3 scans wait")
    box = make_open_box(at.size, at.bench, at.visor_bag, at.manual_bag)
    page.unroute("**/scan/")
    bench()
    expect(waiting(page)).to_have_text("No scan waits")
    expect(next_words(page)).to_have_text(re.compile("scanned for an earlier box"))
    box.refresh_from_db()
    assert (box.stage, box.lines.count()) == ("open", 2)
    # What is scanned at the box that is shown now does its work.
    type_scan(page, at.band_bag.number)
    expect(next_words(page)).to_have_text("Close the box")


def test_a_scan_after_a_lost_answer_means_the_box_of_that_answer(
    page: Page, at: Packing, bench
) -> None:
    bench()
    lost: list[int] = []

    def lose(route) -> None:
        if not lost:
            lost.append(route.fetch().status)
        route.abort()

    page.route("**/scan/", lose)
    type_scan(page, "ACT-BOX-6")
    type_scan(page, "ACT-CANCEL-PARTS")
    expect(waiting(page)).to_have_text("2 scans wait")
    expect(next_words(page)).to_have_text("No network")
    mine = Box.objects.get()
    voiding.cancel_box(box_id=mine.pk, reason="Wrong size", sign=sign())
    box = make_open_box(at.size, at.bench)
    page.unroute("**/scan/")
    bench()
    expect(waiting(page)).to_have_text("No scan waits")
    box.refresh_from_db()
    assert box.stage == "open"


def test_a_scan_waits_while_the_server_says_what_is_wrong(
    page: Page, at: Packing, bench
) -> None:
    bench()
    told = "The disk of the server is full. Tell whoever looks after the server."
    page.route(
        "**/scan/",
        lambda route: route.fulfill(status=503, content_type="text/plain", body=told),
    )
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("The disk of the server is full.")
    expect(page.locator("#bench-next .go-to")).to_have_text(
        "Tell whoever looks after the server."
    )
    expect(waiting(page)).to_have_text("1 scan waits")
    page.unroute("**/scan/")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    assert Box.objects.count() == 1


def test_a_scan_outlives_a_network_and_a_server_that_come_and_go(
    page: Page, at: Packing, bench
) -> None:
    bench()
    server = iter([0, 0, 0, 0, 0, 0, 503, 502, 504, 503, 502, 504, 503, 500, 500])

    def answer(route) -> None:
        status = next(server, None)
        if status is None:
            route.continue_()
        elif status:
            route.fulfill(status=status, body="restarting")
        else:
            route.abort()

    page.route("**/scan/", answer)
    type_scan(page, "ACT-BOX-6")
    for _ in range(15):  # the browser says that the network is back: no need to wait
        page.evaluate("window.dispatchEvent(new Event('online'))")
        page.wait_for_timeout(100)
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    assert Box.objects.count() == 1


def test_a_waiting_scan_that_is_refused_stops_the_others_until_it_is_seen(
    page: Page, at: Packing, bench
) -> None:
    """What it was for lies in the box already; a right scan must not wipe it away."""
    bench()
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    page.context.set_offline(True)
    for bag in at.bags:
        type_scan(page, bag.number)
    expect(waiting(page)).to_have_text("3 scans wait")
    hold("bag", at.band_bag.pk)
    page.context.set_offline(False)
    zone = page.locator("#bench-next")
    expect(zone).to_have_attribute("data-state", "wrong")
    named = re.compile(r"Take out of the box what you put in from Headband bag")
    expect(zone.locator(".go-to")).to_have_text(named)
    expect(waiting(page)).to_have_text("2 scans wait")
    type_scan(page, at.bags[1].number)
    expect(waiting(page)).to_have_text("3 scans wait")
    expect(zone.locator(".go-to")).to_have_text(named)
    bench()  # the tablet starts again
    expect(zone.locator(".go-to")).to_have_text(named)
    expect(zone.get_by_role("button")).to_have_text(["Go on", "Take"])
    expect(page.locator("#scan")).to_be_focused()
    assert Box.objects.get().lines.count() == 0
    type_scan(page, "ACT-NEXT")
    expect(waiting(page)).to_have_text("No scan waits")
    assert Box.objects.get().lines.count() == 2
    expect(zone).to_have_attribute("data-state", "right")


def test_a_touch_says_that_a_refusal_was_seen(page: Page, at: Packing, bench) -> None:
    bench()
    page.context.set_offline(True)
    type_scan(page, at.bags[0].number[:-1] + "?")
    expect(waiting(page)).to_have_text("1 scan waits")
    page.context.set_offline(False)
    expect(page.locator("#bench-next")).to_have_attribute("data-state", "wrong")
    expect(waiting(page)).to_have_text("No scan waits")
    page.get_by_role("button", name="Go on").click()
    expect(next_words(page)).to_have_text("Choose the next box")
    assert page.evaluate("localStorage.getItem('lotward-outbox')") == "[]"


def test_a_tablet_that_starts_without_network_shows_its_waiting_scans(
    page: Page, at: Packing, bench
) -> None:
    bench()
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    kept = "caches.open('lotward-bench').then(c => c.keys()).then(k => k.length)"
    assert until(lambda: page.evaluate(kept) > 3)
    urls = "caches.open('lotward-bench').then(c => c.keys()).then(k => k.map(r => r.url))"
    assert page.url not in page.evaluate(urls)  # nothing of who is signed in
    page.context.set_offline(True)
    type_scan(page, at.bags[0].number)
    expect(waiting(page)).to_have_text("1 scan waits")
    bench()
    expect(next_words(page)).to_have_text("No network")
    expect(page.locator("#waiting-scans li")).to_have_text([at.bags[0].number])
    expect(page.locator("h1")).to_have_text(at.bench.name)
    type_scan(page, at.bags[1].number)
    expect(waiting(page)).to_have_text("2 scans wait")
    page.context.set_offline(False)
    expect(waiting(page)).to_have_text("No scan waits")
    expect(next_words(page)).to_have_text("Manual: scan a bag")
    assert Box.objects.get().lines.count() == 2


def test_after_signing_out_a_start_without_network_takes_no_scans(
    page: Page, at: Packing, bench
) -> None:
    bench()
    assert until(lambda: page.evaluate("caches.has('lotward-bench')"))
    address = page.url
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    page.context.set_offline(True)
    page.goto(address)
    expect(next_words(page)).to_have_text("No network")
    expect(page.locator("#scan")).to_have_count(0)
