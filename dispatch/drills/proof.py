"""Drills: their lots drawn again from their seeds, and what was located then."""

from __future__ import annotations

from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, Sum

from dispatch.domain.effectiveness import in_order
from dispatch.domain.trace import Balance, Move, balance
from dispatch.drills.queries import lots_sent
from dispatch.models import Drill, DrillCall, DrillList
from dispatch.receipts.proof import had_then, same_then
from dispatch.trace.balance import SIGN
from kitting.domain.stages import GONE, MovementKind, ShipmentStage
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.models import Box, BoxEvent, Movement

DRILL = Drill._meta.db_table
LIST = DrillList._meta.db_table
CALL = DrillCall._meta.db_table

SEQ = "operation__link__seq"


def draws(tally: Tally) -> None:
    """The lot of a drill is the one that its seed draws among those sent until then.

    Args:
        tally: Where drills are counted and faults noted.
    """
    told = ("pk", "lot__number", "seed", "lots", SEQ)
    for pk, lot, seed, lots, at in rows(
        Drill.objects.order_by("pk").values_list(*told)
    ):
        tally.count += 1
        event = "box__shipment_boxes__shipment__events"
        sent = {f"{event}__after": ShipmentStage.SENT}
        before = Q(**sent, **{f"{event}__{SEQ}__lt": at or 0})
        known = list(lots_sent(before).values_list("number", flat=True))
        tally.same(DRILL, pk, "It was drawn among others.", len(known), lots)
        drawn = in_order(seed, known)[:1]
        tally.same(DRILL, pk, "Its seed draws another lot.", drawn, [lot])
    ran = Drill.objects.filter(
        Q(end=None) | Q(**{f"end__{SEQ}__gt": OuterRef(SEQ)}),
        **{f"{SEQ}__lt": OuterRef(SEQ)},
    )
    words = "It was begun while another ran."
    tally.each(DRILL, Drill.objects.filter(Exists(ran)), words, "after", "while")
    late = DrillList.objects.filter(**{f"drill__end__{SEQ}__lt": F(SEQ)})
    tally.each(LIST, late, "It was complete after the end.", "before", "after")


def calls(tally: Tally) -> None:
    """A drill calls who had boxes of its lot then, between its list and its end.

    Args:
        tally: Where calls are counted and faults noted.
    """
    told = ("pk", "drill__lot", "consignee", "drill__calling", SEQ)
    more = (f"drill__list__{SEQ}", f"drill__end__{SEQ}")
    for pk, lot, whom, calling, at, listed, ended in rows(
        DrillCall.objects.order_by("pk").values_list(*told, *more)
    ):
        tally.count += 1
        at = at or 0
        if not calling:
            tally.add(CALL, pk, "Its drill calls nobody.", "calls", "none")
        if listed is None or at < listed:
            words = "It was made before the list was complete."
            tally.add(CALL, pk, words, "after", "before")
        if ended is not None and at > ended:
            tally.add(CALL, pk, "It was made after the end.", "before", "after")
        had = had_then(list(_gone(lot, at).values_list("pk", flat=True)), at)
        if same_then(at).get(whom, whom) not in had.values():
            words = "Somebody was called who had no box of the lot."
            tally.add(CALL, pk, words, "one who had", "another")


def located(tally: Tally) -> None:
    """What a list says of its lot is what its balance said then.

    Args:
        tally: Where lists are counted and faults noted.
    """
    told = ("pk", "drill__lot", "boxes", "pieces", "located", SEQ)
    for pk, lot, boxes, pieces, known, at in rows(
        DrillList.objects.order_by("pk").values_list(*told)
    ):
        tally.count += 1
        then = _balance(lot, at or 0)
        right = then.received + then.found
        tally.same(LIST, pk, "Its lot had other pieces.", right, pieces)
        right -= then.missing
        tally.same(LIST, pk, "Other pieces were located.", right, known)
        tally.same(
            LIST, pk, "Other boxes had left.", _gone(lot, at or 0).count(), boxes
        )


def _balance(lot: int, seq: int) -> Balance:
    """What was received, found and missing of a lot before a link."""
    before = Movement.objects.filter(lot=lot, **{f"{SEQ}__lt": seq}).order_by()
    sums = before.values_list("kind", SIGN).annotate(total=Sum("pieces"))
    moves = [
        Move(lot, 0, None, MovementKind(kind), total, sign)
        for kind, sign, total in sums
    ]
    return balance(lot, moves, [], [], {})


def _gone(lot: int, seq: int) -> QuerySet[Box, Any]:
    """Boxes with some of a lot that were with consignees before a link."""
    events = BoxEvent.objects.filter(box=OuterRef("pk"), **{f"{SEQ}__lt": seq})
    was = Subquery(events.order_by("-nth").values("after")[:1])
    boxes = Box.objects.filter(lines__lot=lot).distinct().annotate(was=was)
    return boxes.filter(was__in=GONE)


register(
    ("drills", "drills", draws, Drill, DrillList),
    ("drill calls", "calls", calls, DrillCall),
    ("drill lists", "lists", located, DrillList),
)
