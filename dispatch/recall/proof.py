"""Cases: their holds are of their acts, and their lists are what the trace finds."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import F, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from dispatch.domain.receipts import MINUTE
from dispatch.models import (
    Case,
    CaseBox,
    CaseHold,
    CaseLook,
    PassedOn,
    ShipScan,
    Sought,
)
from kitting.domain import numbers
from kitting.domain.errors import CodeError
from kitting.domain.stages import GONE, BoxStage, MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import batched, rows
from kitting.ledger.reach import fold, reach_of
from kitting.ledger.standing import key_of
from kitting.models import BoxEvent, BoxPut, Hold, Movement

CASE = Case._meta.db_table
LOOK = CaseLook._meta.db_table
HOLD = CaseHold._meta.db_table
LISTED = CaseBox._meta.db_table
SOUGHT = Sought._meta.db_table

_OF = {
    "box": "box",
    "bag": "bag",
    "lot": "lot",
    "run": "run",
    "revision": "lot__revision",
    "method": "lot__method",
    "source": "lot__source_key",
    "protocol": "run__protocol",
}
"""By which column pieces in a box are of what is in a scope."""


def acts(tally: Tally) -> None:
    """A case is opened by its first look; holds and boxes are of the look's own act.

    Args:
        tally: Where looks are counted and faults noted.
    """
    for pk, number in rows(Case.objects.order_by("pk").values_list("pk", "number")):
        try:
            kind = str(numbers.read(number).kind)
        except CodeError as error:
            kind = error.code
        right = str(numbers.Kind.CASE)
        tally.same(CASE, pk, "Its number is none of a case.", right, kind)
        looks = CaseLook.objects.filter(case=pk).order_by("nth")
        nth = list(looks.values_list("nth", flat=True))
        wanted = list(range(1, max(len(nth), 1) + 1))
        tally.count += len(nth)
        tally.same(CASE, pk, "Its looks are not in a row.", wanted, nth)
    late = CaseLook.objects.filter(nth=1).exclude(operation=F("case__operation"))
    tally.each(LOOK, late, "A case was not opened by its first look.")
    own = Q(operation=F("look__operation"))
    placed = own & Q(operation=F("hold__operation"))
    strange = CaseHold.objects.exclude(placed)
    tally.each(HOLD, strange, "A hold of a case was placed by another act.")
    other = CaseBox.objects.exclude(own & Q(case=F("look__case")))
    tally.each(LISTED, other, "A box came onto the list by another act.")


def lists(tally: Tally) -> None:
    """Every box on a list held pieces of the scope then, and none that did is missing.

    Args:
        tally: Where looks are counted and faults noted.
    """
    told = ("pk", "case_id", "nth", "operation__link__seq")
    for look, case, nth, seq in rows(
        CaseLook.objects.order_by("case_id", "nth").values_list(*told)
    ):
        tally.count += 1
        lifted = Q(lift__operation__link__seq__lt=seq or 0)
        of = Hold.objects.filter(of_case__look__case=case, of_case__look__nth__lte=nth)
        holds = list(of.exclude(lifted))
        _pieces(tally, look, holds, seq or 0)
        _missing(tally, look, (case, nth), holds, seq or 0)


def then(tally: Tally) -> None:
    """A box stands on a list with its stage, shipment and consignee of that moment.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    seq = "operation__link__seq"
    events = BoxEvent.objects.filter(box=OuterRef("box"))
    events = events.filter(operation__link__seq__lt=OuterRef(seq)).order_by("-nth")
    scans = ShipScan.objects.filter(box=OuterRef("box"))
    scans = scans.filter(operation__link__seq__lt=OuterRef(seq)).order_by("-pk")
    on = scans.filter(on=True)
    passed = PassedOn.objects.filter(box=OuterRef("box"), shipment=OuterRef("shipment"))
    found = CaseBox.objects.order_by("pk").annotate(
        was=Coalesce(Subquery(events.values("after")[:1]), Value(str(BoxStage.OPEN))),
        at=Subquery(on.values("shipment")[:1]),
        to=Coalesce(
            Subquery(
                passed.filter(consignee=OuterRef("consignee")).values("consignee")[:1]
            ),
            0,
        ),
        its=Coalesce(F("shipment__consignee"), 0),
    )
    tally.count += found.count()
    tally.each(LISTED, found.exclude(stage=F("was")), "A box was at another stage.")
    sent = Q(shipment__isnull=False)
    wrong = found.filter(
        (sent & (~Q(shipment=F("at")) | Q(at=None)))
        | (~sent & Q(stage__in=(BoxStage.LOADED, *GONE)))
    )
    tally.each(LISTED, wrong, "A box was not on that shipment.")
    whom = Q(consignee=F("its")) | Q(consignee=F("to"))
    none = Q(shipment=None, consignee=None)
    tally.each(LISTED, found.exclude(whom | none), "Another consignee had the box.")


