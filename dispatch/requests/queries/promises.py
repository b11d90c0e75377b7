"""Boxes that are promised to requests: how many of which size, and how many are left.

A promise is a number of boxes, not a list of them: what is voided or held is replaced by
the next box of its size. It is open as far as no box is loaded that keeps it, it was not
released, and its request still lacks as much.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from django.db.models import Count, F, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from dispatch.consignees.queries import stays
from dispatch.domain.fetching import no_more_than
from dispatch.domain.needs import RequestStage
from dispatch.models import Promise, PromiseRelease, ShipmentBox


@dataclass(frozen=True, slots=True)
class Open:
    """What is open of a promise."""

    promise: int
    allotment: str
    """The number of the act that made it."""
    request_id: int
    request: str
    who: str
    """The name of the consignee, or of the one that it was merged with."""
    whom: str
    """Its code."""
    product_id: int
    sets: int
    """Sets in a box of its size."""
    boxes: int
    """How many are still to be loaded, 1 or more."""


@dataclass(frozen=True)
class Promises:
    """What is promised, the oldest first."""

    rows: Sequence[Open]

    @cached_property
    def _by_request(self) -> dict[int, list[Open]]:
        found: dict[int, list[Open]] = defaultdict(list)
        for row in self.rows:
            found[row.request_id].append(row)
        return dict(found)

    def to(self, request_id: int) -> Counter[int]:
        """Boxes that are promised to a request, by size in sets."""
        return _by_size(self._by_request.get(request_id, ()))

    def of(self, request_id: int, sets: int) -> Open | None:
        """The oldest promise to a request of boxes of a size."""
        own = self._by_request.get(request_id, ())
        return next((row for row in own if row.sets == sets), None)

    def sets_to(self, request_id: int) -> int:
        """Sets that are promised to a request."""
        return sum(row.sets * row.boxes for row in self._by_request.get(request_id, ()))

    def total(
        self, product_id: int | None = None, *, but: Collection[int] = ()
    ) -> Counter[int]:
        """Boxes that are promised, by size in sets.

        Args:
            product_id: Of which product; None where all are of one.
            but: Requests that are left out.

        Returns:
            Size to boxes.
        """
        return _by_size(
            row
            for row in self.rows
            if product_id in (None, row.product_id) and row.request_id not in but
        )


def _by_size(rows: Iterable[Open]) -> Counter[int]:
    found: Counter[int] = Counter()
    for row in rows:
        found[row.sets] += row.boxes
    return found


def remaining(promises: QuerySet[Promise]) -> QuerySet[Any, Any]:
    """Promises with what is neither loaded nor released.

    Args:
        promises: The promises.

    Returns:
        Them, with ``loaded``, ``released`` and ``remains``, boxes.
    """
    loads = ShipmentBox.objects.filter(promise=OuterRef("pk"), live=True).order_by()
    gone = PromiseRelease.objects.filter(promise=OuterRef("pk")).order_by()
    return promises.annotate(
        loaded=_counted(loads, Count("pk")), released=_counted(gone, Sum("boxes"))
    ).annotate(remains=F("boxes") - F("loaded") - F("released"))


def _counted(rows: QuerySet[Any, Any], what: Count | Sum) -> Coalesce:
    by = rows.values("promise").annotate(n=what)
    return Coalesce(Subquery(by.values("n")[:1]), 0)


def open_promises(products: Iterable[int] | None = None) -> Promises:
    """Read what is promised of some products.

    Args:
        products: Their ids; left out for all.

    Returns:
        The promises to open requests, as far as these lack what was promised.
    """
    promises = Promise.objects.filter(line__request__stage=RequestStage.OPEN)
    if products is not None:
        promises = promises.filter(size__product__in=set(products))
    given = ShipmentBox.objects.filter(
        request=OuterRef("line__request"), live=True, back=False
    )
    sets = given.order_by().values("request").annotate(n=Sum("box__size__sets"))
    lacks = F("line__request__sets") - Coalesce(Subquery(sets.values("n")), 0)
    rows = (
        remaining(promises)
        .filter(remains__gt=0)
        .annotate(lacks=lacks)
        .order_by("pk")
        .values_list(
            *(
                "pk",
                "line__allotment__number",
                "line__request",
                "line__request__number",
            ),
            *(stays(what, "line__request__consignee") for what in ("name", "code")),
            *("size__product", "size__sets", "remains", "lacks"),
        )
    )
    return Promises(_cut_down([(Open(*row[:-1]), row[-1]) for row in rows]))


def _cut_down(found: Sequence[tuple[Open, int]]) -> list[Open]:
    """Leave of each request's promises no more than it lacks, of the oldest first."""
    whole = Promises([row for row, _lacks in found])
    lacking = {row.request_id: lacks for row, lacks in found}
    kept = {
        pk: Counter(no_more_than(lacks, whole.to(pk))) for pk, lacks in lacking.items()
    }
    left = []
    for row, _lacks in found:
        there = kept[row.request_id]
        boxes = min(row.boxes, there[row.sets])
        there[row.sets] -= boxes
        if boxes:
            left.append(replace(row, boxes=boxes))
    return left
