"""A scripted printer and a client that asks it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kitting.ipp.address import read_address
from kitting.ipp.client import IppPrinter
from tests.kitting.ipp.fake_printer import FakePrinter
from tests.patience import PATIENCE_S


@pytest.fixture
def printer() -> Iterator[FakePrinter]:
    with FakePrinter() as fake:
        yield fake


@pytest.fixture
def client(printer: FakePrinter) -> IppPrinter:
    return IppPrinter(read_address(printer.url), user="packer", timeout=PATIENCE_S)
