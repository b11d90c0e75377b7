"""Every page in a browser: on a phone nothing scrolls sideways."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from tests.browser.still import of_each, show
from tests.browser.touring import pages_of, rooms

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.ledgers import History
    from tests.pages import Shown

PHONE = 390
SCREEN = (PHONE, 844)
WIDTH = "page => page.documentElement.scrollWidth"
WIDE = (
    "wide",
    b"<!doctype html><body style='margin: 0'><p style='width: 391px'>wider</p>",
)


def too_wide(page: Page, pages: Iterable[tuple[str, bytes]]) -> dict[str, int]:
    """Measure pages on a phone; the width of each that scrolls sideways."""
    reached = dict(of_each(page, [*pages, WIDE], SCREEN, WIDTH))
    assert reached.pop("wide") == PHONE + 1
    return {address: width for address, width in reached.items() if width > PHONE}


def test_no_page_of_the_demo_is_wider_than_a_phone(
    page: Page, every_page: list[Shown]
) -> None:
    assert too_wide(page, every_page) == {}
    assert len(every_page) > 100


def test_no_page_of_a_tour_is_wider_than_a_phone(
    page: Page, history: History, client_for, make_user
) -> None:
    """The demo has no open run and no lot that waits for its sorting; these have."""
    person = make_user("robin")
    person.is_superuser = True
    person.save()
    client = client_for(person)
    addresses = [each for found in pages_of(history).values() for each in found]
    shown = [(address, client.get(address).content) for address in addresses]
    assert too_wide(page, shown) == {}


def test_no_page_is_left_out_of_the_tours(history: History) -> None:
    assert set(pages_of(history)) == rooms()


DESK = ("/allotment/", "/log/", "/recall/", "/requests/", "/shipments/")
HIDDEN = """page => [...page.querySelectorAll('.table')]
    .filter(e => e.scrollWidth > e.clientWidth)
    .map(e => e.innerText.trim().split('\\n')[0])
"""


def test_no_table_of_the_dispatch_desk_is_hidden_sideways_on_a_phone(
    page: Page, every_page: list[Shown]
) -> None:
    pages = [(at, html) for at, html in every_page if at.startswith(DESK)]
    found = dict(of_each(page, pages, SCREEN, HIDDEN))
    assert {address: tables for address, tables in found.items() if tables} == {}
    assert {at.split("?")[0].strip("/") for at, _html in pages} >= {"log", "recall"}


def test_the_mark_of_the_head_is_drawn(page: Page, every_page: list[Shown]) -> None:
    show(page, every_page[0].html)
    box = page.locator(".whose use").bounding_box()
    assert box is not None
    assert box["width"] > box["height"] > 8
