"""Closings: in a row, nothing done for it while closed, no box passed over in silence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from django.db.models import F, Model, OuterRef, Q, QuerySet, Subquery

from dispatch.models import (
    Case,
    CaseBox,
    CaseLook,
    Closing,
    ClosingBox,
    EffectAnswer,
    EffectCheck,
    Letter,
    Reply,
    ReplyLink,
    ReplyTerm,
    Sought,
)
from dispatch.replies.proof import accounted_for
from kitting.domain.stages import GONE
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.ledger.reach import held_boxes, reach_of
from kitting.models import BoxEvent, Hold

CASE = Case._meta.db_table
CLOSING = Closing._meta.db_table
WITHOUT = ClosingBox._meta.db_table
SEQ = "operation__link__seq"
WHILE_OPEN: Final[Mapping[type[Model], str]] = {
    **dict.fromkeys((CaseLook, Sought, Letter, EffectCheck), "case"),
    **dict.fromkeys((Reply, ReplyLink, ReplyTerm), "case"),
    EffectAnswer: "of__check_of__case",
}
"""What is done for an open case alone, with the way to it."""


def acts(tally: Tally) -> None:
    """A case is closed and reopened by turns, and nothing is done for it in between.

    Args:
        tally: Where closings are counted and faults noted.
    """
    for (case,) in rows(Case.objects.order_by("pk").values_list("pk")):
        told = ("pk", "nth", "operation__link__seq", "reopening__operation__link__seq")
        its = Closing.objects.filter(case=case).order_by("nth")
        found = list(its.values_list(*told))
        tally.count += len(found)
        nth = [each for _pk, each, _shut, _opened in found]
        wanted = list(range(1, len(found) + 1))
        tally.same(CASE, case, "Its closings are not in a row.", wanted, nth)
        free: int | None = 0
        for pk, _nth, shut, opened in found:
            if free is None or (shut or 0) <= free:
                tally.add(CLOSING, pk, "Its case was closed then.", "open", "closed")
            if opened is not None and opened <= (shut or 0):
                words = "A case was reopened before it was closed."
                tally.add(CLOSING, pk, words, "later", "before")
            free = opened
            _meanwhile(tally, case, shut or 0, opened)


def _meanwhile(tally: Tally, case: int, shut: int, opened: int | None) -> None:
    before = {} if opened is None else {f"{SEQ}__lt": opened}
    for model, its in WHILE_OPEN.items():
        found: QuerySet[Any] = model._default_manager.filter(
            **{its: case, f"{SEQ}__gt": shut}, **before
        )
        words = "It was done while its case was closed."
        tally.each(model._meta.db_table, found, words, "open", "closed")


def boxes(tally: Tally) -> None:
    """What a case was closed without is on its list; what had left had its reason.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    listed = CaseBox.objects.filter(
        case=OuterRef("closing__case"),
        box=OuterRef("box"),
        operation__link__seq__lt=OuterRef("operation__link__seq"),
    )
    own = Q(operation=F("closing__operation"), its__isnull=False)
    rest = ClosingBox.objects.annotate(its=Subquery(listed.values("pk")[:1]))
    words = "A case was closed without a box that is not of it."
    tally.each(WITHOUT, rest.exclude(own), words)
    told = ("pk", "case_id", "operation__link__seq")
    for pk, case, seq in rows(Closing.objects.order_by("pk").values_list(*told)):
        for box in _silent(pk, case, seq or 0):
            words = f"Box {box} was with a consignee, and nothing says why it may be."
            tally.add(CLOSING, pk, words, "a reason", "none")
        tally.count += ClosingBox.objects.filter(closing=pk).count()


def _silent(closing: int, case: int, seq: int) -> list[int]:
    """Boxes that were gone then, held, without an end, and closed over in silence."""
    holds = Hold.objects.filter(
        of_case__look__case=case, operation__link__seq__lt=seq
    ).exclude(lift__operation__link__seq__lt=seq)
    named = ClosingBox.objects.filter(closing=closing).values("box")
    events = BoxEvent.objects.filter(
        box=OuterRef("box"), operation__link__seq__lt=seq
    ).order_by("-nth")
    found: QuerySet[Any] = (
        CaseBox.objects.filter(case=case, operation__link__seq__lt=seq)
        .exclude(box__in=named)
        .annotate(was=Subquery(events.values("after")[:1]))
        .filter(was__in=GONE, box__in=held_boxes(reach_of(list(holds))))
    )
    boxes = list(found.order_by("pk").values_list("box", flat=True))
    ended = accounted_for(case, boxes, seq)
    return [box for box in boxes if box not in ended]


register(
    ("case closings", "closings", acts, Case),
    ("boxes of closings", "boxes", boxes, ClosingBox, Closing),
)
