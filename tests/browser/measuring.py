"""What is measured of a page, once all of it is there."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from axe_playwright_python.base import AXE_SCRIPT

from tests.patience import until

if TYPE_CHECKING:
    from playwright.sync_api import Page

SETTLED = "document.readyState === 'complete' && document.fonts.status === 'loaded'"
"""Asked again and again: where a page's scripts are off, no promise is ever kept."""


def settle(page: Page) -> None:
    """Wait until styles, scripts, pictures and letters are there and laid out."""
    page.wait_for_load_state("load")
    assert until(lambda: page.evaluate(SETTLED))


class Barrier(NamedTuple):
    """A finding of axe: a rule, how much it bars somebody, and by which elements."""

    rule: str
    impact: str
    where: list[list[str]]


# What axe says of all that is well would be a hundred times as much.
FOUND = """axe.run({resultTypes: ['violations']}).then(found => found.violations.map(
    each => [each.id, each.impact, each.nodes.map(node => node.target)]))"""


def bring_axe(page: Page) -> None:
    """Let every page that comes have axe with it: for pages that are all looked at."""
    page.add_init_script(AXE_SCRIPT)


def barriers(page: Page) -> list[Barrier]:
    """What bars somebody from using a page as it is now."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    return [Barrier(*each) for each in page.evaluate(FOUND)]


def width(page: Page) -> int:
    """How far a page reaches to the right; a test has waited for what stands on it."""
    settle(page)
    return int(page.evaluate("document.documentElement.scrollWidth"))
