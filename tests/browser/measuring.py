"""What is measured of a page, once all of it is there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.patience import until

if TYPE_CHECKING:
    from playwright.sync_api import Page

SETTLED = "document.readyState === 'complete' && document.fonts.status === 'loaded'"
"""Asked again and again: where a page's scripts are off, no promise is ever kept."""


def settle(page: Page) -> None:
    """Wait until styles, scripts, pictures and letters are there and laid out."""
    page.wait_for_load_state("load")
    assert until(lambda: page.evaluate(SETTLED))


def width(page: Page) -> int:
    """How far a page reaches to the right; a test has waited for what stands on it."""
    settle(page)
    return int(page.evaluate("document.documentElement.scrollWidth"))
