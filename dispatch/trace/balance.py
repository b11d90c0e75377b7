"""The balance of a lot to the piece, from sums that the database makes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q, Sum

from dispatch.domain.trace import BagCount, Balance, Line, Move, balance
from kitting.domain.stages import BoxStage, MovementKind
from kitting.models import Bag as BagModel
from kitting.models import BoxLine, Movement

if TYPE_CHECKING:
    from kitting.models import Bag, Lot

__all__ = ["Balance", "balance_of"]


def balance_of(lot: Lot, bag: Bag | None = None) -> Balance:
    """Balance a lot, or one bag of it, to the piece.

    Sums go into the same arithmetic that tests run over single rows: it does not
    matter to it whether a movement stands for one row or for many of its kind.

    Args:
        lot: The lot.
        bag: One of its bags; None for the whole lot.

    Returns:
        Where its pieces are, in the lot's unit.
    """
    here = Q(lot=lot.pk) if bag is None else Q(bag=bag.pk)
    moves = [
        Move(
            lot=lot.pk,
            bag=0,
            box=None,
            kind=MovementKind(row["kind"]),
            pieces=row["total"],
            delta=delta,
        )
        for sign, delta in ((Q(delta__gt=0), 1), (Q(delta__lt=0), -1), (Q(delta=0), 0))
        for row in Movement.objects.filter(here, sign)
        .values("kind")
        .annotate(total=Sum("pieces"))
        .order_by("kind")
    ]
    bags = BagModel.objects.filter(lot=lot.pk) if bag is None else [bag]
    stages = (
        BoxLine.objects.filter(here)
        .values("box__stage")
        .annotate(total=Sum("pieces"))
        .order_by("box__stage")
    )
    in_stage = {row["box__stage"]: row["total"] for row in stages}
    return balance(
        lot.pk,
        moves,
        [BagCount(row.pk, lot.pk, row.pieces) for row in bags],
        [Line(stage, 0, lot.pk, None, total) for stage, total in in_stage.items()],
        {stage: BoxStage(stage) for stage in in_stage},
        unit=lot.part.unit,
    )
