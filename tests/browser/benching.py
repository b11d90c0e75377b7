"""Scans at a bench as a scanner types them, and what its screen says."""

from __future__ import annotations

from collections.abc import Iterable

from playwright.sync_api import Locator, Page

Size = tuple[int, int]


def type_scan(page: Page, text: str) -> None:
    """Type as a scanner does: to whatever has the focus, and Enter at the end."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def turn(page: Page, size: Size) -> None:
    """Give the screen another size."""
    page.set_viewport_size({"width": size[0], "height": size[1]})


def touch(key: Locator, sizes: Iterable[Size]) -> None:
    """Touch a key once; at every size it can be touched."""
    for size in sizes:
        turn(key.page, size)
        key.click(trial=True)
    key.click()


# What is on each key, its width, height and right end, and whether a touch reaches it.
KEYS = """keys => [...document.querySelectorAll(`${keys} button`)]
  .filter(e => e.checkVisibility({visibilityProperty: true})).map(e => {
    e.scrollIntoView({block: 'nearest'});
    const key = e.getBoundingClientRect();
    const top = document.elementFromPoint(key.x + key.width / 2, key.y + key.height / 2);
    return [e.innerText, key.width, key.height, key.right, e.contains(top)];
  })"""


def keys_on(
    page: Page, size: Size, *, at_least: float, of: str = "#keypad"
) -> list[str]:
    """What is on the keys that are seen, each of them large and within reach."""
    keys = page.evaluate(KEYS, of)
    assert min(wide for _, wide, *_ in keys) >= at_least
    assert min(high for _, _, high, *_ in keys) >= at_least
    assert max(right for *_, right, _ in keys) <= size[0]
    assert [said for said, *_, reached in keys if not reached] == []
    return [said for said, *_ in keys]


LOOKS_MS = 5_000
"""Within this time a screen shows by itself what happened elsewhere."""
SLOW_MS = 10_000
"""The machine of a test may be slow."""


def time_passes(page: Page) -> None:
    """Let a page whose clock is installed ask what it asks by the clock."""
    page.clock.fast_forward(LOOKS_MS)


def next_words(page: Page):
    return page.locator("#bench-next h2")


def waiting(page: Page):
    return page.locator("#bench-waiting")
