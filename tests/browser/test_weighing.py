"""A box that is weighed, by keys on the screen and by a scale that types."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import Request, urlopen

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from kitting.models import Box
from kitting.packing.services.scales import give_token, token_of
from tests.benches import Packing
from tests.browser.benching import (
    keys_on,
    next_words,
    time_passes,
    turn,
    type_scan,
    waiting,
)
from tests.browser.measuring import settle, width
from tests.factories import sign
from tests.weighed import WHOLE_G, weigh

pytestmark = [pytest.mark.django_db(transaction=True)]

SIZES = [(1280, 800), (800, 1280), (1024, 768), (640, 400)]
"""The last is the first at twice its zoom."""
TARGET_PX = 68
DOCS = Path(__file__).parents[2] / "docs" / "weighing.md"


@pytest.fixture
def full(page: Page, at: Packing, bench) -> None:
    weigh(at)
    page.clock.install()
    bench()
    for text in ("ACT-BOX-6", *(bag.number for bag in at.bags)):
        type_scan(page, text)
    expect(next_words(page)).to_have_text("Put the box on the scale")


def touch(page: Page, grams: str) -> None:
    page.get_by_role("button", name="Type the mass").click()
    expect(page.locator("#keypad")).to_be_visible()
    for key in grams:
        page.locator(f"[data-key='{key}']").click()


def test_a_mass_is_typed_with_large_keys_at_every_size(page: Page, full) -> None:
    for size in SIZES:
        turn(page, size)
        settle(page)
        act = page.get_by_role("button", name="Type the mass").bounding_box()
        assert act is not None
        assert act["height"] >= TARGET_PX
        touch(page, "")
        expect(page.locator("[data-do=take]")).to_be_disabled()
        signs = keys_on(page, size, at_least=TARGET_PX)
        assert signs[3:] == [*"1234567890", "."]
        assert width(page) <= size[0]
        if size != SIZES[-1]:
            page.get_by_role("button", name="Hide", exact=True).click()
    for key in str(WHOLE_G):
        page.locator(f"[data-key='{key}']").click()
    expect(page.locator("#keypad output")).to_have_text(f"{WHOLE_G} g")
    page.locator("[data-do=take]").click()
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    expect(page.locator("#keypad")).to_be_hidden()
    assert Box.objects.get().mass_mg == int(WHOLE_G * 1000)


def test_a_mass_outside_is_said_and_weighed_again(page: Page, full) -> None:
    touch(page, str(WHOLE_G - 36))
    page.locator("[data-do=take]").click()
    expect(next_words(page)).to_contain_text("Lighter by 36 g")
    page.get_by_role("button", name="Go on").click()
    expect(next_words(page)).to_have_text("Put the box on the scale")
    # Keys for a number after those for a mass are keys for a number again.
    page.get_by_role("button", name="Type the mass").click()
    page.get_by_role("button", name="Type", exact=True).click()
    expect(page.locator("[data-key=B]")).to_be_visible()
    expect(page.locator("[data-key='.']")).to_be_hidden()


def test_a_scale_that_types_behind_the_prefix_closes_the_box(page: Page, full) -> None:
    type_scan(page, f"ACT-MASS-  {WHOLE_G} g")
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))


def test_figures_alone_are_never_a_mass(page: Page, full) -> None:
    type_scan(page, str(WHOLE_G))
    expect(page.locator("#bench-next")).to_have_attribute("data-state", "wrong")
    assert Box.objects.get().stage == "open"


def test_a_reading_waits_for_the_network_with_its_mass(page: Page, full) -> None:
    page.context.set_offline(True)
    touch(page, str(WHOLE_G))
    page.locator("[data-do=take]").click()
    expect(waiting(page)).to_have_text("1 scan waits")
    page.context.set_offline(False)
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    assert Box.objects.get().mass_mg == int(WHOLE_G * 1000)


# -- A scale that sends -----------------------------------------------------------------


def send(live_server: Any, at: Packing, token: str, grams: str) -> int:
    """Do what the line of ``docs/weighing.md`` does, with another mass."""
    lines = DOCS.read_text().split("```sh\n")[1].split("```")[0]
    _curl, *words = shlex.split(lines.replace("\\\n", " "))
    values = [words[n + 1] for n, word in enumerate(words) if word == "--data"]
    name, value = words[words.index("--header") + 1].split(": ")
    path = urlsplit(words[-1]).path.replace("B1", at.bench.code)
    body = "&".join(values).replace("1234.5", grams).encode()
    head = {name: value.replace("$TOKEN", token)}
    asked = Request(live_server.url + path, body, head)
    with urlopen(asked, timeout=10) as answer:
        return int(answer.status)


def test_what_a_scale_sends_stands_on_the_screen_and_a_scan_closes_the_box(
    page: Page, full, at: Packing, live_server
) -> None:
    by = sign()
    give_token(bench_id=at.bench.pk, sign=by)
    token = token_of(by.key)
    assert send(live_server, at, token, "0") == 204
    assert send(live_server, at, token, str(WHOLE_G)) == 204
    time_passes(page)
    expect(next_words(page)).to_have_text(f"The scale shows {WHOLE_G} g")
    act = page.get_by_role("button", name="Close box").bounding_box()
    assert act is not None
    assert act["height"] >= TARGET_PX
    type_scan(page, "ACT-CLOSE")
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    assert Box.objects.get().mass_mg == int(WHOLE_G * 1000)


def test_the_page_of_a_token_is_no_wider_than_a_phone(
    page: Page, at: Packing, live_server, make_user, client_for
) -> None:
    weigh(at)
    client = client_for(make_user("boss", group="manager"))
    value = client.cookies["lotward_session"].value
    cookie = {"name": "lotward_session", "value": value, "url": live_server.url}
    page.context.add_cookies([cookie])  # type: ignore[list-item]
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(live_server.url + reverse("kitting:scale-token", args=[at.bench.code]))
    page.get_by_role("button", name="Make a token").click()
    expect(page.locator("pre")).to_contain_text(f"/bench/{at.bench.code}/scale/")
    assert width(page) <= 390
