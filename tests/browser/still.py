"""Pages in a browser without a server: each is there whole before it is measured."""

from __future__ import annotations

import mimetypes
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from django.contrib.staticfiles import finders

from tests.browser.measuring import settle

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

HOST = "http://still.test"
STATIC = "/static/"


def show(page: Page, html: bytes) -> None:
    """Show what a view answered, with its styles and without its scripts."""

    def answer(route: Route) -> None:
        path = urlsplit(route.request.url).path
        if not path.startswith(STATIC):
            route.fulfill(body=html, content_type="text/html; charset=utf-8")
        elif path.endswith(".js"):
            route.abort()
        else:
            file = Path(str(finders.find(path.removeprefix(STATIC))))
            kind, _ = mimetypes.guess_type(file.name)
            route.fulfill(body=file.read_bytes(), content_type=kind)

    page.unroute_all()
    page.route(f"{HOST}/**", answer)
    page.goto(HOST)
    settle(page)
