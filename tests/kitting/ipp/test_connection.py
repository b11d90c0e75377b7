"""Connections: where they may lead, how long they last, and how they end."""

from __future__ import annotations

import errno
import os
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from kitting.domain.errors import Refused
from kitting.ipp import transport
from kitting.ipp.address import read_address
from kitting.ipp.client import IppPrinter
from kitting.web.messages import sentence
from tests.kitting.ipp.asking import BOX, PDF, QUICK, fault_of, hurried
from tests.kitting.ipp.fake_printer import GET_PRINTER, FakePrinter
from tests.patience import PATIENCE_S


def test_a_printer_that_is_off_got_nothing(printer: FakePrinter) -> None:
    client = client_of(printer)
    client.facts()
    printer.stop()
    fault = fault_of(client.send, PDF, name="box 7", media=BOX)
    assert (fault.code, fault.sent, fault.again) == ("printer_unreachable", False, True)
    assert "nothing listens there" in sentence(fault)
    printer.start()
    assert client.send(PDF, name="box 7", media=BOX).id == 1


def test_a_name_that_nobody_knows_got_nothing() -> None:
    # RFC 6761 §6.4: names under .invalid are never known.
    client = IppPrinter(
        read_address("ipp://printer.invalid/"), user="p", timeout=PATIENCE_S
    )
    fault = fault_of(client.facts)
    assert (fault.code, fault.sent) == ("printer_unreachable", False)


def client_of(printer: FakePrinter) -> IppPrinter:
    return IppPrinter(read_address(printer.url), user="packer", timeout=PATIENCE_S)


def looked_up(monkeypatch: pytest.MonkeyPatch, *answers: list[str]) -> list[str]:
    """Let names be looked up as told, one answer after the other; give who asked."""
    asked: list[str] = []

    def look_up(host: str, port: int, **_: object) -> list[object]:
        asked.append(host)
        found = answers[min(len(asked), len(answers)) - 1]
        return [
            (socket.AF_INET, socket.SOCK_STREAM, 6, "", (number, port))
            for number in found
        ]

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    return asked


