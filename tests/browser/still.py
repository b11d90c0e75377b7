"""Pages in a browser without Lotward's server: each is there whole before it is measured."""

from __future__ import annotations

import mimetypes
import threading
from collections.abc import Iterable, Iterator
from functools import cache, partial
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from django.contrib.staticfiles import finders

from tests.browser.measuring import settle
from tests.patience import until

if TYPE_CHECKING:
    from playwright.sync_api import Page

STATIC = "/static/"
HTML = "text/html; charset=utf-8"


class _Server(ThreadingHTTPServer):
    """Gives the pages that are shown, and the project's own files, which are kept."""

    daemon_threads = True
    pages: dict[str, bytes]
    """By their path."""


class _Answer(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: _Server

    def do_GET(self) -> None:
        path = urlsplit(self.path).path
        if path.startswith(STATIC):
            self._send(*_file(path.removeprefix(STATIC)), keep="max-age=3600")
        else:
            page = self.server.pages.get(path, self.server.pages["/"])
            self._send(page, HTML, keep="no-store")

    def _send(self, body: bytes, kind: str, *, keep: str) -> None:
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", keep)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_words: object) -> None:
        """Say nothing."""


@cache
def _file(name: str) -> tuple[bytes, str]:
    """The bytes and the kind of a file; scripts are empty."""
    kind = str(mimetypes.guess_type(name)[0])
    if name.endswith(".js"):
        return b"", kind
    return Path(str(finders.find(name))).read_bytes(), kind


@cache
def _server() -> _Server:
    made = _Server(("127.0.0.1", 0), _Answer)
    threading.Thread(target=made.serve_forever, daemon=True).start()
    return made


def show(page: Page, html: bytes) -> None:
    """Show what a view answered, with its styles and without its scripts."""
    server = _server()
    server.pages = {"/": html}
    page.goto(f"http://127.0.0.1:{server.server_port}/")
    settle(page)


TOGETHER = 12
BESIDE = """([many, wide, high]) => {
  for (let n = 0; n < many; n++) {
    const frame = document.createElement('iframe');
    Object.assign(frame, {width: wide, height: high}).style.border = 0;
    document.body.append(frame);
  }
}"""
FRAMES = "[...document.querySelectorAll('iframe')].map(e => e.contentDocument)"
WRITE = f"""pages => pages.forEach((html, n) => {{
  const page = {FRAMES}[n];
  page.open();
  page.write(html);
  page.close();
}})"""
# A document that was written may call itself complete before its styles are there.
THERE = """e => [...e.querySelectorAll('link[rel=stylesheet]')].every(link => link.sheet)
  && [...e.images].every(image => image.complete)
  && e.readyState === 'complete' && e.fonts.status === 'loaded'"""


def of_each(
    page: Page, pages: Iterable[tuple[str, bytes]], size: tuple[int, int], asked: str
) -> Iterator[tuple[str, Any]]:
    """What a function gives of each page's document on a screen of a size.

    Some are written side by side: a frame is a screen of its own to what is in it, and
    costs a tenth of a page.
    """
    show(page, b"<!doctype html><body></body>")
    page.evaluate(BESIDE, [TOGETHER, *size])
    rest = iter(pages)
    while some := list(islice(rest, TOGETHER)):
        page.evaluate(WRITE, [html.decode() for _, html in some])
        frames = f"{FRAMES}.slice(0, {len(some)})"
        assert until(partial(page.evaluate, f"{frames}.every({THERE})"))
        found = page.evaluate(f"{frames}.map({asked})")
        yield from zip((at for at, _ in some), found, strict=True)
