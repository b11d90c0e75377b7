"""What somebody must see to: stopped sources, meters, lamps, and runs measured wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count

from kitting.models import Hold, MeterFault
from kitting.queries.inspection import SourceLine, source_lines
from kitting.queries.meters import LampLine, MeterLine, lamps, meters_to_see_to

if TYPE_CHECKING:
    from datetime import date


@dataclass(frozen=True)
class Spoiled:
    """Runs that are on hold since their meter was found wrong."""

    meter: str
    """Its serial."""
    runs: int


@dataclass(frozen=True)
class ToSeeTo:
    """What keeps the work from going on, or soon will."""

    sources: list[SourceLine]
    """Nothing of that part from that source is accepted."""
    meters: list[MeterLine]
    """Due soon, past due or found wrong."""
    lamps: list[LampLine]
    """At the end of the hours they are rated for, or near it."""
    spoiled: list[Spoiled]

    def __bool__(self) -> bool:
        return bool(self.sources or self.meters or self.lamps or self.spoiled)


def to_see_to(today: date) -> ToSeeTo:
    """Read what somebody must see to.

    Args:
        today: The workshop's day.

    Returns:
        All of it, the most urgent first in each list.
    """
    burning = [lamp for lamp in lamps() if lamp.over or lamp.soon]
    return ToSeeTo(
        sources=[
            line
            for line in source_lines()
            if line.stopped and line.part.sampled and line.part.needs_check
        ],
        meters=meters_to_see_to(today),
        lamps=sorted(burning, key=lambda lamp: not lamp.over),
        spoiled=spoiled_runs(),
    )


def spoiled_runs() -> list[Spoiled]:
    """Count the runs that stand on hold because their meter was found wrong.

    Returns:
        Meters with such runs, in the order of their serials.
    """
    faults = MeterFault.objects.values("operation")
    held = Hold.objects.filter(lift__isnull=True, operation__in=faults)
    counted = held.values("run__meter__serial").annotate(runs=Count("run"))
    found = counted.order_by("run__meter__serial")
    return [Spoiled(row["run__meter__serial"], row["runs"]) for row in found]
