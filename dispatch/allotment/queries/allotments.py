"""What allotments decided, and what is still open of each."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, QuerySet, Sum
from django.db.models.functions import Coalesce

from dispatch.domain.needs import RequestStage
from dispatch.models import Allotment, AllotmentLine, Promise, PromiseRelease
from dispatch.requests.queries.promises import Open, Promises, remaining


@dataclass(frozen=True)
class Kept:
    """A promise of so many boxes of a size, and how far it is kept."""

    sets: int
    proposed: int
    boxes: int
    loaded: int
    """On a shipment, or gone with one."""
    released: int
    open: int
    """Still to be loaded."""


@dataclass(frozen=True)
class Decided:
    """What an allotment decided of a request."""

    line: AllotmentLine
    promises: tuple[Kept, ...]
    alike: int
    """How many requests of its consignee shared as one with it."""

    @property
    def sets(self) -> int:
        """Sets that were promised to it."""
        return sum(each.sets * each.boxes for each in self.promises)

    @property
    def by_hand(self) -> int:
        """Sets more than were proposed; below 0 for fewer."""
        return sum(each.sets * (each.boxes - each.proposed) for each in self.promises)

    @property
    def open(self) -> int:
        """Boxes that are still to be loaded for it."""
        return sum(each.open for each in self.promises)


def with_totals(rows: QuerySet[Allotment]) -> QuerySet[Any, Any]:
    """Allotments with what they promised.

    Args:
        rows: The allotments.

    Returns:
        Them, newest first, with their product and act, ``boxes``, ``sets`` and
        ``requests`` that got something.
    """
    boxes = F("lines__promises__boxes")
    return (
        rows.select_related("product", "operation")
        .annotate(
            boxes=Coalesce(Sum(boxes), 0),
            sets=Coalesce(Sum(boxes * F("lines__promises__size__sets")), 0),
            requests=Count("lines", distinct=True),
        )
        .order_by("-pk")
    )


def open_by_allotment(promises: Promises) -> dict[str, int]:
    """Boxes that are still promised, by the number of the allotment."""
    found: Counter[str] = Counter()
    for row in promises.rows:
        found[row.allotment] += row.boxes
    return dict(found)


def open_of(row: Allotment, promises: Promises, request: str = "") -> list[Open]:
    """What is open of an allotment.

    Args:
        row: The allotment.
        promises: Those of its product.
        request: The number of the request that is asked for; empty for all.

    Returns:
        The open promises.
    """
    return [
        each
        for each in promises.rows
        if each.allotment == row.number and request in ("", each.request)
    ]


def unkept(row: Allotment, request: str = "") -> QuerySet[Any, Any]:
    """The promises of an allotment that are not kept or released wholly.

    Args:
        row: The allotment.
        request: The number of the request that is asked for; empty for all.

    Returns:
        The promises to open requests, with ``remains``.
    """
    promises = Promise.objects.filter(
        line__allotment=row, line__request__stage=RequestStage.OPEN
    )
    if request:
        promises = promises.filter(line__request__number=request)
    return remaining(promises).filter(remains__gt=0).order_by("pk")


def decided(row: Allotment, promises: Promises) -> list[Decided]:
    """What an allotment decided of each request, in the order in which it was shared.

    Args:
        row: The allotment.
        promises: Those of its product that are open now.

    Returns:
        The requests.
    """
    is_open = {each.promise: each.boxes for each in promises.rows}
    found: dict[int, list[Kept]] = defaultdict(list)
    made = remaining(Promise.objects.filter(line__allotment=row))
    for each in made.select_related("size").order_by("line", "-size__sets"):
        found[each.line_id].append(
            Kept(
                each.size.sets,
                each.proposed,
                each.boxes,
                each.loaded,
                each.released,
                is_open.get(each.pk, 0),
            )
        )
    lines = list(row.lines.select_related("request", "whom").order_by("pk"))
    alike = Counter((line.whom_id, line.tier) for line in lines)
    return [
        Decided(line, tuple(found[line.pk]), alike[line.whom_id, line.tier])
        for line in lines
    ]


def releases_of(row: Allotment) -> QuerySet[PromiseRelease]:
    """What was released of an allotment, the newest first."""
    return (
        PromiseRelease.objects.filter(promise__line__allotment=row)
        .select_related("operation", "promise__size", "promise__line__whom")
        .order_by("-pk")
    )
