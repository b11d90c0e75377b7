"""What a consignee asks for: how much it needs it, and how it asked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import IntEnum, StrEnum
from typing import Final

MOST_SETS: Final = 100_000
"""No request is larger, and no box."""


class Tier(IntEnum):
    """How far a consignee is from having none left; a lower one comes first."""

    NONE_LEFT = 1
    RUNS_OUT = 2
    """Within three days."""
    STOCK = 3


class Way(StrEnum):
    """How a request came in."""

    TELEPHONE = "telephone"
    MAIL = "mail"
    LETTER = "letter"
    VISIT = "visit"
    FILE = "file"


class RequestStage(StrEnum):
    """A request is open until all its sets are sent, or the rest is cancelled."""

    OPEN = "open"
    SERVED = "served"
    CANCELLED = "cancelled"


LONGEST: Final = {"caller": 80, "reference": 40, "note": 200}
"""Characters that what is written of a request may have."""


@dataclass(frozen=True)
class Asked:
    """What is asked for, and how it came in."""

    sets: int
    tier: int
    """As in ``Tier``."""
    way: str
    """As in ``Way``."""
    needed_by: date | None = None
    caller: str = ""
    """Who asked, at the consignee."""
    reference: str = ""
    """The consignee's own number for it."""
    note: str = ""
    point: str = ""
    """Which of its delivery points or wards needs it; empty for any."""
