"""Replies: each speaks of all sets of a box that were out, and of boxes of its consignee."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django.db.models import (
    Exists,
    F,
    IntegerField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
)
from django.db.models.functions import Coalesce, Greatest

from dispatch.domain.receipts import MINUTE
from dispatch.domain.replies import By, standing
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
from dispatch.recall.proof import untimely
from dispatch.receipts.proof import same_then
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
    odd = Reply.objects.filter(untimely("said_at"))
    tally.each(REPLY, odd, "It was not in the time of its case.")
    strange = ReplyBox.objects.exclude(operation=F("reply__operation"))
    tally.each(LINE, strange, "A line was written by another act than its reply.")
    empty = Reply.objects.annotate(some=Exists(_lines())).filter(some=False)
    tally.each(REPLY, empty, "A reply speaks of no box.")
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
        since=Subquery(listed.values("look__operation__at")[:1]),
        has=Coalesce(Subquery(passed.values("consignee")[:1]), Subquery(sent[:1])),
    )
    tally.count += found.count()
    tally.each(LINE, found.filter(listed=False), "Its box was not on the list.")
    early = found.filter(reply__said_at__lte=F("since") - MINUTE)
    tally.each(LINE, early, "It was said before its box was on the list.")
    # It may have been merged with another, and that one with another again.
    merged = Exists(Merging.objects.filter(consignee=OuterRef("has")))
    into = Exists(Merging.objects.filter(into=OuterRef("reply__consignee")))
    other = found.exclude(has=F("reply__consignee")).exclude(merged & into)
    tally.each(LINE, other, "Another consignee had the box.")


def links(tally: Tally) -> None:
    """Links are ended one after the other; what came by one came by the one in force.

    Args:
        tally: Where links and replies are counted and faults noted.
    """
    into = set(Merging.objects.values_list("into", flat=True))
    nth: dict[tuple[int, int], int] = {}
    last: dict[int, int] = {}
    ended = ReplyLink.objects.order_by("pk")
    for pk, case, whom, its in rows(
        ended.values_list("pk", "case_id", "consignee_id", "nth")
    ):
        tally.count += 1
        right = nth.get((case, whom), 0) + 1
        # Who another was merged into goes on from the links of both.
        if not (whom in into and right <= its <= last.get(case, 0) + 1):
            tally.same(LINK, pk, "Links were not ended in a row.", right, its)
        nth[case, whom] = its
        last[case] = max(its, last.get(case, 0))
    by_them = Q(operation__by__username=CONSIGNEE)
    odd = Reply.objects.filter(
        Q(way=By.LINK) & ~by_them | ~Q(way=By.LINK) & by_them,
    )
    tally.each(REPLY, odd, "It came another way than its act says.")
    before = ReplyLink.objects.filter(case=OuterRef("case"), **_before())
    own = before.filter(consignee=OuterRef("consignee"))
    # Those of another count as well once that one was merged into it.
    merged = before.exclude(consignee=OuterRef("consignee")).filter(
        Exists(Merging.objects.filter(consignee=OuterRef("consignee")))
    )
    came = Reply.objects.filter(way=By.LINK).annotate(
        least=_last(own) + 1, most=Greatest(_last(own), _last(merged)) + 1
    )
    tally.count += came.count()
    late = came.filter(Q(nth__lt=F("least")) | Q(nth__gt=F("most")))
    tally.each(REPLY, late, "It came by a link that was not in force.")


def _last(some: QuerySet[ReplyLink, Any]) -> Coalesce:
    each = some.order_by().values("case").annotate(n=Max("nth")).values("n")
    return Coalesce(Subquery(each), 0)


def accounted_for(case: int, boxes: Collection[int], seq: int) -> set[int]:
    """Say of which boxes everything was used, destroyed or back at a link of the journal.

    Args:
        case: The case.
        boxes: Boxes on its list that were with consignees then.
        seq: The link.

    Returns:
        Those of them of which nothing was left to account for.
    """
    back = Return.objects.filter(box__in=boxes, **{f"{SEQ}__lt": seq}).order_by()
    back = back.exclude(**{f"undone__{SEQ}__lt": seq})
    came = dict(back.values_list("box").annotate(n=Sum("sets")))
    told = ReplyBox.objects.filter(
        reply__case=case, box__in=boxes, **{f"{SEQ}__lt": seq}
    )
    newest: dict[int, tuple[int, int, dict[str, int]]] = {}
    for reply, box, answer, sets, full in told.order_by("reply").values_list(
        "reply", "box", "answer", "sets", "box__size__sets"
    ):
        if box not in newest or newest[box][0] != reply:
            newest[box] = reply, full, {}
        newest[box][2][answer] = sets
    passed = PassedOn.objects.filter(box__in=boxes, **{f"{SEQ}__lt": seq})
    has = dict(passed.order_by("pk").values_list("box", "consignee"))
    who = dict(Reply.objects.filter(case=case).values_list("pk", "consignee"))
    same = same_then(seq)

    def stays(consignee: int) -> int:
        return same.get(consignee, consignee)

    return {
        box
        for box, (reply, full, said) in newest.items()
        # Whoever had it then had not answered for it yet, where another answered last.
        if stays(has.get(box, who[reply])) == stays(who[reply])
        and not standing(full, came.get(box, 0), said).unaccounted
    }


def _lines() -> QuerySet[ReplyBox, Any]:
    return ReplyBox.objects.filter(reply=OuterRef("pk"))


def _before(at: str = "") -> dict[str, Any]:
    return {f"{at}{SEQ}__lt": OuterRef(SEQ)}


register(
    ("replies", "boxes", said, Reply, ReplyBox),
    ("reply boxes", "lines", theirs, ReplyBox),
    ("reply links", "links", links, ReplyLink, Reply),
)
