"""How the printer of the tests answers over HTTP, and how its answers fail."""

from __future__ import annotations

import socket
import sys
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any

from kitting.ipp.codec import decode, encode
from kitting.ipp.message import Section

if TYPE_CHECKING:
    from tests.kitting.ipp.fake_printer import FakePrinter

NO_JOB = {"close", "stall", "redirect", "status"}
"""Faults that come before the printer has made a job of a request."""
FAULTS = NO_JOB | {
    "lose",  # The connection is cut after the job was made.
    "slow",  # The answer comes after ``seconds``.
    "drip",  # The answer comes octet by octet, each in time, and never ends.
    "garbage",  # The answer is octets that are no message.
    "html",  # The answer is a page.
    "truncated",  # The answer ends in the middle, and says so.
    "short",  # The answer ends before its own length.
    "huge",  # The answer does not end.
    "long",  # The answer says that it is too long.
    "wrong_id",  # The answer is to another request.
    "other_job",  # The answer tells of a job with another number.
    "no_groups",  # The answer is a success that tells nothing.
}


@dataclass
class Fault:
    kind: str
    operation: int | None
    times: int
    status: int = 0
    names: tuple[str, ...] = ()
    said: str = ""
    seconds: float = 0.0


class Server(ThreadingHTTPServer):
    daemon_threads = False
    block_on_close = True

    def __init__(self, address: tuple[str, int], printer: FakePrinter) -> None:
        super().__init__(address, Handler)
        self.printer = printer

    def get_request(self) -> tuple[socket.socket, Any]:
        connected, sender = super().get_request()
        connected.settimeout(10)
        return connected, sender

    def finish_request(self, request: Any, client_address: Any) -> None:
        """Encrypt in the connection's own thread: a handshake may stall."""
        if self.printer.context is None:
            super().finish_request(request, client_address)
            return
        with self.printer.context.wrap_socket(request, server_side=True) as secured:
            super().finish_request(secured, client_address)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Pass over that clients hang up, or do not trust the printer."""
        error = sys.exc_info()[1]
        if not isinstance(error, OSError):
            self.printer.complaints.append(f"answering failed: {error!r}")


class Handler(BaseHTTPRequestHandler):
    server: Server
    protocol_version = "HTTP/1.1"

    def log_message(self, format: str, *args: object) -> None:
        """Keep the tests' output clean."""

    def do_POST(self) -> None:
        self.close_connection = True
        printer = self.server.printer
        body = self.rfile.read(int(self.headers["Content-Length"]))
        request = decode(body)
        if self.headers["Content-Type"] != "application/ipp":
            printer.complaints.append(f"Content-Type {self.headers['Content-Type']}")
        fault = printer.take_fault(request.code)
        kind = fault.kind if fault else ""
        if fault is None or kind not in NO_JOB:
            octets = encode(printer.answer(request, fault))
        else:
            printer.requests.append(request)
            octets = b""
        getattr(self, f"give_{kind}", self.give_plain)(octets, fault)

    def give_plain(self, octets: bytes, fault: Fault | None) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "application/ipp")
        self.send_header("Content-Length", str(len(octets)))
        self.end_headers()
        self.wfile.write(octets)

    def give_close(self, octets: bytes, fault: Fault) -> None:
        """Hang up without a word, before anything came of it."""

    give_lose = give_close

    def give_stall(self, octets: bytes, fault: Fault) -> None:
        self.server.printer.wait(10)

    def give_slow(self, octets: bytes, fault: Fault) -> None:
        self.server.printer.wait(fault.seconds)
        self.give_plain(octets, fault)

    def give_redirect(self, octets: bytes, fault: Fault) -> None:
        self.send_response(302)
        self.send_header("Location", f"http://127.0.0.1:{self.server.printer.port}/x")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def give_status(self, octets: bytes, fault: Fault) -> None:
        self.send_response(fault.status)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def give_garbage(self, octets: bytes, fault: Fault) -> None:
        self.give_plain(b"\x02\x00\x00\x00" + b"\xff" * 60, fault)

    def give_html(self, octets: bytes, fault: Fault) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", "13")
        self.end_headers()
        self.wfile.write(b"<p>Hello.</p>")

    def give_truncated(self, octets: bytes, fault: Fault) -> None:
        self.give_plain(octets[: len(octets) // 2], fault)

    def give_short(self, octets: bytes, fault: Fault) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "application/ipp")
        self.send_header("Content-Length", str(len(octets) + 100))
        self.end_headers()
        self.wfile.write(octets)

    def give_huge(self, octets: bytes, fault: Fault) -> None:
        self._endless(octets, b"\0" * 65_536, 0)

    def give_drip(self, octets: bytes, fault: Fault) -> None:
        self._endless(b"", b"\x02", 0.05)

    def _endless(self, start: bytes, part: bytes, seconds: float) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "application/ipp")
        self.end_headers()
        self.wfile.write(start)
        for _ in range(2_000):
            self.wfile.write(part)
            self.server.printer.wait(seconds)

    def give_long(self, octets: bytes, fault: Fault) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "application/ipp")
        self.send_header("Content-Length", str(1 << 40))
        self.end_headers()

    def give_wrong_id(self, octets: bytes, fault: Fault) -> None:
        self.give_plain(octets[:4] + b"\x00\x0f\x42\x3f" + octets[8:], fault)

    def give_no_groups(self, octets: bytes, fault: Fault) -> None:
        self.give_plain(octets[:8] + bytes([Section.END]), fault)

    def give_other_job(self, octets: bytes, fault: Fault) -> None:
        number = b"\x00\x06job-id\x00\x04\x00\x00"
        self.give_plain(octets.replace(number, number[:-1] + b"\x7f"), fault)
