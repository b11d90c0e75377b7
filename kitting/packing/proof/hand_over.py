"""Boxes at the bench where they were begun, or to which they were handed over."""

from __future__ import annotations

from django.db.models import Exists, OuterRef

from kitting.domain.stages import BoxStage
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.newest import register_newest
from kitting.ledger.proof.streams import Ids, grouped, only, rows, side_by_side
from kitting.models import Box, BoxEvent, BoxHanded

BOX = Box._meta.db_table
HANDED = BoxHanded._meta.db_table


def handed(tally: Tally, ids: Ids = None) -> None:
    """Every box that was handed over is at the bench that took it last, and was open.

    Where a box was begun its seal says.

    Args:
        tally: Where hand-overs are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    made = only(BoxHanded.objects.order_by("box_id", "pk"), "box_id", ids)
    every = Box.objects.filter(Exists(BoxHanded.objects.filter(box=OuterRef("pk"))))
    boxes = only(every.order_by("pk"), "pk", ids).values_list("pk", "bench_id")
    acts = made.values_list("box_id", "pk", "before_id", "bench_id")
    for pk, (box, found) in side_by_side(grouped(rows(boxes)), grouped(rows(acts))):
        tally.count += len(found)
        at = None
        for row, before, bench in found:
            if at is not None:
                words = "It was handed over from another bench than had it."
                tally.same(HANDED, row, words, at, before)
            at = bench
        for (bench,) in box:
            words = "It was handed over to another bench last."
            tally.same(BOX, pk, words, at, bench)
    over = BoxEvent.objects.filter(
        box=OuterRef("box"),
        operation__link__seq__lt=OuterRef("operation__link__seq"),
    ).exclude(after=BoxStage.OPEN)
    for pk in made.filter(Exists(over)).values_list("pk", flat=True):
        tally.add(HANDED, pk, "The box was not open any more.", "open", "another stage")


register(("box benches", "hand-overs", handed, BoxHanded))
register_newest("box benches", "hand-overs", handed, (BoxHanded, "box_id"))
