"""Lots: what came in is somewhere, to the piece; their verdicts; what was made of them."""

from __future__ import annotations

from django.db.models import BigIntegerField, Case, Expression, F, Sum, When

from kitting.domain.stages import GONE, IN_HOUSE, BoxStage, MovementKind
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import grouped, rows, side_by_side
from kitting.models import Bag, BoxLine, Lot, LotOrigin, Movement

LOT = Lot._meta.db_table
COUNTED = (*IN_HOUSE, *GONE, BoxStage.RETURNED)
"""Stages of a box whose lines count; a voided box counts by its scrapped movements."""

_K = MovementKind
_CAME = (_K.RECEIVED, _K.FOUND)
_WENT = (_K.SAMPLED, _K.MADE_INTO, _K.SENT_BACK, _K.SCRAPPED, _K.MISSING)


def _signed() -> Expression:
    """Pieces of a movement in its kind's usual direction; a correction counts against."""
    came = When(kind__in=_CAME, delta__lt=0, then=-F("pieces"))
    went = When(kind__in=_WENT, delta__gt=0, then=-F("pieces"))
    return Sum(Case(came, went, default=F("pieces"), output_field=BigIntegerField()))


def lots(tally: Tally) -> None:
    """Balance every lot: received and found is in bags, in boxes, gone or used.

    Args:
        tally: Where lots are counted and faults noted.
    """
    every = Lot.objects.order_by("pk").values_list("pk", "number")
    by_kind = (
        Movement.objects.filter(kind__in=(*_CAME, *_WENT))
        .order_by("lot_id")
        .values("lot_id", "kind")
        .annotate(total=_signed())
        .values_list("lot_id", "kind", "total")
    )
    in_bags = (
        Bag.objects.order_by("lot_id")
        .values("lot_id")
        .annotate(total=Sum("pieces"))
        .values_list("lot_id", "total")
    )
    in_boxes = (
        BoxLine.objects.filter(box__stage__in=COUNTED)
        .order_by("lot_id")
        .values("lot_id")
        .annotate(total=Sum("pieces"))
        .values_list("lot_id", "total")
    )
    streams = [grouped(rows(found)) for found in (every, by_kind, in_bags, in_boxes)]
    for pk, (lot, kinds, bags, boxes) in side_by_side(*streams):
        tally.count += 1
        number = lot[0][0] if lot else "that is not there"
        came = sum(total for kind, total in kinds if kind in _CAME)
        went = sum(total for kind, total in kinds if kind in _WENT)
        here, boxed = (sum(total for (total,) in group) for group in (bags, boxes))
        tally.same(
            LOT,
            pk,
            f"Lot {number} does not balance: {here} in bags, {boxed} in boxes here,"
            f" sent or returned, {went} used, sent back, scrapped or missing.",
            came,
            here + boxed + went,
        )


def origins(tally: Tally) -> None:
    """What a lot was made from left the bags of that material in the same act.

    Args:
        tally: Where origins are counted and faults noted.
    """
    key = ("operation_id", "lot_id")
    used = (
        Movement.objects.filter(kind=MovementKind.MADE_INTO)
        .order_by(*key)
        .values(*key)
        .annotate(total=Sum(-F("delta")))
        .values_list(*key, "total")
    )
    key = ("operation_id", "from_lot_id")
    named = (
        LotOrigin.objects.order_by(*key)
        .values(*key)
        .annotate(total=Sum("amount"))
        .values_list(*key, "total")
    )
    streams = grouped(rows(named), width=2), grouped(rows(used), width=2)
    for (operation, lot), (origin, moved) in side_by_side(*streams):
        tally.count += 1
        tally.same(
            LotOrigin._meta.db_table,
            None,
            f"Operation {operation} made a lot from lot {lot} and took another amount"
            " from its bags.",
            sum(total for (total,) in origin),
            sum(total for (total,) in moved),
        )
