"""Identifiers on pages: every number of Lotward that can be read stands in its groups."""

from __future__ import annotations

import re
from collections import Counter, deque
from html.parser import HTMLParser
from urllib.parse import urldefrag, urljoin, urlsplit

import pytest
from django.test import Client
from django.urls import Resolver404, resolve

from kitting.models import User
from tests.ledgers import History

pytestmark = pytest.mark.django_db

NUMBER = re.compile(
    r"\b[LBRXKSC][1-9][0-9]{6,}[0-9A-Z]\b|\b[0-9]{14,18}\b|\b1-[0-9A-Z]{1,8}-[0-9]{5}-[1-9]\b"
)
"""Numbers that Lotward assigns, GTINs, SSCCs and kit batches."""

PLAIN = {"title", "script", "style", "option", "textarea", "svg", "samp"}
"""Where a browser lets nothing be divided, nobody reads it, or a row stands as stored."""

OF_EACH = 2
"""Pages of each address that are looked at."""


class Reader(HTMLParser):
    """Collects links, and numbers that stand undivided."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.undivided: list[str] = []
        self._open: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        if tag == "a" and values.get("href"):
            self.links.append(str(values["href"]))
        divided = "four" in str(values.get("class")).split()
        if tag not in {"input", "br", "meta", "link", "hr", "img"}:
            self._open.append((tag, divided))

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not any(divided or tag in PLAIN for tag, divided in self._open):
            self.undivided += NUMBER.findall(data)


def test_numbers_stand_in_groups_on_every_page(
    history: History, client: Client
) -> None:
    client.force_login(User.objects.create_superuser("all", password="x"))
    seen: Counter[str] = Counter()
    found: dict[str, list[str]] = {}
    waiting = deque(["/"])
    known = set(waiting)
    while waiting:
        address = waiting.popleft()
        response = client.get(address)
        if (
            response.status_code != 200
            or "html" not in response.headers["Content-Type"]
        ):
            continue
        reader = Reader()
        reader.feed(response.content.decode())
        if reader.undivided:
            found[address] = reader.undivided
        for link in reader.links:
            to = urldefrag(urljoin(address, link)).url
            try:
                name = resolve(urlsplit(to).path).view_name
            except Resolver404:
                continue
            if to not in known and seen[name] < OF_EACH:
                known.add(to)
                seen[name] += 1
                waiting.append(to)
    assert len(seen) > 40
    assert found == {}
