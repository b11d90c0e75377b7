"""Scans at a bench as a scanner types them, and what its screen says."""

from __future__ import annotations

from playwright.sync_api import Page


def type_scan(page: Page, text: str) -> None:
    """Type as a scanner does: to whatever has the focus, and Enter at the end."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def next_words(page: Page):
    return page.locator("#bench-next h2")


def waiting(page: Page):
    return page.locator("#bench-waiting")