def test_a_name_that_leads_to_a_forbidden_address_is_not_connected_to(
    printer: FakePrinter, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = looked_up(monkeypatch, ["169.254.169.254"])
    client = IppPrinter(
        read_address(f"ipp://printer.example.com:{printer.port}/"),
        user="packer",
        timeout=PATIENCE_S,
    )
    with pytest.raises(Refused) as caught:
        client.facts()
    assert caught.value.code == "printer_address_not_allowed"
    assert "169.254.169.254" in sentence(caught.value)
    assert asked == ["printer.example.com"]
    assert printer.requests == []


def test_a_name_is_looked_up_once_a_connection_and_checked_each_time(
    printer: FakePrinter, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A second look-up that leads elsewhere than the one that was checked is how a
    # check is got round; and a name may lead elsewhere tomorrow.
    asked = looked_up(monkeypatch, ["127.0.0.1"], ["169.254.169.254"])
    client = IppPrinter(
        read_address(f"ipp://printer.example.com:{printer.port}/"),
        user="packer",
        timeout=PATIENCE_S,
    )
    assert client.facts().name == "fake"
    assert len(asked) == 1
    with pytest.raises(Refused):
        client.facts()
    assert len(printer.requests) == 1


def test_the_allowed_ones_of_several_addresses_are_tried_in_turn(
    printer: FakePrinter, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Nothing listens on 127.0.0.9, and 169.254.1.1 may not be tried at all.
    looked_up(monkeypatch, ["169.254.1.1", "127.0.0.9", "127.0.0.1"])
    tried: list[str] = []
    connect = socket.socket.connect

    def noted(self: socket.socket, address: tuple[str, int]) -> None:
        tried.append(address[0])
        connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", noted)
    client = IppPrinter(
        read_address(f"ipp://printer.example.com:{printer.port}/"),
        user="packer",
        timeout=PATIENCE_S,
    )
    assert client.facts().name == "fake"
    assert tried == ["127.0.0.9", "127.0.0.1"]


@contextmanager
def listener(answer: Callable[[socket.socket], None]) -> Iterator[str]:
    """Take one connection and do with it what no printer should."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def take() -> None:
            connected, _ = server.accept()
            with connected:
                answer(connected)

        thread = threading.Thread(target=take)
        thread.start()
        yield f"ipp://127.0.0.1:{server.getsockname()[1]}/"
        thread.join()


def test_a_refusal_before_the_document_is_read_is_heard() -> None:
    # RFC 9110 §15.5.14: a server may answer before it has the whole, and hang up.
    def refuse(connected: socket.socket) -> None:
        connected.recv(1_000)
        connected.sendall(b"HTTP/1.1 413 Too large\r\nContent-Length: 0\r\n\r\n")

    with listener(refuse) as url:
        link = transport.Link(read_address(url), 5)
        with pytest.raises(transport.PrinterFault) as caught:
            transport.exchange(link, os.urandom(3_000_000), prints=True)
    assert caught.value.params["why"] == "it answers with HTTP 413"
    assert not caught.value.sent


def test_a_printer_that_hangs_up_while_the_document_is_sent_may_have_it() -> None:
    def hang_up(connected: socket.socket) -> None:
        connected.recv(1_000)
        connected.setsockopt(
            socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0)
        )

    with listener(hang_up) as url:
        link = transport.Link(read_address(url), 10)
        with pytest.raises(transport.PrinterFault) as caught:
            transport.exchange(link, bytes(50_000_000), prints=True)
    assert caught.value.code == "printer_answer_lost"
    assert (caught.value.sent, caught.value.again) == (True, False)
    assert caught.value.params["why"] == "the connection was cut"


def test_a_network_that_leads_nowhere_got_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def nowhere(*_: object) -> None:
        raise OSError(errno.ENETUNREACH, "Network is unreachable")

    monkeypatch.setattr(socket.socket, "connect", nowhere)
    client = IppPrinter(
        read_address("ipps://192.0.2.7/"), user="packer", timeout=PATIENCE_S
    )
    fault = fault_of(client.facts)
    assert (fault.code, fault.sent, fault.again) == ("printer_unreachable", False, True)
    assert "the network does not lead there" in sentence(fault)


def test_a_printer_that_does_not_finish_its_handshake_got_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    hurried(monkeypatch, transport._dial)
    done = threading.Event()

    def stall(connected: socket.socket) -> None:
        done.wait(PATIENCE_S)

    with listener(stall) as url:
        address = read_address(url.replace("ipp:", "ipps:"))
        try:
            client = IppPrinter(address, user="packer", timeout=PATIENCE_S)
            fault = fault_of(client.facts)
        finally:
            done.set()
    assert (fault.code, fault.sent, fault.again) == ("printer_unreachable", False, True)


def test_a_printer_that_says_nothing_about_itself_is_told(printer: FakePrinter) -> None:
    printer.fail("no_groups", GET_PRINTER)
    fault = fault_of(client_of(printer).facts)
    assert (fault.code, fault.again) == ("printer_answer_wrong", True)
    assert "nothing about itself" in sentence(fault)


def test_a_printer_that_stops_taking_a_document_is_given_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    hurried(monkeypatch, transport._dial)
    done = threading.Event()

    def stall(connected: socket.socket) -> None:
        connected.recv(1_000)
        done.wait(PATIENCE_S)

    with listener(stall) as url:
        link = transport.Link(read_address(url), PATIENCE_S)
        try:
            with pytest.raises(transport.PrinterFault) as caught:
                transport.exchange(link, bytes(20_000_000), prints=True)
        finally:
            done.set()
    assert caught.value.code == "printer_answer_lost"
    assert caught.value.sent


IN_CHUNKS = (
    b"HTTP/1.1 200 OK\r\nContent-Type: Application/IPP; x=y\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n"
)


@pytest.mark.parametrize(
    "said",
    [
        b"",
        b"\n\n\n",
        b"IPP 2.0\r\n",
        b"HTTP/1.1 two hundred\r\n\r\n",
        b"HTTP/1.1 200 OK\r\n" + b"X: y\r\n" * 200 + b"\r\n",
        b"HTTP/1.1 200 OK\r\n" + b"X" * 100_000,
        IN_CHUNKS + b"zz\r\n",
        IN_CHUNKS + b"10\r\nabc",
        b"HTTP/1.1 100 Continue\r\n\r\n" * 50,
    ],
)
def test_what_is_no_http_is_an_answer_lost(said: bytes) -> None:
    def say(connected: socket.socket) -> None:
        connected.recv(10_000)
        connected.sendall(said)

    with listener(say) as url:
        fault = fault_of(
            IppPrinter(read_address(url), user="p", timeout=PATIENCE_S).facts
        )
    assert fault.code == "printer_answer_lost"


def test_an_answer_in_chunks_is_read_whole() -> None:
    def say(connected: socket.socket) -> None:
        request = connected.recv(10_000)
        body = b"\2\0\0\0" + request.split(b"\r\n\r\n", 1)[1][4:8] + b"\1\4\3"
        connected.sendall(IN_CHUNKS)
        for octet in body:
            connected.sendall(b"1\r\n" + bytes([octet]) + b"\r\n")
        connected.sendall(b"0\r\n\r\n")

    with listener(say) as url:
        facts = IppPrinter(read_address(url), user="p", timeout=PATIENCE_S).facts()
    assert facts.state == "unknown"


def test_an_answer_that_drips_ends_after_a_few_time_outs(
    printer: FakePrinter, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(transport, "PATIENCE", 2)
    hurried(monkeypatch, transport._send)
    client = client_of(printer)
    printer.fail("drip", GET_PRINTER)  # It would go on for a hundred seconds.
    started = time.monotonic()
    fault_of(client.facts)
    assert QUICK < time.monotonic() - started < 90


def test_no_more_is_read_than_an_answer_may_have(
    printer: FakePrinter, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[int] = []
    into = transport.Steps.readinto

    def count(self: transport.Steps, buffer: bytearray) -> int:
        read.append(into(self, buffer))
        return read[-1]

    monkeypatch.setattr(transport.Steps, "readinto", count)
    printer.fail("huge", GET_PRINTER)
    fault_of(client_of(printer).facts)
    assert transport.MOST_OCTETS < sum(read) < transport.MOST_OCTETS + 200_000
