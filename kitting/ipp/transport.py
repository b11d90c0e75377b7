"""One HTTP exchange with a printer: every one bounded in time and size.

A connection is made to an address that was checked after the host was looked up, so that
a second look-up cannot lead elsewhere. Redirects are not followed. What goes wrong is
told with whether the printer may have got the request.

References:
    RFC 8010 §4, Encoding of the Transport Layer; RFC 8011 §4.1 for operations.
"""

from __future__ import annotations

import io
import socket
import ssl
import time
from dataclasses import dataclass
from http.client import HTTPException, HTTPResponse
from typing import TYPE_CHECKING, cast

from kitting.domain.errors import PrinterFault
from kitting.ipp.address import Address, refuse_reach
from kitting.ipp.plain import plain

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

MOST_OCTETS = 1 << 20
"""Of an answer: printers tell all about themselves in a tenth of it."""
CHUNK = 1 << 16
PATIENCE = 6
"""A whole exchange may take as many times the time-out for one step."""
OK, UNAUTHORIZED, UPGRADE, UNAVAILABLE = 200, 401, 426, 503
MEDIA_TYPE = "application/ipp"


@dataclass(frozen=True)
class Link:
    """How to reach a printer.

    ``timeout`` is in seconds without progress; ``ca_file`` names the certificates that
    are trusted instead of the system's.
    """

    address: Address
    timeout: float
    ca_file: str | None = None


class _Clock:
    """The time that one exchange has left."""

    def __init__(self, timeout: float) -> None:
        self.step = timeout
        self.end = time.monotonic() + timeout * PATIENCE

    def left(self) -> float:
        """Return the seconds that the next step may take.

        Raises:
            TimeoutError: If none are left.
        """
        left = min(self.step, self.end - time.monotonic())
        if left <= 0:
            raise TimeoutError
        return left


class Steps(io.RawIOBase):
    """What a socket receives, each step within the time that is left.

    ``HTTPResponse`` sets no limit to a whole answer: a printer that sends one octet
    before each time-out would hold it for ever.
    """

    def __init__(self, connected: socket.socket, clock: _Clock) -> None:
        super().__init__()
        self.connected = connected
        self.clock = clock

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: WriteableBuffer) -> int:
        self.connected.settimeout(self.clock.left())
        return self.connected.recv_into(buffer)

    def makefile(self, mode: str) -> io.BufferedReader:
        """Stand in for a socket's method, which ``HTTPResponse`` calls."""
        return io.BufferedReader(self)


def exchange(link: Link, body: bytes, *, prints: bool) -> bytes:
    """Send a request and return the answer's octets.

    Args:
        link: The printer.
        body: The encoded request, its document behind it.
        prints: Whether it makes a job if it arrives, so that once more would be twice.

    Returns:
        The body of an answer with status 200.

    Raises:
        PrinterFault: If that did not come about; ``sent`` is false only where the
            printer cannot have made a job of it.
        Refused: If the printer's address may not be reached.
    """
    clock = _Clock(link.timeout)
    with _connect(link, clock) as connected:
        try:
            _send(connected, link.address, body, clock)
            response = HTTPResponse(
                cast("socket.socket", Steps(connected, clock)), method="POST"
            )
            response.begin()
            _check_head(response, prints=prints)
            return _read(response, prints=prints)
        except (OSError, EOFError, HTTPException) as error:
            raise PrinterFault(
                "printer_answer_lost", sent=prints, again=not prints, why=_why(error)
            ) from error


# -- Connecting ------------------------------------------------------------------------


def _connect(link: Link, clock: _Clock) -> socket.socket:
    """Open a connection to an address that was checked, encrypted for IPPS."""
    address = link.address
    try:
        connected = _dial(address, clock)
    except OSError as error:
        raise _unreachable(address, error) from error
    if not address.secure:
        return connected
    try:
        context = ssl.create_default_context(cafile=link.ca_file)
        connected.settimeout(clock.left())
        return context.wrap_socket(connected, server_hostname=address.host)
    except ssl.SSLError as error:
        connected.close()
        raise PrinterFault("printer_tls", why=_why_tls(error)) from error
    except OSError as error:
        connected.close()
        if isinstance(error, FileNotFoundError | PermissionError | IsADirectoryError):
            why = "the file of trusted certificates cannot be read"
            raise PrinterFault("printer_tls", why=why) from error
        raise _unreachable(address, error) from error


