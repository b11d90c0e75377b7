"""What is told of a case is told to whom it reaches, and to nobody else."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.db.models import Exists, F, OuterRef, Q

from dispatch.models import (
    Case,
    CaseCall,
    Letter,
    LetterBox,
    Merging,
    PassedOn,
    Replacement,
    ShipScan,
)
from dispatch.notices.queries.whom import ways
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally

CALL = CaseCall._meta.db_table
LETTER = Letter._meta.db_table
NAMED = LetterBox._meta.db_table
REPLACED = Replacement._meta.db_table


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


def letters(tally: Tally) -> None:
    """A letter goes to whom the case reaches, and names boxes of its list.

    What it names as new no letter to the same consignee named before; what it does not,
    some letter about the case did.

    Args:
        tally: Where letters are counted and faults noted.
    """
    for case in _cases("letters"):
        right, told = _reached(case), set[int]()
        by_whom: dict[int, set[int]] = defaultdict(set)
        words = "A letter is to somebody whom the case does not reach."
        other = case.letters.exclude(consignee__in=right)
        tally.each(LETTER, other, words, "reached", "another")
        for letter in case.letters.order_by("pk"):
            tally.count += 1
            mine = by_whom[letter.consignee_id]
            boxes = letter.boxes.order_by("pk")
            for pk, listed, new, of in boxes.values_list(
                "pk", "listed", "new", "listed__case"
            ):
                wrong = "It names a box that is not on the list of its case."
                tally.same(NAMED, pk, wrong, case.pk, of)
                if (listed in mine) if new else (listed not in told):
                    words = "It names a box as new that is not, or the other way."
                    tally.add(NAMED, pk, words, not new, new)
            these = set(boxes.values_list("listed", flat=True))
            mine |= these
            told |= these
    its = {"shipment": OuterRef("shipment"), "box": OuterRef("listed__box")}
    left = Exists(ShipScan.objects.filter(on=True, **its))
    passed = PassedOn.objects.filter(consignee=OuterRef("passed_to"), **its)
    tally.each(NAMED, LetterBox.objects.exclude(left), "Its box left otherwise.")
    other_way = LetterBox.objects.exclude(passed_to=None).exclude(Exists(passed))
    tally.each(NAMED, other_way, "Its box was not passed on to them.")


def replacements(tally: Tally) -> None:
    """A box is replaced by a request for its product, of somebody whom its case reaches.

    Args:
        tally: Where replacements are counted and faults noted.
    """
    product = Q(request__product=F("listed__box__size__product"))
    for case in _cases("boxes__replacements"):
        some = Replacement.objects.filter(listed__case=case)
        tally.count += some.count()
        own = product & Q(request__consignee__in=_reached(case))
        tally.each(REPLACED, some.exclude(own), "A request of others replaces a box.")


def _cases(told: str) -> Iterator[Case]:
    return Case.objects.filter(**{f"{told}__isnull": False}).distinct().iterator()


def _reached(case: Case) -> set[int]:
    merged = list(Merging.objects.order_by("pk").values_list("consignee", "into"))
    return _with_merged({one.pk for one, _box in ways(case)}, merged)


def _with_merged(ids: set[int], merged: Iterable[tuple[int, int]]) -> set[int]:
    """Those, and all that they were said to be."""
    found, more = set(ids), set(ids)
    while more := {into for one, into in merged if one in more} - found:
        found |= more
    return found


register(
    ("case calls", "calls", calls),
    ("case letters", "letters", letters),
    ("replacements", "boxes", replacements),
)
