"""What is checked of materials: what a lot was made from left its bags, and came back."""

from __future__ import annotations

from django.db.models import F, Q, QuerySet, Sum, Value
from django.db.models.functions import Coalesce, Concat

from kitting.domain.stages import MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import grouped, rows, side_by_side
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
    wasted = LotOrigin.objects.filter(waste__isnull=False)
    cut = Movement.objects.filter(operation__in=wasted.values("operation"))
    used = Movement.objects.filter(kind=MovementKind.MADE_INTO)
    ways = (
        ("made a lot from lot", used, LotOrigin.objects.all(), "amount"),
        ("cut waste off lot", cut.filter(kind=MovementKind.SCRAPPED), wasted, "waste"),
    )
    for words, moved, named, column in ways:
        _taken_from(tally, words, moved, named, column)


def _taken_from(
    tally: Tally,
    words: str,
    moved: QuerySet[Movement],
    named: QuerySet[LotOrigin],
    column: str,
) -> None:
    key = ("operation_id", "lot_id")
    used = (
        moved.filter(corrects__isnull=True)
        .order_by(*key)
        .values(*key)
        .annotate(total=Sum(-F("delta")))
        .values_list(*key, "total")
    )
    key = ("operation_id", "from_lot_id")
    said = (
        named.order_by(*key)
        .values(*key)
        .annotate(total=Sum(column))
        .values_list(*key, "total")
    )
    streams = grouped(rows(said), width=2), grouped(rows(used), width=2)
    for (operation, lot), (origin, taken) in side_by_side(*streams):
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
    left = Movement.objects.filter(kind=MovementKind.CANCELLED)
    kept = left.exclude(lot__stage=LotStage.CANCELLED).order_by("pk")
    for pk in kept.values_list("pk", flat=True):
        words = "Pieces left with a lot that is not cancelled."
        tally.add(MOVEMENT, pk, words, LotStage.CANCELLED, "another stage")
    over = Lot.objects.filter(stage=LotStage.CANCELLED).order_by("pk")
    amount = F("origins__amount") + Coalesce(F("origins__waste"), 0)
    used = over.annotate(used=Sum(amount))
    for pk, number, amount in rows(used.values_list("pk", "number", "used")):
        tally.count += 1
        here = Bag.objects.filter(lot=pk).aggregate(total=Sum("pieces"))["total"] or 0
        tally.same(LOT, pk, f"Lot {number} is cancelled and holds pieces.", 0, here)
        reasons = number, WASTE + number
        back = Movement.objects.filter(corrects__isnull=False, reason__in=reasons)
        total = back.aggregate(total=Sum("delta"))["total"] or 0
        words = f"Lot {number} is cancelled and its material did not come back."
        tally.same(LOT, pk, words, amount or 0, total)
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
    wrongly = corrections.exclude(pk__in=rightly.values("pk"))
    for pk in wrongly.values_list("pk", flat=True):
        words = "It takes back another movement than it names, or of a lot that stands."
        tally.add(MOVEMENT, pk, words, "a cancelled lot's material", "another")


register(
    ("materials", "uses", origins, LotOrigin, Movement),
    ("cancelled lots", "lots", cancelled, Lot, Movement),
)
