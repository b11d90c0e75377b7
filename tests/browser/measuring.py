"""What is measured of a page, once all of it is there."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page

SETTLED = """() => document.fonts.ready.then(() => new Promise(
    done => requestAnimationFrame(() => requestAnimationFrame(() => done(true)))))"""


def settle(page: Page) -> None:
    """Wait until styles, scripts, pictures and letters are there and laid out."""
    page.wait_for_load_state("load")
    page.evaluate(SETTLED)


def width(page: Page) -> int:
    """How far a page reaches to the right; a test has waited for what stands on it."""
    settle(page)
    return int(page.evaluate("document.documentElement.scrollWidth"))
