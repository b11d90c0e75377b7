"""What is told of a case is told to whom it reaches, and to nobody else."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, Sum

from dispatch.domain.replies import MOST_DAYS
from dispatch.models import (
    Case,
    CaseCall,
    Letter,
    LetterBack,
    LetterBox,
    LetterSent,
    Merging,
    PassedOn,
    Replacement,
    ReplyTerm,
    Request,
    ShipScan,
)
from dispatch.notices.queries.whom import ever_had
from dispatch.recall.proof import untimely
from dispatch.receipts.proof import NEVER, had_then, replaced_before, same_then
from kitting.domain.stages import MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.ledger.reach import reach_of
from kitting.models import Hold, Movement, RowSeal

CALL = CaseCall._meta.db_table
LETTER = Letter._meta.db_table
NAMED = LetterBox._meta.db_table
REPLACED = Replacement._meta.db_table
SEQ = "operation__link__seq"


def calls(tally: Tally) -> None:
    """Whoever was called had a box of the case, or was said to be one that had.

    Args:
        tally: Where calls are counted and faults noted.
    """
    for case in _cases("calls"):
        right = _reached(case)
        words = "Somebody was called whom the case does not reach."
        tally.count += case.calls.count()
        other = case.calls.exclude(consignee__in=right)
        tally.each(CALL, other, words, "reached", "another")
    odd = CaseCall.objects.filter(untimely("called_at"))
    tally.each(CALL, odd, "It was not in the time of its case.")


def letters(tally: Tally) -> None:
    """A letter goes to whom the case reaches, and names boxes of its list.

    What it names as new no letter to the same consignee named that had gone by then, and
    was not back; what it does not, some such letter about the case did.

    Args:
        tally: Where letters are counted and faults noted.
    """
    for case in _cases("letters"):
        right = _reached(case)
        words = "A letter is to somebody whom the case does not reach."
        other = case.letters.exclude(consignee__in=right)
        tally.each(LETTER, other, words, "reached", "another")
        _asks_in_time(tally, case)
        its = case.letters.order_by("pk").values_list("pk", "consignee", SEQ)
        for letter, whom, seq in list(its):
            tally.count += 1
            told = _told_then(case, letter, seq or 0)
            boxes = LetterBox.objects.filter(letter=letter).order_by("pk")
            for pk, listed, new, of in boxes.values_list(
                "pk", "listed", "new", "listed__case"
            ):
                wrong = "It names a box that is not on the list of its case."
                tally.same(NAMED, pk, wrong, case.pk, of)
                to = told[listed]
                if whom in to if new else not to:
                    words = "It names a box as new that is not, or the other way."
                    tally.add(NAMED, pk, words, not new, new)
    back = LetterBack.objects.exclude(sending__fault="")
    words = "A letter came back that was not sent."
    tally.each(LetterBack._meta.db_table, back, words, "sent", "not")


def _told_then(case: Case, letter: int, seq: int) -> dict[int, set[int]]:
    """By box of a letter the consignees that one had reached by then which named it."""
    before = {f"{SEQ}__lt": seq}
    back = LetterBack.objects.filter(sending=OuterRef("pk"), **before)
    went = LetterSent.objects.filter(~Exists(back), fault="", **before)
    named = LetterBox.objects.filter(
        letter__case=case,
        letter__in=went.order_by().values("letter"),
        listed__in=LetterBox.objects.filter(letter=letter).order_by().values("listed"),
    )
    told: dict[int, set[int]] = defaultdict(set)
    for listed, whom in named.values_list("listed", "letter__consignee"):
        told[listed].add(whom)
    return told


def _asks_in_time(tally: Tally, case: Case) -> None:
    """By the day of its case, which was set by then; that of the zone may be one beside."""
    terms = ReplyTerm.objects.filter(case=case, **{f"{SEQ}__lte": OuterRef(SEQ)})
    days = Subquery(terms.order_by("-pk").values("days")[:1])
    asking = case.letters.filter(answer_by__isnull=False).order_by("pk")
    told = ("pk", "operation__at", "answer_by")
    for pk, at, by, its in asking.annotate(days=days).values_list(*told, "days"):
        from_now = (by - at.date()).days
        if its is None or not -1 <= from_now <= MOST_DAYS + 1:
            words = "It asks for an answer by a day that is none of its case."
            tally.add(LETTER, pk, words, its, from_now)


def named(tally: Tally) -> None:
    """A letter says of each box how it left, to whom it went on, and its lots.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    told = ("pk", "listed__box", "shipment", "passed_to", "lots")
    for pk, case, whom, seq in rows(
        Letter.objects.order_by("pk").values_list("pk", "case", "consignee", SEQ)
    ):
        its = list(LetterBox.objects.filter(letter=pk).values_list(*told))
        boxes = [box for _pk, box, *_rest in its]
        before = {"box__in": boxes, f"{SEQ}__lt": seq or 0}
        scans = ShipScan.objects.filter(on=True, **before).order_by("pk")
        left = dict(scans.values_list("box", "shipment"))
        passed = PassedOn.objects.filter(**before).order_by("pk")
        way = list(passed.values_list("box", "shipment", "giver", "consignee"))
        ways_on = [
            _went_on(way, left, same.get(whom, whom), same)
            for same in (same_then(seq or 0), {})  # some are opened again by then
        ]
        inside = _lots_then(case, boxes, seq or 0)
        for row, box, shipment, to, lots in its:
            tally.count += 1
            tally.same(NAMED, row, "Its box left otherwise.", left.get(box), shipment)
            if to not in [on.get(box) for on in ways_on]:
                words = "Its box was not passed on to them."
                tally.add(NAMED, row, words, ways_on[0].get(box), to)
            said, (least, most) = set(lots.splitlines()), inside[box]
            if not least <= said <= most or not said:
                tally.add(NAMED, row, "It names other lots of its box.", most, said)


