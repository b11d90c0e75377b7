"""The open cases, and how many consignees of each nobody reached yet, for the day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, FilteredRelation, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Coalesce

from dispatch.domain.notices import Outcome
from dispatch.models import Case, CaseBox, CaseCall, CaseHold, PassedOn
from dispatch.notices.queries.whom import whom
from dispatch.recall.queries.cases import is_closed
from kitting.domain.stages import GONE

_HOLDS = CaseHold.objects.all()


@dataclass(frozen=True)
class Left:
    """An open case that holds something, and how many are still to be called about it."""

    number: str
    hazard: str
    to_call: int


def left_to_call() -> list[Left]:
    """Count who of each open case is still to be called, as its own page does.

    Returns:
        The open cases that hold something, the newest first. One question asks all of them;
        a case of which a hold was lifted is read whole, since some of its boxes may be free
        again.
    """
    holding = Exists(_HOLDS.filter(look__case=OuterRef("pk"), hold__lift=None))
    lifted = Exists(_HOLDS.filter(look__case=OuterRef("pk"), hold__lift__isnull=False))
    every = Case.objects.filter(holding).exclude(is_closed("pk"))
    every = every.annotate(narrowed=lifted, whom=Value(0)).order_by()
    told = _told()
    sent = _unreached("load__shipment__consignee", told)
    passed = _unreached("box__passed_on__consignee", told.filter(Exists(_came())))
    got = "load__shipment__consignee"
    way: dict[str, Any] = {
        "left": F("load__shipment"),
        "passed": F("box__passed_on__shipment"),
        "first": Coalesce(f"{got}__merged_into", got),
    }
    # Who got it first is asked about above, also where it came back.
    passed = passed.annotate(**way).filter(left=F("passed")).exclude(whom=F("first"))
    names = ("case", "case__number", "case__hazard", "narrowed", "whom")
    rows = every.values_list("pk", "number", "hazard", "narrowed", "whom").union(
        sent.values_list(*names), passed.values_list(*names)
    )
    whose: dict[tuple[int, str, str, bool], set[int]] = {}
    for pk, number, hazard, narrowed, one in rows:
        whose.setdefault((pk, number, hazard, narrowed), set()).add(one)
    found = []
    for (pk, number, hazard, narrowed), those in sorted(whose.items(), reverse=True):
        many = len(those - {0})
        if many and narrowed:
            reached = whom(Case.objects.get(pk=pk))
            many = sum(each.is_to_call for each in reached)
        found.append(Left(number, hazard, many))
    return found


_WHO = Coalesce("consignee__merged_into", "consignee")


def _told() -> QuerySet[Any, Any]:
    """Calls by which somebody was reached after a box of a case was listed."""
    later = Q(called_at=None) | Q(called_at__gte=OuterRef("look__operation__at"))
    opening = Q(case__operation=OuterRef("look__operation"))  # none was before that
    return CaseCall.objects.filter(
        later | opening,
        case=OuterRef("case"),
        outcome=Outcome.REACHED,
        undone=None,
        operation__gt=OuterRef("look__operation"),
    ).annotate(who=_WHO)


def _came() -> QuerySet[PassedOn]:
    """That the box of a call was said before to be passed on to whoever was called."""
    return PassedOn.objects.annotate(to=_WHO).filter(
        box=OuterRef(OuterRef("box")),
        to=OuterRef("who"),
        operation__lt=OuterRef("operation"),
        operation__at__lte=Coalesce(OuterRef("called_at"), F("operation__at")),
    )


def _unreached(consignee: str, told: QuerySet[Any, Any]) -> QuerySet[Any, Any]:
    """Boxes of open cases with who had them, where nobody there was told of the box."""
    live = Q(box__shipment_boxes__live=True)
    holds = _HOLDS.filter(look__case=OuterRef("case"))
    had = Q(stage__in=GONE) | Q(box__stage__in=GONE)
    had |= Q(load__shipment__sent_at__gt=F("look__operation__at"))
    return (
        CaseBox.objects.exclude(is_closed("case"))
        .annotate(
            load=FilteredRelation("box__shipment_boxes", condition=live),
            whom=Coalesce(f"{consignee}__merged_into", consignee),
            narrowed=Exists(holds.filter(hold__lift__isnull=False)),
        )
        .filter(
            had,
            Exists(holds.filter(hold__lift=None)),
            ~Exists(told.filter(who=OuterRef("whom"))),
            whom__isnull=False,
        )
        .order_by()
    )
