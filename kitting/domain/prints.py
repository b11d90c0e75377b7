"""What printing is told: where labels come out, and what became of the ones before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

DESTROYED: Final = "destroyed"
"""The label before was declared to be destroyed, or to be so when it turns up."""

SCANNED: Final = "scanned"
"""The label before was scanned: whoever prints has it in hand."""


TEST: Final = "test"
"""As the print log names a test page: it labels nothing, and its number is the code of
the stock that it tries."""


@dataclass(frozen=True)
class Onto:
    """Where labels are to come out."""

    printer: str = ""
    """Code of a printer; empty for a PDF."""

    stock: str = ""
    """Code of the stock of a PDF; empty for one label a page of just its size."""

    start: int = 1
    """Position of the first label on the first sheet."""


@dataclass(frozen=True)
class Again:
    """What a reprint needs to be told."""

    reason: str = ""
    first: str = ""
    """``DESTROYED``, or what the scanner read off the label before."""
