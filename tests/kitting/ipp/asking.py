"""What the tests of the client ask with, and how they look at what came of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import wraps
from typing import Any

import pytest

from kitting.domain.errors import PrinterFault
from kitting.ipp import transport
from kitting.ipp.facts import Media
from kitting.ipp.message import Message
from kitting.web.messages import sentence
from tests.kitting.ipp.fake_printer import FakePrinter

BOX = Media(100_000, 150_000)
BAG = Media(70_000, 40_000)
PDF = b"%PDF-1.7\n" + bytes(range(256)) * 400


QUICK = 0.1
"""Seconds after which a test that waits for it gives a step up."""


def hurried(
    patch: pytest.MonkeyPatch, after: Callable[..., Any], operation: int | None = None
) -> None:
    """Let all have their time up to a step of an exchange, and little what comes then.

    So nothing else is given up, however slow the machine is.

    Args:
        patch: Undoes it when the test ends.
        after: The function of the transport that does the step.
        operation: Only in exchanges of this operation.
    """

    @wraps(after)
    def then_hurry(*args: Any) -> Any:
        done = after(*args)
        if operation is None or args[2][2:4] == operation.to_bytes(2):
            clock = args[-1]
            clock.step = QUICK
            clock.end = time.monotonic() + QUICK * transport.PATIENCE
        return done

    patch.setattr(transport, after.__name__, then_hurry)


def fault_of(call: Any, *args: Any, **named: Any) -> PrinterFault:
    with pytest.raises(PrinterFault) as caught:
        call(*args, **named)
    # Its own sentence, not the one for codes without.
    assert f"({caught.value.code})" not in sentence(caught.value)
    return caught.value


def last(printer: FakePrinter, operation: int) -> Message:
    return [one for one in printer.requests if one.code == operation][-1]
