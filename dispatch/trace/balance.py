"""The balance of a lot to the piece, from sums that the database makes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.db.models import Case, Q, Sum, Value, When

from dispatch.domain.trace import BagCount, Balance, Line, Move, balance
from kitting.domain.stages import BoxStage, MovementKind
from kitting.models import Bag, BoxLine, Lot, Movement

SIGN = Case(
    When(delta__gt=0, then=Value(1)),
    When(delta__lt=0, then=Value(-1)),
    default=Value(0),
)
"""Which way a movement changed its bag; 0 where the pieces were in a box."""


def balances_of(lots: Iterable[Lot]) -> list[Balance]:
    """Balance several lots to the piece, in three queries however many there are.

    Args:
        lots: The lots.

    Returns:
        Where the pieces of each are, in the same order.
    """
    lots = list(lots)
    if not lots:
        return []
    ids = [lot.pk for lot in lots]
    moves = [
        Move(lot, 0, None, MovementKind(kind), total, sign)
        for lot, kind, sign, total in Movement.objects.filter(lot__in=ids)
        .values_list("lot", "kind", SIGN)
        .annotate(total=Sum("pieces"))
        .order_by("lot", "kind")
    ]
    bags = Bag.objects.filter(lot__in=ids).values_list("pk", "lot", "pieces")
    counts = [BagCount(*bag) for bag in bags]
    stages = BoxLine.objects.filter(lot__in=ids).values_list("lot", "box__stage")
    lines = [
        Line(stage, 0, lot, None, total)
        for lot, stage, total in stages.annotate(total=Sum("pieces")).order_by()
    ]
    known = {line.box: BoxStage(str(line.box)) for line in lines}
    return [
        balance(lot.pk, moves, counts, lines, known, unit=lot.part.unit) for lot in lots
    ]


def balance_of(
    lot: Lot,
    bag: Bag | None = None,
    *,
    bags: Iterable[Bag] | None = None,
    in_stage: Mapping[str, int] | None = None,
) -> Balance:
    """Balance a lot, or one bag of it, to the piece.

    Sums go into the same arithmetic that tests run over single rows: it does not
    matter to it whether a movement stands for one row or for many of its kind.

    Args:
        lot: The lot.
        bag: One of its bags; None for the whole lot.
        bags: All of these bags, where they are read already.
        in_stage: Their pieces in boxes by stage of the box, where they are read already.

    Returns:
        Where its pieces are, in the lot's unit.
    """
    here = Q(lot=lot.pk) if bag is None else Q(bag=bag.pk)
    moves = [
        Move(
            lot=lot.pk,
            bag=0,
            box=None,
            kind=MovementKind(kind),
            pieces=total,
            delta=sign,
        )
        for kind, sign, total in Movement.objects.filter(here)
        .values_list("kind", SIGN)
        .annotate(total=Sum("pieces"))
        .order_by("kind")
    ]
    if bags is None:
        bags = Bag.objects.filter(lot=lot.pk) if bag is None else [bag]
    if in_stage is None:
        stages = BoxLine.objects.filter(here).values_list("box__stage")
        in_stage = dict(stages.annotate(total=Sum("pieces")).order_by())
    return balance(
        lot.pk,
        moves,
        [BagCount(row.pk, lot.pk, row.pieces) for row in bags],
        [Line(stage, 0, lot.pk, None, total) for stage, total in in_stage.items()],
        {stage: BoxStage(stage) for stage in in_stage},
        unit=lot.part.unit,
    )
