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
from kitting.ledger.kept import Kept


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
    if products is None:
        return _promises(_OPEN())
    some = sorted(set(products))
    return _promises(_OPEN(*some) if some else [])


def _promises(rows: Iterable[Any]) -> Promises:
    return Promises(
        _cut_down(
            [
                (Open(row.pk, *(getattr(row, name) for name in _SAID)), row.lacks)
                for row in rows
            ]
        )
    )


_SAID = (
    *("allotment", "request_id", "request", "who", "whom"),
    *("product_id", "its_sets", "remains"),
)
"""What is said of each promise besides its id, in the order of ``Open``."""


def _open(*products: int) -> QuerySet[Any, Any]:
    promises = Promise.objects.filter(line__request__stage=RequestStage.OPEN)
    if products:
        promises = promises.filter(size__product__in=products)
    given = ShipmentBox.objects.filter(
        request=OuterRef("line__request"), live=True, back=False
    )
    sets = given.order_by().values("request").annotate(n=Sum("box__size__sets"))
    left = remaining(promises).filter(remains__gt=0)
    said: QuerySet[Any, Any] = left.annotate(
        lacks=F("line__request__sets") - Coalesce(Subquery(sets.values("n")), 0),
        allotment=F("line__allotment__number"),
        request_id=F("line__request_id"),
        request=F("line__request__number"),
        who=stays("name", "line__request__consignee"),
        whom=stays("code", "line__request__consignee"),
        product_id=F("size__product_id"),
        its_sets=F("size__sets"),
    )
    return said.order_by("pk")


_OPEN = Kept(_open)


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
