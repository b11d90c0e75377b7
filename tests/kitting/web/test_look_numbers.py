"""Identifiers on pages: every number of Lotward that can be read stands in its groups."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from urllib.parse import urlsplit

from django.urls import resolve

from tests.pages import Shown

NUMBER = re.compile(
    r"\b[LBRXKSCQAPVF][1-9][0-9]{6,}[0-9A-Z]\b|\b[0-9]{14,18}\b|\b1-[0-9A-Z]{1,8}-[0-9]{5}-[1-9]\b"
)
"""Numbers that Lotward assigns, GTINs, SSCCs and kit batches."""

PLAIN = {"title", "script", "style", "option", "textarea", "svg", "samp"}
"""Where a browser lets nothing be divided, nobody reads it, or a row stands as stored."""


class Reader(HTMLParser):
    """Collects numbers that stand undivided."""

    def __init__(self) -> None:
        super().__init__()
        self.undivided: list[str] = []
        self._open: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        divided = "four" in str(values.get("class")).split()
        if tag not in {"input", "br", "meta", "link", "hr", "img"}:
            self._open.append((tag, divided))

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not any(divided or tag in PLAIN for tag, divided in self._open):
            self.undivided += NUMBER.findall(data)


def test_numbers_stand_in_groups_on_every_page(every_page: list[Shown]) -> None:
    found: dict[str, list[str]] = {}
    for shown in every_page:
        reader = Reader()
        reader.feed(shown.html.decode())
        if reader.undivided:
            found[shown.address] = reader.undivided
    names = {resolve(urlsplit(shown.address).path).view_name for shown in every_page}
    assert len(names) > 40
    assert found == {}
