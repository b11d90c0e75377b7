"""Lamps as the pages show them."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.models import Lamp, LampHours

WARN_SHARE = 95
"""From so many percent of the hours it is rated for a lamp is spoken of. Common practice:
of 9,000 h that leaves 450, time enough to order another."""


@dataclass(frozen=True)
class LampLine:
    """A lamp and how long it has burnt."""

    lamp: Lamp
    read: LampHours | None
    """Its last reading."""

    @property
    def over(self) -> bool:
        """Whether it has burnt for longer than it is rated."""
        rated = self.lamp.rated_hours
        return bool(rated and self.read and self.read.hours >= rated)

    @property
    def soon(self) -> bool:
        """Whether it will soon have burnt for as long as it is rated."""
        rated = self.lamp.rated_hours
        near = rated and self.read and self.read.hours * 100 >= rated * WARN_SHARE
        return bool(near) and not self.over


def lamps(line_id: int | None = None, *, burning: bool = True) -> list[LampLine]:
    """Lamps by line and name, the newest of a name first.

    Args:
        line_id: Of one line; None for all.
        burning: Only those that were not taken out.

    Returns:
        Lamps with their last reading.
    """
    found = Lamp.objects.select_related("line").prefetch_related("hours")
    if line_id is not None:
        found = found.filter(line=line_id)
    if burning:
        found = found.filter(taken_out_on__isnull=True)
    return [
        LampLine(
            lamp,
            max(lamp.hours.all(), key=lambda row: (row.on, row.pk), default=None),
        )
        for lamp in found.order_by("line__code", "name", "-fitted_on", "-pk")
    ]


def lamps_to_see_to() -> list[LampLine]:
    """Lamps at the end of the hours they are rated for, or near it.

    Returns:
        Those that were not taken out, by line and name, those over first.
    """
    read = LampHours.objects.filter(
        lamp__taken_out_on__isnull=True, lamp__rated_hours__isnull=False
    ).select_related("lamp__line")
    by = ("lamp__line__code", "lamp__name", "-lamp__fitted_on", "-lamp", "on", "pk")
    last = {row.lamp_id: LampLine(row.lamp, row) for row in read.order_by(*by)}
    burning = [line for line in last.values() if line.over or line.soon]
    return sorted(burning, key=lambda line: not line.over)
