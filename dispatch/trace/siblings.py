"""Lots that are like one: what is wrong with it may be wrong with them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Count, IntegerField, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from kitting.models import Lot, LotOrigin, RunBag

ALIKE: Final[dict[str, Callable[[Lot], dict[str, Any]]]] = {
    "day": lambda lot: {"source_key": lot.source_key, "made_on": lot.made_on},
    "material": lambda lot: {
        "pk__in": LotOrigin.objects.filter(
            from_lot__in=LotOrigin.objects.filter(lot=lot.pk).values("from_lot")
        ).values("lot")
    },
    "run": lambda lot: {
        "pk__in": RunBag.objects.filter(
            run__in=RunBag.objects.filter(bag__lot=lot.pk).values("run")
        ).values("bag__lot")
    },
    "method": lambda lot: {"method": lot.method_id},
    "revision": lambda lot: {"revision": lot.revision_id},
    "source": lambda lot: {"source_key": lot.source_key},
}
"""In what lots may be alike, and the filter for it, the narrowest first: made at one
source on one day; of one sheet, spool or other lot; disinfected in one run; made by one
method; of one revision; from one source."""
MOST: Final = 200
"""Lots that one page traces together."""


@dataclass(frozen=True)
class Alike:
    """How many lots are like one, and in what."""

    kind: str
    lots: int
    """Besides itself."""

    @property
    def shown(self) -> bool:
        """Whether one page can trace them all."""
        return self.lots < MOST


def alike(lot: Lot) -> list[Alike]:
    """In what other lots are like this one, in one query.

    Args:
        lot: The lot.

    Returns:
        One for each of ``ALIKE`` in which any is, in that order.
    """
    asked = [
        Coalesce(
            Subquery(
                _others(lot, kind)
                .order_by()
                .annotate(one=Value(1))
                .values("one")
                .annotate(many=Count("pk"))
                .values("many"),
                output_field=IntegerField(),
            ),
            0,
        )
        for kind in ALIKE
    ]
    found = Lot.objects.filter(pk=lot.pk).order_by().values_list(*asked).get()
    return [Alike(kind, many) for kind, many in zip(ALIKE, found, strict=True) if many]


def lots_alike(lot: Lot, kind: str) -> QuerySet[Any, int]:
    """The lots that are like one.

    Args:
        lot: The lot.
        kind: In what: one of ``ALIKE``.

    Returns:
        Their ids, at most ``MOST``, oldest first.
    """
    return _others(lot, kind).order_by("pk").values_list("pk", flat=True)[:MOST]


def _others(lot: Lot, kind: str) -> QuerySet[Lot]:
    found = Lot.objects.filter(**ALIKE[kind](lot)).exclude(pk=lot.pk)
    return found if kind != "method" or lot.method_id else found.none()
