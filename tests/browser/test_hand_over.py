"""A box handed over from one bench to another, on two tablets, by scans and by touch."""

from __future__ import annotations

import os
import re

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from kitting.models import Bench, Box
from kitting.packing.services import boxes
from tests import factories
from tests.benches import Packing
from tests.browser.benching import (
    SLOW_MS,
    next_words,
    time_passes,
    touch,
    turn,
    type_scan,
    waiting,
)
from tests.browser.measuring import settle
from tests.factories import sign

SIZES = [(1280, 800), (1024, 768), (800, 1280)]
TARGET_PX = 18 / 25.4 * 96

pytestmark = [pytest.mark.django_db(transaction=True)]


@pytest.fixture
def other(at: Packing) -> Bench:
    return factories.make_bench()


@pytest.fixture
def tablets(page: Page, at: Packing, other: Bench, bench, live_server):
    """The tablets of both benches, the first with an open box."""

    def open_both() -> tuple[Page, Page]:
        factories.make_open_box(at.size, at.bench, at.band_bag)
        page.clock.install()
        bench()
        there = page.context.new_page()
        for each in (page, there):
            turn(each, SIZES[0])
        there.goto(live_server.url + reverse("kitting:bench", args=[other.code]))
        page.bring_to_front()
        return page, there

    return open_both


def seen(page: Page, name: str) -> None:
    if folder := os.environ.get("SHOTS"):
        page.screenshot(path=f"{folder}/{name}.png")


def test_by_touch_the_other_tablet_shows_the_box_by_itself(
    tablets, at: Packing, other: Bench
) -> None:
    here, there = tablets()
    expect(next_words(there)).to_have_text("Choose the next box")
    seen(here, "fill")
    touch(here.get_by_role("button", name="Hand over"), SIZES)
    expect(next_words(here)).to_have_text("Which bench finishes the box?")
    key = here.get_by_role("button", name=other.name)
    for size in SIZES:
        turn(here, size)
        settle(here)
        seen(here, f"which{size[0]}")
        box = key.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= TARGET_PX - 0.1
    touch(key, SIZES)
    expect(next_words(here)).to_have_text("Choose the next box")
    expect(here.locator("#bench-next .go-to")).to_contain_text(other.name)
    expect(here.locator(".strip-last")).to_contain_text(f"went to {other.name}")
    seen(here, "gone")
    there.bring_to_front()
    time_passes(there)
    expect(next_words(there)).to_have_text("Visor: scan a bag", timeout=SLOW_MS)
    expect(there.locator(".came")).to_contain_text(f"It came from {at.bench.name}.")
    settle(there)
    seen(there, "came")
    type_scan(there, at.visor_bag.number)
    expect(next_words(there)).to_have_text("Manual: scan a bag")
    assert Box.objects.get().bench == other


def test_by_scans_alone_and_back_again(tablets, at: Packing, other: Bench) -> None:
    here, there = tablets()
    type_scan(here, "ACT-HAND-OVER")
    expect(next_words(here)).to_have_text("Which bench finishes the box?")
    type_scan(here, other.place.code)
    expect(next_words(here)).to_have_text("Choose the next box")
    there.bring_to_front()
    time_passes(there)
    expect(next_words(there)).to_have_text("Visor: scan a bag", timeout=SLOW_MS)
    type_scan(there, "ACT-UNDO")
    expect(there.locator("#bench-next")).to_contain_text("hands it over again")
    type_scan(there, "ACT-HAND-OVER")
    expect(next_words(there)).to_have_text("Which bench finishes the box?")
    type_scan(there, "ACT-1")
    expect(next_words(there)).to_have_text("Choose the next box")
    here.bring_to_front()
    time_passes(here)
    expect(next_words(here)).to_have_text("Visor: scan a bag", timeout=SLOW_MS)
    expect(here.locator(".came")).to_contain_text(f"It came from {other.name}.")


def test_a_box_that_comes_interrupts_a_question_but_no_refusal(
    tablets, at: Packing, other: Bench
) -> None:
    own = at.bag(at.manual)
    boxes.bring_bag(bench_id=other.pk, bag_id=own.pk, sign=sign())
    here, there = tablets()
    there.bring_to_front()
    type_scan(there, "ACT-TAKE-OFF")
    expect(next_words(there)).to_have_text("Scan the bag to take off the bench")
    here.bring_to_front()
    type_scan(here, "ACT-HAND-OVER")
    expect(next_words(here)).to_have_text("Which bench finishes the box?")
    type_scan(here, "ACT-1")
    expect(next_words(here)).to_have_text("Choose the next box")
    there.bring_to_front()
    time_passes(there)
    expect(next_words(there)).to_have_text("Visor: scan a bag", timeout=SLOW_MS)


def test_while_scans_wait_for_the_network_the_box_stays(
    tablets, at: Packing, other: Bench
) -> None:
    here, _there = tablets()
    key = here.get_by_role("button", name="Hand over")
    expect(key).to_be_enabled()
    here.route("**/scan/", lambda route: route.abort())
    type_scan(here, at.visor_bag.number)
    expect(next_words(here)).to_have_text("No network")
    expect(waiting(here)).to_have_attribute("data-waiting", "1")
    expect(key).to_be_disabled()
    type_scan(here, "ACT-HAND-OVER")
    expect(next_words(here)).to_have_text(re.compile("Scans wait here|No network"))
    expect(waiting(here)).to_have_attribute("data-waiting", "1")
    here.unroute("**/scan/")
    time_passes(here)
    expect(next_words(here)).to_have_text("Manual: scan a bag", timeout=SLOW_MS)
    expect(here.get_by_role("button", name="Hand over")).to_be_enabled()
    assert Box.objects.get().bench == at.bench


def test_the_key_covers_no_figure_of_a_large_box(tablets) -> None:
    here, _there = tablets()
    for size in SIZES:
        turn(here, size)
        settle(here)
        assert_no_figure_is_covered(here)


def assert_no_figure_is_covered(here: Page) -> None:
    said = here.evaluate(
        """() => {
          const count = document.querySelector("#bench-box .count");
          count.innerHTML = "<b>30</b> of 60 sets";
          const range = document.createRange();
          range.selectNodeContents(count);
          return [...range.getClientRects()].map(({right, bottom}) => [right, bottom]);
        }"""
    )
    key = here.get_by_role("button", name="Hand over").bounding_box()
    zone = here.locator("#bench-box").bounding_box()
    assert key is not None
    assert zone is not None
    assert len(said) > 1
    assert all(right <= key["x"] or bottom <= key["y"] for right, bottom in said)
    assert max(bottom for _right, bottom in said) <= zone["y"] + zone["height"]
