"""Replies: each speaks of all sets of a box that were out, and of boxes of its consignee."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import (
    Count,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
)
from django.db.models.functions import Coalesce

from dispatch.domain.replies import By
from dispatch.models import (
    CaseBox,
    Merging,
    PassedOn,
    Reply,
    ReplyBox,
    ReplyLink,
    Return,
    ShipScan,
)
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.ledger.setup import CONSIGNEE

REPLY = Reply._meta.db_table
LINE = ReplyBox._meta.db_table
LINK = ReplyLink._meta.db_table
SEQ = "operation__link__seq"


def said(tally: Tally) -> None:
    """Of each box a reply has lines of its own act, for all its sets that were out.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    strange = ReplyBox.objects.exclude(operation=F("reply__operation"))
    _add(tally, LINE, strange, "A line was written by another act than its reply.")
    empty = Reply.objects.annotate(some=Exists(_lines())).filter(some=False)
    _add(tally, REPLY, empty, "A reply speaks of no box.")
    back = Return.objects.filter(box=OuterRef("box"), **_before())
    undone = Q(undone__isnull=False, **_before("undone__"))
    sums = back.exclude(undone).order_by().values("box").annotate(n=Sum("sets"))
    of_box = ReplyBox.objects.order_by("reply", "box").values("reply", "box")
    found = of_box.annotate(
        came=Coalesce(Subquery(sums.values("n"), output_field=IntegerField()), 0),
        told=Sum("sets"),
    )
    for reply, full, came, told in rows(
        found.values_list("reply", "box__size__sets", "came", "told")
    ):
        tally.count += 1
        tally.same(REPLY, reply, "It speaks of other sets.", full - came, told)


def theirs(tally: Tally) -> None:
    """A reply speaks of boxes on the list of its case that its consignee had then.

    Args:
        tally: Where lines are counted and faults noted.
    """
    listed = CaseBox.objects.filter(
        case=OuterRef("reply__case"), box=OuterRef("box"), **_before()
    )
    passed = PassedOn.objects.filter(box=OuterRef("box"), **_before()).order_by("-pk")
    on = ShipScan.objects.filter(box=OuterRef("box"), on=True, **_before())
    sent = on.order_by("-pk").values("shipment__consignee")
    found = ReplyBox.objects.order_by("pk").annotate(
        listed=Exists(listed),
        has=Coalesce(Subquery(passed.values("consignee")[:1]), Subquery(sent[:1])),
    )
    tally.count += found.count()
    _add(tally, LINE, found.filter(listed=False), "Its box was not on the list.")
    # It may have been merged with another, and that one with another again.
    merged = Exists(Merging.objects.filter(consignee=OuterRef("has")))
    into = Exists(Merging.objects.filter(into=OuterRef("reply__consignee")))
    other = found.exclude(has=F("reply__consignee")).exclude(merged & into)
    _add(tally, LINE, other, "Another consignee had the box.")


def links(tally: Tally) -> None:
    """Links are ended one after the other; what came by one came by the one in force.

    Args:
        tally: Where links and replies are counted and faults noted.
    """
    nth: dict[tuple[int, int], int] = {}
    ended = ReplyLink.objects.order_by("pk")
    for pk, case, whom, its in rows(
        ended.values_list("pk", "case_id", "consignee_id", "nth")
    ):
        tally.count += 1
        nth[case, whom] = nth.get((case, whom), 0) + 1
        tally.same(LINK, pk, "Links were not ended in a row.", nth[case, whom], its)
    by_them = Q(operation__by__username=CONSIGNEE)
    odd = Reply.objects.filter(
        Q(way=By.LINK) & ~by_them | ~Q(way=By.LINK) & by_them,
    )
    _add(tally, REPLY, odd, "It came another way than its act says.")
    before = ReplyLink.objects.filter(
        case=OuterRef("case"), consignee=OuterRef("consignee"), **_before()
    )
    counts = before.order_by().values("case").annotate(n=Count("pk")).values("n")
    came = Reply.objects.filter(way=By.LINK).annotate(ended=Coalesce(counts, 0))
    tally.count += came.count()
    merged = Merging.objects.filter(into=OuterRef("consignee"))
    late = came.exclude(nth=F("ended") + 1).filter(~Exists(merged))
    _add(tally, REPLY, late, "It came by a link that was not in force.")


def _lines() -> QuerySet[ReplyBox, Any]:
    return ReplyBox.objects.filter(reply=OuterRef("pk"))


def _before(at: str = "") -> dict[str, Any]:
    return {f"{at}{SEQ}__lt": OuterRef(SEQ)}


def _add(tally: Tally, table: str, wrong: QuerySet[Any, Any], words: str) -> None:
    for (pk,) in _ids(wrong):
        tally.add(table, pk, words, "its own", "another")


def _ids(wrong: QuerySet[Any, Any]) -> Iterator[tuple[Any, ...]]:
    return rows(wrong.order_by("pk").values_list("pk"))


register(
    ("replies", "boxes", said),
    ("reply boxes", "lines", theirs),
    ("reply links", "links", links),
)
