"""What is checked of materials: what a lot was made from left its bags, and came back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import F, Q, QuerySet, Sum, Value
from django.db.models.functions import Coalesce, Concat

from kitting.domain.stages import MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import Asked, composed, grouped, rows, side_by_side
from kitting.lots.steps.materials import WASTE
from kitting.models import Bag, Lot, LotOrigin, Movement
from kitting.models.lots import LotStage

LOT = Lot._meta.db_table
MOVEMENT = Movement._meta.db_table


def origins(tally: Tally) -> None:
    """What a lot was made from left the bags of that material in the same act.

    Args:
        tally: Where origins are counted and faults noted.
    """
    made_from, used, waste, cut = _origins()
    _taken_from(tally, "made a lot from lot", made_from, used)
    _taken_from(tally, "cut waste off lot", waste, cut)


@composed
def _origins() -> Iterator[QuerySet[Any, Any]]:
    """What lots say that they were made from, and what was taken; the same of waste."""
    taken = Movement.objects.filter(corrects__isnull=True)
    yield _sums(LotOrigin.objects.all(), "from_lot_id", F("amount"))
    yield _sums(taken.filter(kind=MovementKind.MADE_INTO), "lot_id", -F("delta"))
    wasted = LotOrigin.objects.filter(waste__isnull=False)
    yield _sums(wasted, "from_lot_id", F("waste"))
    cut = taken.filter(operation__in=wasted.values("operation"))
    yield _sums(cut.filter(kind=MovementKind.SCRAPPED), "lot_id", -F("delta"))


def _sums(of: QuerySet[Any, Any], lot: str, amount: Any) -> QuerySet[Any, Any]:
    key = ("operation_id", lot)
    sums = of.order_by(*key).values(*key).annotate(total=Sum(amount))
    found: QuerySet[Any, Any] = sums.values_list(*key, "total")
    return found


def _taken_from(tally: Tally, words: str, named: Asked, moved: Asked) -> None:
    said, used = (grouped(rows(found), width=2) for found in (named, moved))
    for (operation, lot), (origin, taken) in side_by_side(said, used):
        tally.count += 1
        tally.same(
            LotOrigin._meta.db_table,
            None,
            f"Operation {operation} {words} {lot} and took another amount from its"
            " bags.",
            sum(total for (total,) in origin),
            sum(total for (total,) in taken),
        )


def cancelled(tally: Tally) -> None:
    """A cancelled lot holds nothing, and only its material came back, all of it, once.

    Args:
        tally: Where cancelled lots are counted and faults noted.
    """
    kept, used, wrongly = _cancelled()
    for (pk,) in rows(kept):
        words = "Pieces left with a lot that is not cancelled."
        tally.add(MOVEMENT, pk, words, LotStage.CANCELLED, "another stage")
    for pk, number, amount in rows(used):
        tally.count += 1
        here = Bag.objects.filter(lot=pk).aggregate(total=Sum("pieces"))["total"] or 0
        tally.same(LOT, pk, f"Lot {number} is cancelled and holds pieces.", 0, here)
        reasons = number, WASTE + number
        back = Movement.objects.filter(corrects__isnull=False, reason__in=reasons)
        total = back.aggregate(total=Sum("delta"))["total"] or 0
        words = f"Lot {number} is cancelled and its material did not come back."
        tally.same(LOT, pk, words, amount or 0, total)
    for (pk,) in rows(wrongly):
        words = "It takes back another movement than it names, or of a lot that stands."
        tally.add(MOVEMENT, pk, words, "a cancelled lot's material", "another")


@composed
def _cancelled() -> Iterator[QuerySet[Any, Any]]:
    """What left with lots that stand, cancelled lots, and what was corrected wrongly."""
    left = Movement.objects.filter(kind=MovementKind.CANCELLED)
    kept = left.exclude(lot__stage=LotStage.CANCELLED).order_by("pk")
    yield kept.values_list("pk")
    over = Lot.objects.filter(stage=LotStage.CANCELLED).order_by("pk")
    amount = F("origins__amount") + Coalesce(F("origins__waste"), 0)
    yield over.annotate(used=Sum(amount)).values_list("pk", "number", "used")
    corrections = Movement.objects.filter(corrects__isnull=False).order_by("pk")
    corrections = corrections.exclude(operation__name="undo")  # as packing proves it
    rightly = corrections.order_by().filter(
        bag=F("corrects__bag"),
        kind=F("corrects__kind"),
        delta=-F("corrects__delta"),
    )
    gone = over.order_by()
    rightly = rightly.filter(
        Q(reason__in=gone.values("number"))
        | Q(reason__in=gone.values(why=Concat(Value(WASTE), "number")))
    )
    yield corrections.exclude(pk__in=rightly.values("pk")).values_list("pk")


register(
    ("materials", "uses", origins, LotOrigin, Movement),
    ("cancelled lots", "lots", cancelled, Lot, Movement),
)
