"""Whether the next box of a size starts by itself at a bench."""

from __future__ import annotations

from datetime import date

from django.db.models import Subquery
from django.db.models.functions import Coalesce

from kitting.domain.stages import BoxStage
from kitting.models import Box, BoxEvent, BoxHanded, Operation
from kitting.models.boxes import IN_WORK
from kitting.packing.queries.plan import packed_on, wanted_on
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
    wanted = wanted_on(today).get(box.size_id, 0)
    if not wanted:
        return False
    begun = Box.objects.filter(IN_WORK, size=box.size_id, stage=BoxStage.OPEN)
    there = packed_on(today).get(box.size_id, 0) + begun.exclude(pk=box.pk).count()
    return there < wanted and not _stopped(box)


def _stopped(box: Box) -> bool:
    started = BoxEvent.objects.filter(box=box, nth=1).values("operation")
    came = BoxHanded.objects.filter(box=box).order_by("-pk").values("operation")
    begun = Coalesce(Subquery(came[:1]), Subquery(started))
    since = Operation.objects.filter(bench=box.bench_id, pk__gt=begun)
    return since.filter(name=STOP).exists()