def _went_on(
    way: Iterable[tuple[int, int, int, int]],
    left: Mapping[int, int],
    whom: int | None,
    same: Mapping[int, int],
) -> dict[int, int]:
    """To whom somebody passed on each box that did not come to it again."""
    on: dict[int, int] = {}
    for box, shipment, giver, to in way:
        from_it, to_it = (same.get(one, one) == whom for one in (giver, to))
        if left.get(box) != shipment or from_it == to_it:
            continue
        if from_it:
            on[box] = to
        else:
            on.pop(box, None)
    return on


def _lots_then(
    case: int, boxes: Collection[int], seq: int
) -> dict[int, tuple[set[str], set[str]]]:
    """Of each box the lots that its case held itself, and all that may have been held."""
    holds = Hold.objects.filter(
        of_case__look__case=case, **{f"{SEQ}__lt": seq}
    ).exclude(**{f"lift__{SEQ}__lt": seq})
    reach = reach_of(list(holds))
    own = {hold.lot_id for hold in holds}
    held = Q(lot__in=reach.lots) | Q(bag__in=reach.bags) | Q(run__in=reach.runs)
    found: dict[int, tuple[set[str], set[str]]] = defaultdict(lambda: (set(), set()))
    for box, lot, number, inside in _inside(Q(box__in=boxes), seq):
        if inside > 0 and (box in reach.boxes or lot in own):
            found[box][0].add(number)
    for box, _lot, number, inside in _inside(
        Q(box__in=boxes) & (held | Q(box__in=reach.boxes)), seq
    ):
        if inside > 0:
            found[box][1].add(number)
    return found


def _inside(of: Q, seq: int) -> QuerySet[Any, Any]:
    """Pieces of each lot that were in each box before a link."""
    moved = Movement.objects.filter(
        of,
        kind__in=(MovementKind.PACKED, MovementKind.UNPACKED),
        **{f"{SEQ}__lt": seq},
    )
    each = moved.order_by().values_list("box", "lot", "lot__number")
    return each.annotate(inside=-Sum("delta"))


def replacements(tally: Tally) -> None:
    """A box is replaced by a request for its sets and product, of whoever had it, once.

    Args:
        tally: Where replacements are counted and faults noted.
    """
    product = Q(request__product=F("listed__box__size__product"))
    for case in _cases("boxes__replacements"):
        some = Replacement.objects.filter(listed__case=case)
        tally.count += some.count()
        own = product & Q(request__consignee__in=_reached(case))
        tally.each(REPLACED, some.exclude(own), "A request of others replaces a box.")
    twice = Replacement.objects.filter(Exists(replaced_before("listed__box")))
    tally.each(REPLACED, twice, "Its box was replaced before.", "once", "twice")
    told = ("pk", "listed__box", "request__consignee", "request_id", "operation_id")
    for pk, box, whom, request, act, seq in rows(
        Replacement.objects.order_by("pk").values_list(*told, SEQ)
    ):
        had, same = had_then([box], seq or 0).get(box), same_then(NEVER)
        right = same.get(had or 0, had)
        tally.same(REPLACED, pk, "Another had its box.", right, same.get(whom, whom))
        its = Replacement.objects.filter(request=request)
        sets = its.aggregate(sets=Sum("listed__box__size__sets"))["sets"]
        said = f'"sets":{sets},'
        of = {"of": Request._meta.db_table, "row": request, "operation": act}
        if not RowSeal.objects.filter(**of, text__contains=said).exists():
            tally.add(REPLACED, pk, "Its request is not for these sets.", sets, "other")


def _cases(told: str) -> Iterator[Case]:
    return Case.objects.filter(**{f"{told}__isnull": False}).distinct().iterator()


def _reached(case: Case) -> set[int]:
    merged = list(Merging.objects.order_by("pk").values_list("consignee", "into"))
    return _with_merged(ever_had(case), merged)


def _with_merged(ids: set[int], merged: Iterable[tuple[int, int]]) -> set[int]:
    """Those, and all that they were said to be."""
    found, more = set(ids), set(ids)
    while more := {into for one, into in merged if one in more} - found:
        found |= more
    return found


register(
    ("case calls", "calls", calls, CaseCall),
    ("case letters", "letters", letters, Letter, LetterBack),
    ("boxes in letters", "boxes", named, Letter),
    ("replacements", "boxes", replacements, Replacement),
)
