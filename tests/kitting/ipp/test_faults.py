"""Whatever goes wrong on the way: what is said, and what may be done about it.

``sent`` and ``again`` decide whether a label comes out twice, so each fault names both,
and what the printer really has.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from kitting.ipp import transport
from kitting.ipp.address import read_address
from kitting.ipp.client import IppPrinter
from kitting.ipp.statuses import KEYWORDS, keyword
from kitting.web.messages import sentence
from tests.kitting.ipp.asking import BOX, PDF, fault_of, hurried
from tests.kitting.ipp.fake_http import FAULTS
from tests.kitting.ipp.fake_printer import (
    CANCEL_JOB,
    GET_JOB,
    GET_JOBS,
    GET_PRINTER,
    PRINT_JOB,
    VALIDATE_JOB,
    FakePrinter,
)
from tests.patience import PATIENCE_S, until

TIMED = {"stall", "slow", "drip"}

# fault, code, words of the sentence, jobs that the printer then has
ENDS = [
    ("close", "printer_answer_lost", "the connection was cut", 0),
    ("stall", "printer_answer_lost", "it took too long", 0),
    ("lose", "printer_answer_lost", "the connection was cut", 1),
    ("slow", "printer_answer_lost", "it took too long", 1),
    ("drip", "printer_answer_lost", "it took too long", 1),
    ("garbage", "printer_answer_wrong", "a length is below 0", 1),
    ("html", "printer_answer_wrong", "it is text/html and not IPP", 1),
    ("truncated", "printer_answer_wrong", "it is cut short", 1),
    ("short", "printer_answer_wrong", "it is cut short", 1),
    ("huge", "printer_answer_wrong", "it is too long", 1),
    ("long", "printer_answer_wrong", "it is too long", 1),
    ("wrong_id", "printer_answer_wrong", "it answers another request", 1),
    ("no_groups", "printer_answer_wrong", "it gives the job no number", 1),
]


def client_of(printer: FakePrinter) -> IppPrinter:
    return IppPrinter(read_address(printer.url), user="packer", timeout=PATIENCE_S)


@pytest.mark.parametrize(("kind", "code", "words", "jobs"), ENDS)
def test_a_fault_after_sending_may_have_printed(
    printer: FakePrinter,
    monkeypatch: pytest.MonkeyPatch,
    kind: str,
    code: str,
    words: str,
    jobs: int,
) -> None:
    monkeypatch.setattr(transport, "PATIENCE", 2)
    if kind in TIMED:
        hurried(monkeypatch, transport._send, PRINT_JOB)
    client = client_of(printer)
    client.facts()
    printer.fail(kind, PRINT_JOB, seconds=2)
    fault = fault_of(client.send, PDF, name="box 7", media=BOX)
    assert (fault.code, fault.sent, fault.again) == (code, True, False)
    assert words in sentence(fault)
    assert until(lambda: PRINT_JOB in [one.code for one in printer.requests])
    assert until(lambda: [one.pdf for one in printer.jobs] == [PDF] * jobs)
    found = client.find("box 7", since_up=None)
    assert (found.job is not None) is bool(jobs)


def test_every_fault_of_the_printer_is_among_them() -> None:
    assert {kind for kind, *_ in ENDS} | {"other_job", "redirect", "status"} == FAULTS


ASKING: dict[int, Callable[[IppPrinter], object]] = {
    GET_PRINTER: lambda client: client.facts(),
    VALIDATE_JOB: lambda client: client.validate(name="box 7", media=BOX),
    GET_JOB: lambda client: client.job(1),
    GET_JOBS: lambda client: client.find("box 7", since_up=1),
    CANCEL_JOB: lambda client: client.cancel(1),
}


@pytest.mark.parametrize("operation", ASKING)
@pytest.mark.parametrize("kind", ["close", "stall", "garbage", "huge", "wrong_id"])
def test_what_prints_nothing_may_be_asked_again(
    printer: FakePrinter, monkeypatch: pytest.MonkeyPatch, operation: int, kind: str
) -> None:
    printer.remember()
    if kind in TIMED:
        hurried(monkeypatch, transport._send, operation)
    client = client_of(printer)
    printer.fail(kind, operation)
    fault = fault_of(ASKING[operation], client)
    assert (fault.sent, fault.again) == (False, True)


@pytest.mark.parametrize(
    ("status", "code", "sent", "again", "words"),
    [
        (401, "printer_answer_wrong", False, False, "password"),
        (403, "printer_answer_wrong", False, False, "lets nobody in"),
        (404, "printer_answer_wrong", False, False, "no printer under this path"),
        (426, "printer_answer_wrong", False, False, "ipps://"),
        (418, "printer_answer_wrong", False, False, "HTTP 418"),
        (204, "printer_answer_wrong", False, False, "HTTP 204"),
        # What a gateway says tells nothing of what the printer behind it did.
        (500, "printer_answer_wrong", True, False, "HTTP 500"),
        (502, "printer_answer_wrong", True, False, "HTTP 502"),
        (504, "printer_answer_wrong", True, False, "HTTP 504"),
        # RFC 9110 §15.6.4: unable to handle the request for now.
        (503, "printer_busy", False, True, "HTTP 503"),
    ],
)
def test_an_http_status_is_told(
    printer: FakePrinter,
    status: int,
    code: str,
    sent: bool,
    again: bool,
    words: str,
) -> None:
    client = client_of(printer)
    printer.fail("status", PRINT_JOB, status=status)
    fault = fault_of(client.send, PDF, name="box 7", media=BOX)
    assert (fault.code, fault.sent, fault.again) == (code, sent, again)
    assert words in sentence(fault)


@pytest.mark.parametrize("operation", [GET_PRINTER, PRINT_JOB])
def test_a_redirect_is_told_and_not_followed(
    printer: FakePrinter, operation: int
) -> None:
    client = client_of(printer)
    printer.fail("redirect", operation)
    fault = fault_of(client.send, PDF, name="box 7", media=BOX)
    assert (fault.code, fault.sent, fault.again) == ("printer_redirects", False, False)
    assert fault.params["to"] == f"http://127.0.0.1:{printer.port}/x"
    asked = [one.code for one in printer.requests]
    assert asked.count(operation) == 1
    assert printer.jobs == []


# RFC 8011 Appendix B.1.5: service-unavailable, device-error, temporary-error,
# not-accepting-jobs, busy; too-many-jobs was registered since.
BUSY = {0x0502, 0x0504, 0x0505, 0x0506, 0x0507, 0x050B}


# RFC 8011 Appendix B.
@pytest.mark.parametrize("status", [one for one in KEYWORDS if one > 0xFF])
def test_a_refusal_is_told_by_its_keyword(printer: FakePrinter, status: int) -> None:
    client = client_of(printer)
    client.facts()
    times = 2 if status == 0x0503 else 1  # Its first is answered in an older version.
    printer.refuse(status, PRINT_JOB, said="Not today.", times=times)
    fault = fault_of(client.send, PDF, name="box 7", media=BOX)
    codes = {0x040A: "printer_no_pdf", **dict.fromkeys(BUSY, "printer_busy")}
    assert fault.code == codes.get(status, "printer_refused")
    assert (fault.sent, fault.again) == (False, status in BUSY)
    if status != 0x040A:
        assert KEYWORDS[status] in sentence(fault)
        assert "Not today." in sentence(fault)
    assert printer.jobs == []
    client.send(PDF, name="box 7", media=BOX)


def test_attributes_that_a_refusal_is_about_are_named(printer: FakePrinter) -> None:
    client = client_of(printer)
    printer.refuse(0x040B, PRINT_JOB, names=("copies", "x" * 100 + "\x07"))
    fault = fault_of(client.send, PDF, name="box 7", media=BOX)
    assert fault.code == "printer_refused"
    assert str(fault.params["names"]).startswith("copies, xxx")
    assert str(fault.params["names"]).isprintable()


@pytest.mark.parametrize(
    ("status", "shown"),
    [
        (0x0480, "client-error 0x0480"),
        (0x05FF, "server-error 0x05FF"),
        (0x0301, "redirection 0x0301"),
        (0x0099, "successful 0x0099"),
    ],
)
def test_an_unknown_status_is_of_its_class(status: int, shown: str) -> None:
    # RFC 8011 Appendix B: clients must understand the class of any status.
    assert keyword(status) == shown


def test_a_success_of_an_unknown_number_is_a_success(printer: FakePrinter) -> None:
    client = client_of(printer)
    printer.refuse(0x0080, CANCEL_JOB)
    client.cancel(1)
    assert [one.code for one in printer.requests] == [CANCEL_JOB]
