"""Places: where boxes were put, and that bags on a carrier go where it goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dispatch.proving.streams import grouped, rows, side_by_side
from kitting.domain.stages import BagStage
from kitting.models import Bag, Box, BoxPut
from kitting.models.catalogue import PlaceKind

if TYPE_CHECKING:
    from dispatch.proving.faults import Tally

BAG = Bag._meta.db_table
BOX = Box._meta.db_table
PUT = BoxPut._meta.db_table


def boxes(tally: Tally) -> None:
    """Every box stands where it was put last, and nowhere where it was never put.

    Args:
        tally: Where puts are counted and faults noted.
    """
    every = Box.objects.order_by("pk").values_list("pk", "place_id")
    puts = BoxPut.objects.order_by("box_id", "pk").values_list("box_id", "place_id")
    for pk, (box, made) in side_by_side(grouped(rows(every)), grouped(rows(puts))):
        tally.count += len(made)
        if not box:
            tally.add(PUT, pk, "A box was put away that is not there.", "a box", "")
        for (place,) in box:
            last = made[-1][0] if made else None
            words = "The box was put at another place last."
            tally.same(BOX, pk, words, last or "none", place or "none")


def carriers(tally: Tally) -> None:
    """A bag on a carrier is full, open at no bench, and stands where its carrier does.

    While it is on the line, or until it is fetched from there, it stands at the line.

    Args:
        tally: Where bags on carriers are counted and faults noted.
    """
    loaded = Bag.objects.filter(carrier__isnull=False).order_by("pk")
    for pk, stage, place, kind, where, opened in rows(
        loaded.values_list(
            "pk", "stage", "place_id", "place__kind", "carrier__place_id", "open_at"
        )
    ):
        tally.count += 1
        if stage == BagStage.USED_UP:
            tally.add(BAG, pk, "An empty bag is on no carrier.", "none", "a carrier")
        if opened is not None:
            words = "A bag that is open at a bench is on no carrier."
            tally.add(BAG, pk, words, "none", "a carrier")
        if kind != PlaceKind.LINE:
            words = "A bag on a carrier stands where the carrier stands."
            tally.same(BAG, pk, words, where or "none", place or "none")
