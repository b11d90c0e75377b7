"""Counts of bags that a new one begins from."""

from __future__ import annotations

from kitting.models import Bag, Count
from kitting.models.lots import CountedBy


def last_weighing(bag: Bag) -> Count | None:
    """The newest count by weight of the same part: its reference and scale."""
    found = Count.objects.filter(
        counted_by=CountedBy.WEIGHT, bag__lot__part=bag.lot.part_id
    )
    return found.order_by("-pk").first()
