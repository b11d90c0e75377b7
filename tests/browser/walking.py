"""Somebody who walks through Lotward with a browser, and what is noticed on the way."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

from django.contrib.staticfiles import finders
from django.test import Client
from playwright.sync_api import Download, Locator, Page, expect

from kitting.models import User
from tests.browser.measuring import barriers, settle

if TYPE_CHECKING:
    from playwright.sync_api import APIResponse, ConsoleMessage, Response, ViewportSize

DESK: ViewportSize = {"width": 1440, "height": 900}
TABLET: ViewportSize = {"width": 1280, "height": 800}
GS = "\x1d"
# design.md names the limit; a kilobyte is 1000 bytes.
HEAVIEST_PAGE = 120_000
STATIC = "/static/"


@dataclass
class Walker:
    """One browser at one server; people come and go at it."""

    page: Page
    address: str
    script: bool = True
    """Whether the browser runs the scripts of pages."""
    by_page: bool = False
    """Whether people sign in and out by the pages, or are given a session."""
    asked: set[str] = field(default_factory=set)
    """Hosts that were asked for anything, with their ports."""
    refused: list[int] = field(default_factory=list)
    """Status of every answer of 400 and above."""
    complaints: list[str] = field(default_factory=list)
    """What the browser wrote into its console as an error, refused answers apart."""
    barriers: list[str] = field(default_factory=list)
    """What bars somebody from using a page: serious or critical findings of axe."""
    weights: dict[str, int] = field(default_factory=dict)
    """Bytes over the wire for the first load of each page."""

    def __post_init__(self) -> None:
        self.page.context.on(
            "request", lambda request: self.asked.add(urlsplit(request.url).netloc)
        )
        self.page.on("response", self._hear)
        self.page.on("console", self._listen)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _hear(self, response: Response) -> None:
        if response.status >= 400:
            self.refused.append(response.status)

    def _listen(self, message: ConsoleMessage) -> None:
        # Chromium writes a line for every answer of 400 and above; ``refused`` has it.
        known = message.text.startswith("Failed to load resource")
        if message.type == "error" and not known:
            self.complaints.append(message.text)

    # -- People ----------------------------------------------------------------------

    @contextmanager
    def signed_in(self, name: str, size: ViewportSize, to: str) -> Iterator[Page]:
        """Let a person sign in, work at a page and those behind it, and sign out."""
        page = self.page
        page.set_viewport_size(size)
        if self.by_page:
            self._sign_in(name, to)
        else:
            enter(page, User.objects.get(username=name), self.address)
            page.goto(self.address + to)
        expect(page).to_have_url(self.address + to)
        page.wait_for_load_state()  # a scan before its scripts are there is nobody's
        yield page
        if self.by_page:
            page.get_by_role("button", name="Sign out").click()
            expect(page).to_have_url(re.compile("/sign-in/"))
        else:
            page.goto("about:blank")  # no page asks for anything without a session
            page.context.clear_cookies()

    def _sign_in(self, name: str, to: str) -> None:
        page = self.page
        page.goto(self.address + to)
        expect(page).to_have_url(re.compile("/sign-in/"))
        self.look("Sign in")
        page.get_by_label("Name", exact=True).fill(name)
        page.get_by_label("Password").fill("pass")
        page.get_by_role("button", name="Sign in").click()

    # -- Scanning --------------------------------------------------------------------

    def scan(self, into: Locator, text: str) -> None:
        """Type into the field that has the focus, as a scanner does, and press Enter."""
        expect(into).to_be_focused()
        expect(into).to_have_value("")
        first, *others = text.split(GS)
        self.page.keyboard.type(first)
        for part in others:
            self.page.keyboard.press("Control+]")
            self.page.keyboard.type(part)
        self.page.keyboard.press("Enter")

    # -- Looking ---------------------------------------------------------------------

    def look(self, name: str) -> None:
        """Look at a page for the first time: who is barred from it, what it weighs."""
        self.page.wait_for_load_state()
        if not self.script or name in self.weights:
            return
        settle(self.page)
        self.weights[name] = self._weight()
        for found in barriers(self.page):
            if found.impact in {"serious", "critical"}:
                self.barriers.append(f"{name}: {found.rule} {found.where}")

    def _weight(self) -> int:
        """Sum the page and everything that it names, as an empty cache would ask.

        The test's server does not compress static files; the real one does, and keeps
        what does not shrink as it is.
        """
        page, files = self.page.evaluate(
            """() => [performance.getEntriesByType('navigation')[0].transferSize,
            [...document.querySelectorAll('link[href], script[src], img[src]')]
            .map(e => e.href || e.src)
            .concat(performance.getEntriesByType('resource').map(e => e.name))]"""
        )
        assert page > 0, "The page itself came from a cache."
        return page + sum(_wire_bytes(url) for url in sorted(set(files)))

    # -- Files -----------------------------------------------------------------------

    def fetch(self, link: Locator) -> APIResponse:
        """Ask for what a link names, as the person who is signed in."""
        answer = self.page.context.request.get(
            self.address + (link.get_attribute("href") or "")
        )
        assert answer.ok
        return answer

    def download(self, link: Locator) -> Download:
        """Click on a link that gives a file."""
        with self.page.expect_download() as waiting:
            link.click()
        return waiting.value


def enter(page: Page, person: User, address: str) -> Client:
    """Take a session, as signing in by the page gives it; another test does that."""
    client = Client()
    client.force_login(person, backend="lotward.rights.RightsBackend")
    name = "lotward_session"
    value = client.cookies[name].value
    page.context.add_cookies([{"name": name, "value": value, "url": address}])
    return client


@cache
def _wire_bytes(url: str) -> int:
    path = unquote(urlsplit(url).path)
    if not path.startswith(STATIC):
        return 0  # a scan or a part, after the first load
    found = finders.find(path.removeprefix(STATIC))
    assert isinstance(found, str), f"{url} is no file of ours"
    content = Path(found).read_bytes()
    return min(len(content), len(gzip.compress(content, mtime=0)))