def things(tally: Tally) -> None:
    """What was brought in stood in that quarantine after, and at that place before.

    Args:
        tally: Where things that were looked for are counted and faults noted.
    """
    seq = OuterRef("operation__link__seq")
    puts = BoxPut.objects.filter(box=OuterRef("box")).order_by("-pk")
    moves = Movement.objects.filter(bag=OuterRef("bag"), place__isnull=False)
    moves = moves.order_by("-nth")
    found = Sought.objects.order_by("pk")
    tally.count += found.count()
    for name, places in (("box", puts), ("bag", moves)):
        then = places.filter(operation__link__seq__lte=seq).values("place")[:1]
        before = places.filter(operation__link__seq__lt=seq).values("place")[:1]
        rest = found.filter(**{f"{name}__isnull": False}).annotate(
            then=Subquery(then), was=Subquery(before)
        )
        brought = rest.filter(into__isnull=False)
        elsewhere = brought.filter(~Q(into=F("then")) | Q(then=None))
        tally.each(SOUGHT, elsewhere, "It was not put into that quarantine.")
        other = rest.filter(was__isnull=False).filter(~Q(at=F("was")) | Q(at=None))
        tally.each(SOUGHT, other, "It stood at another place.")


def _inside(of: Q, seq: int) -> QuerySet[Any, Any]:
    """Pieces of a kind that were in each box before a link."""
    moved = Movement.objects.filter(
        of,
        box__isnull=False,
        kind__in=(MovementKind.PACKED, MovementKind.UNPACKED),
        operation__link__seq__lt=seq,
    )
    return moved.order_by().values_list("box").annotate(inside=-Sum("delta"))


def _pieces(tally: Tally, look: int, holds: Iterable[Hold], seq: int) -> None:
    reach = reach_of(holds)
    of = Q(lot__in=reach.lots) | Q(bag__in=reach.bags) | Q(run__in=reach.runs)
    listed = CaseBox.objects.filter(look=look).order_by("pk")
    for some in batched(listed.values_list("pk", "box_id", "pieces")):
        of_some = Q(box__in=[box for _pk, box, _pieces in some])
        held = of_some & (of | Q(box__in=reach.boxes))
        inside = dict(_inside(held, seq))
        for pk, box, pieces in some:
            most = inside.get(box, 0)
            # A lot of its scope may have had a part in others since, never in fewer.
            if pieces > most or not (pieces or box in reach.boxes):
                words = "A box on the list held other pieces of the scope."
                tally.add(LISTED, pk, words, most, pieces)


def _missing(
    tally: Tally, look: int, at: tuple[int, int], holds: Iterable[Hold], seq: int
) -> None:
    """Boxes that held something itself in the scope, and are on no list of the case."""
    case, nth = at
    listed = CaseBox.objects.filter(case=case, look__nth__lte=nth).values("box")
    for hold in holds:
        kind, target = key_of(hold)
        of = Q(**{_OF[kind]: fold(str(target)) if kind == "source" else target})
        there = _inside(of & ~Q(box__in=listed), seq)
        for box, inside in rows(there.filter(inside__gt=0)):
            words = f"Box {box} held pieces of the scope and is not on the list."
            tally.add(LOOK, look, words, "on it", inside)


def untimely(when: str) -> Q:
    """What was said of a case before it was opened, or after it was noted.

    Args:
        when: The column that says when it was said.

    Returns:
        The condition on a row with an act and a case.
    """
    opened = F("case__operation__at")
    later = Q(**{f"{when}__gt": F("operation__at")})
    return later | Q(**{f"{when}__lte": opened - MINUTE})


register(
    ("case acts", "looks", acts, Case, CaseLook, CaseHold, CaseBox),
    ("case lists", "looks", lists, CaseLook),
    ("case boxes", "boxes", then, CaseBox),
    ("case things", "things looked for", things, Sought),
)
