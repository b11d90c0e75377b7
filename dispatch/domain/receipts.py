"""What is said of a shipment once it is there: by whom, and how its boxes were found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final


class Told(StrEnum):
    """How it came to be known."""

    NOTE = "note"
    """By the delivery note that came back."""
    CALL = "call"
    PAGE = "page"
    """As the consignee wrote it on its page, taken over by a clerk."""
    LINK = "link"
    """By the consignee itself, on the page behind a signed link."""


OURS: Final = (Told.NOTE, Told.CALL, Told.PAGE)
"""What somebody of the workshop wrote down; boxes go by it alone."""


class Found(StrEnum):
    """How a box was found."""

    WHOLE = "whole"
    SHORT = "short"
    """Fewer sets are in it than its label says."""
    DAMAGED = "damaged"
    ABSENT = "absent"


MINUTE: Final = timedelta(minutes=1)
"""A note says the minute; what was done within it was not done later."""

LINK_DAYS: Final = range(1, 366)
"""For so many days a consignee's link may be good."""

LONGEST: Final = {"received_by": 80, "told_by": 80, "note": 200}
"""Characters that what is written of a delivery, or of boxes passed on, may have."""


@dataclass(frozen=True)
class BoxSaid:
    """What is said of one box."""

    box_id: int
    found: str
    """As in ``Found``."""
    sets: int | None = None
    """How many were counted in it; None where nobody counted."""
    note: str = ""


@dataclass(frozen=True)
class Said:
    """What is said of a whole delivery."""

    by: str
    """Who received it, at the consignee, as written."""
    at: datetime
    boxes: int
    """How many they counted."""
    way: str = Told.NOTE
    """As in ``Told``."""
    note: str = ""
    of_boxes: tuple[BoxSaid, ...] = ()
    """Of those alone that are not as they were sent."""


def differs(sent: int, said: Said, sets: Mapping[int, int]) -> bool:
    """Tell whether a delivery is another than was sent.

    Args:
        sent: Boxes that were sent.
        said: What is said of it.
        sets: The sets that each box is to hold, by its id.

    Returns:
        Whether somebody has to settle it.
    """
    return said.boxes != sent or any(
        each.found != Found.WHOLE or each.sets not in (None, sets[each.box_id])
        for each in said.of_boxes
    )
