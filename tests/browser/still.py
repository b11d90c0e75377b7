"""Pages in a browser without Lotward's server: each is there whole before it is measured."""

from __future__ import annotations

import mimetypes
import threading
from functools import cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from django.contrib.staticfiles import finders

from tests.browser.measuring import settle

if TYPE_CHECKING:
    from playwright.sync_api import Page

STATIC = "/static/"
HTML = "text/html; charset=utf-8"


class _Server(ThreadingHTTPServer):
    """Gives one page at every address, and the project's own files, which are kept."""

    daemon_threads = True
    page = b""


class _Answer(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: _Server

    def do_GET(self) -> None:
        path = urlsplit(self.path).path
        if path.startswith(STATIC):
            self._send(*_file(path.removeprefix(STATIC)), keep="max-age=3600")
        else:
            self._send(self.server.page, HTML, keep="no-store")

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
    server.page = html
    page.goto(f"http://127.0.0.1:{server.server_port}/")
    settle(page)
