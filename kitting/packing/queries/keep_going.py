"""Whether the next box of a size starts by itself at a bench."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from kitting.domain.stages import BoxStage
from kitting.ledger.kept import Kept
from kitting.models import Box, BoxEvent, BoxHanded, Operation, PackPlan
from kitting.models.boxes import IN_WORK
from kitting.packing.queries.undo import STOP


def goes_on(box: Box, today: date) -> bool:
    """Tell whether another box like the one at a bench starts by itself after it.

    Args:
        box: The box, closed or labelled.
        today: The workshop's day.

    Returns:
        True while the day's plan wants more of its size than are packed, or open at
        other benches, and nobody said that the bench stops after it.
    """
    (read,) = GOES_ON(box.pk, today)
    return (read.there or 0) + (read.begun or 0) < (read.wanted or 0) and not read.stops


def _read(box: int, day: date) -> QuerySet[Any]:
    """A box, with all that this hangs on, by one question."""
    of_size = Box.objects.filter(size=OuterRef("size"))
    wanted = PackPlan.objects.filter(size=OuterRef("size"), day=day)
    there = of_size.filter(packed_on=day).exclude(stage=BoxStage.VOIDED)
    begun = of_size.filter(IN_WORK, stage=BoxStage.OPEN).exclude(pk=OuterRef("pk"))
    this = OuterRef(OuterRef("pk"))
    started = BoxEvent.objects.filter(box=this, nth=1).values("operation")
    came = BoxHanded.objects.filter(box=this).order_by("-pk").values("operation")
    since = Coalesce(Subquery(came[:1]), Subquery(started))
    stops = Operation.objects.filter(bench=OuterRef("bench"), pk__gt=since, name=STOP)
    return Box.objects.filter(pk=box).annotate(
        wanted=Subquery(wanted.values("boxes")),
        there=_count(there),
        begun=_count(begun),
        stops=Exists(stops),
    )


def _count(boxes: QuerySet[Box]) -> Subquery:
    counted = boxes.order_by().values("size").annotate(many=Count("pk"))
    return Subquery(counted.values("many"))


GOES_ON = Kept(_read)
