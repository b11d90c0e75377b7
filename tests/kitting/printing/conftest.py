"""A box label on its way to a printer that does what a test tells it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kitting.domain.prints import Onto
from kitting.models import Box, Printer, PrintJob
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.benches import make_packing
from tests.databases import once_a_module
from tests.factories import sign
from tests.printers import Clock, FakePrinter, make_printer


@pytest.fixture
def fake() -> Iterator[FakePrinter]:
    with FakePrinter() as printer:
        yield printer


@once_a_module
def box() -> Box:
    at = make_packing()
    return factories.make_closed_box(at.size, at.bench)


@once_a_module
def queued(box: Box) -> PrintJob:
    """A box label for a printer; the print before it stays a PDF."""
    make_printer("ipp://printer.example/ipp/print")
    onto = Onto(printer="P1")
    done = print_box_label(box_id=box.pk, onto=onto, sign=sign())
    return PrintJob.objects.get(pk=done.job)


@pytest.fixture
def job(queued: PrintJob, fake: FakePrinter) -> PrintJob:
    """A box label on its way."""
    Printer.objects.update(address=fake.url)
    return queued


@pytest.fixture
def clock(fake: FakePrinter) -> Clock:
    return Clock(printer=fake)
