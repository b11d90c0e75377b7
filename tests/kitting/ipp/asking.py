"""What the tests of the client ask with, and how they look at what came of it."""

from __future__ import annotations

from typing import Any

import pytest

from kitting.domain.errors import PrinterFault
from kitting.ipp.facts import Media
from kitting.ipp.message import Message
from kitting.web.messages import sentence
from tests.kitting.ipp.fake_printer import FakePrinter

BOX = Media(100_000, 150_000)
BAG = Media(70_000, 40_000)
PDF = b"%PDF-1.7\n" + bytes(range(256)) * 400


def fault_of(call: Any, *args: Any, **named: Any) -> PrinterFault:
    with pytest.raises(PrinterFault) as caught:
        call(*args, **named)
    # Its own sentence, not the one for codes without.
    assert f"({caught.value.code})" not in sentence(caught.value)
    return caught.value


def last(printer: FakePrinter, operation: int) -> Message:
    return [one for one in printer.requests if one.code == operation][-1]
