"""The workshop's own calendar day."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from kitting.models import Workshop


def day_of(workshop: Workshop, now: datetime) -> date:
    """The date on the workshop's wall at a moment.

    Args:
        workshop: The workshop, for its time zone.
        now: An aware moment.

    Returns:
        The local date.
    """
    return now.astimezone(ZoneInfo(workshop.time_zone)).date()


def start_of(workshop: Workshop, day: date) -> datetime:
    """The moment at which a day begins on the workshop's wall.

    Args:
        workshop: The workshop, for its time zone.
        day: The local date.

    Returns:
        An aware moment.
    """
    zone = ZoneInfo(workshop.time_zone)
    return datetime(day.year, day.month, day.day, tzinfo=zone)
