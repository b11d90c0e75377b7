"""A bench whose network comes and goes: no scan is lost, done twice or passed over."""

from __future__ import annotations

import errno
import re
from typing import Any
from unittest.mock import Mock

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, Route, expect

from kitting.models import Box, OpenBag, Operation
from kitting.packing.services import voiding
from kitting.packing.views import bench as views
from tests.benches import Packing, hold
from tests.browser.benching import SLOW_MS, next_words, time_passes, type_scan, waiting
from tests.factories import make_open_box, sign
from tests.patience import until

pytestmark = [pytest.mark.django_db(transaction=True)]


@pytest.fixture
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    return {**browser_context_args, "service_workers": "allow"}


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
    for left in ("2 scans wait", "1 scan waits", "No scan waits"):
        expect(waiting(page)).to_have_text(left)
        expect(next_words(page)).to_have_text(re.compile("scanned for an earlier box"))
        page.get_by_role("button", name="Go on").click()
    box.refresh_from_db()
    assert (box.stage, box.lines.count()) == ("open", 2)
    # What is scanned at the box that is shown now does its work, also at once.
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
    server = [0, 0, 0, 0, 0, 0, 503, 502, 504, 503, 502, 504, 503, 500, 500]
    through: list[Route] = []

    def answer(route: Route) -> None:
        if not server:
            through.append(route)
            route.continue_()
        elif status := server.pop(0):
            route.fulfill(status=status, body="restarting")
        else:
            route.abort()

    page.route("**/scan/", answer)
    type_scan(page, "ACT-BOX-6")
    for _ in range(1_000):
        if through:
            break
        # The browser says that the network is back: no need to wait.
        page.evaluate("window.dispatchEvent(new Event('online'))")
        page.wait_for_timeout(10)
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
    page.evaluate("document.dispatchEvent(new Event('lotward:badge'))")
    expect(zone.locator(".go-to")).to_have_text(named)
    bench()  # the tablet starts again
    expect(zone.locator(".go-to")).to_have_text(named)
    expect(zone.get_by_role("button")).to_have_text(["Go on", "Take", "Type"])
    expect(page.locator("#scan")).to_be_focused()
    assert Box.objects.get().lines.count() == 0
    type_scan(page, "]C0ACT-NEXT")
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
    urls = (
        "caches.open('lotward-bench').then(c => c.keys()).then(k => k.map(r => r.url))"
    )
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
    page.evaluate("document.dispatchEvent(new Event('lotward:badge'))")
    expect(next_words(page)).to_have_text("That is a badge")
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


def test_what_stands_in_for_a_bench_says_what_the_server_says(
    page: Page, at: Packing, bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its database or disk fails: there is a network, and scans are kept."""
    bench()
    assert until(lambda: page.evaluate("caches.has('lotward-bench')"))
    failing = OSError(errno.ENOSPC, "No space left on device")
    monkeypatch.setattr(views, "_bench", Mock(side_effect=failing))
    bench()
    expect(next_words(page)).to_have_text(re.compile("disk of the server is full"))
    type_scan(page, at.bags[0].number)
    expect(waiting(page)).to_have_text("1 scan waits")
    expect(next_words(page)).to_have_text(re.compile("disk of the server is full"))
    monkeypatch.undo()
    expect(waiting(page)).to_have_text("No scan waits")


@pytest.mark.parametrize("restarts", [False, True])
def test_who_signs_out_without_network_is_out_when_it_is_back(
    page: Page, at: Packing, bench, *, restarts: bool
) -> None:
    """Whoever comes next must not work under that name."""
    bench()
    assert until(lambda: page.evaluate("caches.has('lotward-bench')"))
    page.context.set_offline(True)
    type_scan(page, at.bags[0].number)
    expect(waiting(page)).to_have_text("1 scan waits")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_text("You are signed out as soon as it is back")).to_be_visible()
    expect(waiting(page)).to_have_text("1 scan of somebody else waits")
    if restarts:
        bench()
        expect(page.get_by_text("Nobody was signed in here.")).to_be_visible()
    expect(page.locator("#scan")).to_have_count(0)
    page.context.set_offline(False)
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    bench()
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    assert not OpenBag.objects.exists()


def test_a_scan_behind_a_waiting_one_answers_what_that_one_led_to(
    page: Page, at: Packing, bench
) -> None:
    """The first bag is taken off; the next one is meant for the box."""
    bench()
    type_scan(page, "ACT-BOX-6")
    type_scan(page, at.band_bag.number)
    expect(next_words(page)).to_have_text("Visor: scan a bag")
    type_scan(page, "ACT-TAKE-OFF")
    expect(next_words(page)).to_have_text(re.compile("off the bench"))
    page.context.set_offline(True)
    for bag in (at.band_bag, at.visor_bag):
        type_scan(page, bag.number)
    expect(waiting(page)).to_have_text("2 scans wait")
    page.context.set_offline(False)
    expect(waiting(page)).to_have_text("No scan waits")
    expect(next_words(page)).to_have_text("Manual: scan a bag")
    assert [row.bag for row in OpenBag.objects.all()] == [at.visor_bag]


def test_a_bench_shows_within_seconds_that_nobody_is_signed_in_any_more(
    page: Page, at: Packing, bench
) -> None:
    page.clock.install()
    bench()
    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    Session.objects.all().delete()  # as whoever did nothing for an hour
    time_passes(page)
    expect(page.get_by_role("button", name="Sign in")).to_be_visible(timeout=SLOW_MS)