def _dial(address: Address, clock: _Clock) -> socket.socket:
    """Look the host up once and connect to the first allowed address that answers."""
    found = socket.getaddrinfo(address.host, address.port, type=socket.SOCK_STREAM)
    allowed = set(refuse_reach(str(sockaddr[0]) for *_, sockaddr in found))
    last: OSError | None = None
    for family, kind, protocol, _name, sockaddr in found:
        if str(sockaddr[0]) not in allowed:
            continue
        connected = socket.socket(family, kind, protocol)
        try:
            connected.settimeout(clock.left())
            connected.connect(sockaddr)
        except OSError as error:
            connected.close()
            last = error
        else:
            connected.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return connected
    raise last or OSError("no address")


def _unreachable(address: Address, error: OSError) -> PrinterFault:
    return PrinterFault(
        "printer_unreachable", again=True, address=address.text, why=_why(error)
    )


def _why(error: Exception) -> str:
    """Say in a few words of our own what the system or the protocol met."""
    match error:
        case TimeoutError():
            return "it took too long"
        case ConnectionRefusedError():
            return "nothing listens there"
        case socket.gaierror():
            return "its name is not known"
        case ConnectionError() | EOFError() | HTTPException() | ssl.SSLError():
            return "the connection was cut"
    return "the network does not lead there"


def _why_tls(error: ssl.SSLError) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return plain(error.verify_message, 80)
    return "it does not speak TLS as it should"


# -- Asking and hearing ----------------------------------------------------------------


def _send(
    connected: socket.socket, address: Address, body: bytes, clock: _Clock
) -> None:
    """Write the request; a printer that answers before it has all is still heard."""
    host = f"[{address.host}]" if ":" in address.host else address.host
    head = (
        f"POST {address.path} HTTP/1.1\r\n"
        f"Host: {host}:{address.port}\r\n"
        f"Content-Type: {MEDIA_TYPE}\r\n"
        f"Content-Length: {len(body)}\r\n"
        f"Accept: {MEDIA_TYPE}\r\n"
        "Connection: close\r\n"
        "User-Agent: Lotward\r\n\r\n"
    ).encode("ascii")
    whole = memoryview(head + body)
    try:
        for start in range(0, len(whole), CHUNK):
            connected.settimeout(clock.left())
            connected.sendall(whole[start : start + CHUNK])
    except (BrokenPipeError, ConnectionResetError):
        # It may have refused the request early and hung up; its answer says why.
        return


def _check_head(response: HTTPResponse, *, prints: bool) -> None:
    """Refuse every answer that cannot carry an IPP message."""
    status = response.status
    if 300 <= status < 400:
        to = plain(response.getheader("Location", ""), 60)
        raise PrinterFault("printer_redirects", status=status, to=to or "?")
    if status == UNAVAILABLE:
        raise PrinterFault("printer_busy", again=True, status="HTTP 503", said="-")
    if status != OK:
        # Below 500 the request was refused before a printer saw it.
        raise PrinterFault(
            "printer_answer_wrong",
            sent=prints and status >= 500,
            why=_why_status(status),
        )
    kind = response.getheader("Content-Type", "").partition(";")[0].strip().lower()
    if kind != MEDIA_TYPE:
        said = plain(kind, 40) or "of no kind"
        why = f"it is {said} and not IPP"
        raise _wrong(why, prints=prints)


def _why_status(status: int) -> str:
    known = {
        UNAUTHORIZED: "it asks for a password (HTTP 401)",
        403: "it lets nobody in (HTTP 403)",
        404: "it has no printer under this path (HTTP 404)",
        UPGRADE: "it asks for encryption (HTTP 426): write ipps:// in its address",
    }
    return known.get(status, f"it answers with HTTP {status}")


def _read(response: HTTPResponse, *, prints: bool) -> bytes:
    """Read the body, up to the most that an answer may have."""
    if (response.length or 0) > MOST_OCTETS:
        raise _wrong("it is too long", prints=prints)
    parts, size = [], 0
    while part := response.read(CHUNK):
        parts.append(part)
        size += len(part)
        if size > MOST_OCTETS:
            raise _wrong("it is too long", prints=prints)
    if response.length:
        raise _wrong("it is cut short", prints=prints)
    return b"".join(parts)


def _wrong(why: str, *, prints: bool) -> PrinterFault:
    return PrinterFault("printer_answer_wrong", sent=prints, again=not prints, why=why)
