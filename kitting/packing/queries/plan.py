"""How many boxes are wanted on a day, and how far that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import Count, Q, QuerySet

from kitting.domain.stages import BoxStage
from kitting.ledger.kept import KeptLines
from kitting.models import Box, BoxSize, PackPlan

MOST: Final = 9_999
"""Boxes of one size that can be wanted on one day."""
NO_PLAN: Final = "none"


@dataclass(frozen=True)
class Planned:
    """A box size on a day's plan."""

    size: BoxSize
    wanted: int
    """0 where none is."""
    packed: int
    """Boxes that were closed on that day, at all benches, and not voided since."""

    to_pack: int
    """Boxes that are still to be packed; more than were wanted are no debt."""


def wanted_on(day: date) -> dict[int, int]:
    """Boxes that are wanted on a day.

    Args:
        day: The day.

    Returns:
        By the id of the size; only sizes of which some are wanted.
    """
    return dict(_WANTED(day))


_WANTED: Final = KeptLines(
    lambda day: PackPlan.objects.filter(day=day).values_list("size", "boxes")
)


def packed_on(day: date) -> dict[int, int]:
    """Boxes that were closed on a day, at all benches, and not voided since.

    Args:
        day: The day.

    Returns:
        By the id of the size; only sizes of which some were.
    """
    return dict(_PACKED(day))


def _packed(day: date) -> QuerySet[Box, tuple[int, int]]:
    boxes = Box.objects.filter(packed_on=day).exclude(stage=BoxStage.VOIDED)
    counted = boxes.order_by().values("size").annotate(boxes=Count("pk"))
    return counted.values_list("size", "boxes")


_PACKED: Final = KeptLines(_packed)


def still_to_pack(
    wanted: Mapping[int, int], packed: Mapping[int, int]
) -> dict[int, int]:
    """Boxes that are wanted and were not packed yet.

    Args:
        wanted: Boxes that are wanted, by the id of their size.
        packed: Boxes that were packed, likewise.

    Returns:
        By the id of the size, of those that are wanted.
    """
    return {size: max(0, many - packed.get(size, 0)) for size, many in wanted.items()}


def plan_of(day: date) -> list[Planned]:
    """A day's plan: every size that can be packed, and those that are on it besides.

    Args:
        day: The day.

    Returns:
        By product and sets.
    """
    wanted, packed = wanted_on(day), packed_on(day)
    left = still_to_pack(wanted, packed)
    packable = Q(active=True, product__recipes__in_force=True)
    sizes = BoxSize.objects.filter(packable | Q(pk__in=[*wanted])).distinct()
    return [
        Planned(size, *(each.get(size.pk, 0) for each in (wanted, packed, left)))
        for size in sizes.select_related("product").order_by("product__code", "sets")
    ]


def mark_of_plan(wanted: Mapping[int, int]) -> str:
    """What a page remembers of a plan, so that a change of somebody else is noticed.

    Args:
        wanted: Boxes by the id of their size.

    Returns:
        The mark; never empty.
    """
    said = sorted(wanted.items())
    return ".".join(f"{size}-{boxes}" for size, boxes in said) or NO_PLAN
