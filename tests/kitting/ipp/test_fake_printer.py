"""The scripted printer notices what a client does wrong, or it would prove nothing."""

from __future__ import annotations

from contextlib import suppress

import pytest

from kitting.domain.errors import PrinterFault
from kitting.ipp.address import read_address
from kitting.ipp.codec import encode
from kitting.ipp.message import Group, Message, Section, Tag
from kitting.ipp.transport import Link, exchange
from tests.kitting.ipp.fake_printer import GET_PRINTER, FakePrinter
from tests.kitting.ipp.fake_values import attribute

CHARSET = attribute("attributes-charset", Tag.CHARSET, "utf-8")
LANGUAGE = attribute("attributes-natural-language", Tag.LANGUAGE, "en")
PRINTER = attribute("printer-uri", Tag.URI, "ipp://printer/")
JOB = attribute("job-id", Tag.INTEGER, 1)
LIMIT = attribute("limit", Tag.INTEGER, 1)
OPENED = Group(Section.OPERATION, (CHARSET, LANGUAGE, PRINTER))


# What RFC 8011 §4.1.1, §4.1.4 and §4.1.5 forbid.
@pytest.mark.parametrize(
    ("groups", "complaint"),
    [
        ((), "first group"),
        ((Group(Section.JOB, OPENED.attributes),), "first group"),
        ((Group(Section.OPERATION, (LANGUAGE, CHARSET, PRINTER)),), "first attributes"),
        ((Group(1, (*OPENED.attributes, LIMIT, JOB)),), "job's number"),
        ((Group(1, (*OPENED.attributes, LIMIT, LIMIT)),), "stands twice"),
        ((OPENED, Group(Section.PRINTER)), "another kind"),
    ],
)
def test_it_complains_of_a_request_that_no_printer_should_get(
    groups: tuple[Group, ...], complaint: str
) -> None:
    octets = encode(Message(GET_PRINTER, 1, groups))
    with pytest.raises(AssertionError, match=complaint):
        hand(octets)


def test_it_complains_of_what_is_no_message() -> None:
    with pytest.raises(AssertionError, match="Malformed"):
        hand(b"\2\0\0")


def hand(octets: bytes) -> None:
    with FakePrinter() as printer, suppress(PrinterFault):
        exchange(Link(read_address(printer.url), 10), octets, prints=False)


def test_it_knows_no_other_operations(printer: FakePrinter) -> None:
    link = Link(read_address(printer.url), 10)
    answer = exchange(link, encode(Message(0x0010, 1, (OPENED,))), prints=False)
    assert answer[2:4] == b"\x05\x01"  # server-error-operation-not-supported
