"""What the pages of a case and of the day say of answers: counts, and who is late."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Exists, FilteredRelation, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from dispatch.consignees.queries import stays
from dispatch.domain.replies import Answer
from dispatch.models import (
    Case,
    CaseBox,
    CaseHold,
    Consignee,
    ReplyBox,
    ReplyTerm,
    ReturnUndone,
)
from dispatch.recall.queries.cases import closing_of, due_on, is_closed
from dispatch.replies.queries.accounts import Account, Asked, accounts, by_consignee
from dispatch.replies.words import ANSWERS
from kitting.domain.stages import GONE
from kitting.models import Operation


@dataclass(frozen=True)
class Counted:
    """Boxes and sets of one answer; a box with two answers counts under both."""

    words: str
    boxes: int
    sets: int


def counted(found: Collection[Account]) -> tuple[Counted, ...]:
    """Count boxes and sets by answer, those without one last.

    Args:
        found: The boxes of a case.

    Returns:
        What there is of each.
    """
    boxes: Counter[str] = Counter()
    sets: Counter[str] = Counter()
    for each in found:
        for answer, count in (each.known.said if each.known else {}).items():
            boxes[answer] += 1
            sets[answer] += count
    unsaid = [each.known.unsaid for each in found if each.is_to_answer and each.known]
    rows = [
        Counted(str(ANSWERS[each]), boxes[each], sets[each])
        for each in Answer
        if boxes[each]
    ]
    if unsaid:
        rows.append(Counted(str(ANSWERS[""]), len(unsaid), sum(unsaid)))
    return tuple(rows)


@dataclass(frozen=True)
class FollowUp:
    """What the page of a case says of answers."""

    found: tuple[Account, ...]
    consignees: tuple[Asked, ...]
    counted: tuple[Counted, ...]
    here: int
    """Boxes that are here, neither in quarantine nor voided."""
    due: date | None
    is_late: bool
    """Whether that day is over."""
    is_closed: bool

    @property
    def unaccounted(self) -> int:
        """Boxes that are not accounted for."""
        return sum(each.unaccounted > 0 for each in self.found)

    @property
    def sets(self) -> int:
        """Sets that are not accounted for."""
        return sum(each.unaccounted for each in self.found)

    @property
    def late(self) -> tuple[Asked, ...]:
        """Who has not answered for all of its boxes although the day is over."""
        if not self.is_late or self.is_closed:
            return ()
        return tuple(each for each in self.consignees if each.to_answer)


def follow_up(case: Case, today: date) -> FollowUp:
    """Read what the page of a case says of answers.

    Args:
        case: The case.
        today: The workshop's day.

    Returns:
        All of it.
    """
    found, due = accounts(case), due_on(case)
    here = sum(each.unaccounted > 0 and each.known is None for each in found)
    return FollowUp(
        found=found,
        consignees=by_consignee(found),
        counted=counted(found),
        here=here,
        due=due,
        is_late=due is not None and due < today,
        is_closed=closing_of(case) is not None,
    )


@dataclass(frozen=True)
class Late:
    """A consignee that has not answered for all of its boxes in time."""

    case: str
    code: str
    name: str
    boxes: int
    """Of which it has not said anything."""


def late(today: date) -> list[Late]:
    """Read who has not answered for boxes of a case although the day for it is over.

    Of a case that something was taken out of, or of which boxes turned out not to have come
    back, more is asked: which boxes it still holds, and for how many sets an answer lacks.

    Args:
        today: The workshop's day.

    Returns:
        The consignees by case, the newest first.
    """
    found = []
    narrowed: dict[int, dict[int, int]] = {}
    for row in _unanswered():
        case, whom, boxes = row["case_id"], row["whom"], row["boxes"]
        due = timezone.localdate(row["term_at"]) + timedelta(days=row["term_days"])
        if due >= today:
            continue
        if row["narrowed"]:
            if case not in narrowed:
                theirs = by_consignee(accounts(Case.objects.get(pk=case)))
                narrowed[case] = {each.consignee.pk: each.to_answer for each in theirs}
            boxes = narrowed[case].get(whom, 0)
        if boxes:
            found.append(Late(row["case__number"], row["code"], row["name"], boxes))
    return found


def _unanswered() -> Iterable[dict[str, Any]]:
    """By open case with a day for answers, who has boxes that it says nothing of."""
    has = [
        f"load__{way}__consignee__{which}"
        for way in ("passed", "shipment")
        for which in ("merged_into", "id")
    ]
    whom = Consignee.objects.filter(pk=OuterRef("whom"))
    terms = ReplyTerm.objects.filter(case=OuterRef("case")).order_by("-pk")
    term = Operation.objects.filter(pk=OuterRef("term_by"))
    lifted = CaseHold.objects.filter(
        look__case=OuterRef("case"), hold__lift__isnull=False
    )
    its = CaseBox.objects.filter(case=OuterRef(OuterRef("case"))).values("box")
    not_back = ReturnUndone.objects.filter(returned__box__in=its)
    told = ReplyBox.objects.filter(reply__case=OuterRef("case"), box=OuterRef("box"))
    told = told.annotate(who=stays("id", "reply__consignee"))
    live = Q(box__shipment_boxes__live=True)
    found: Iterable[dict[str, Any]] = (
        CaseBox.objects.filter(box__stage__in=GONE, case__terms__isnull=False)
        .exclude(is_closed("case"))
        .annotate(
            load=FilteredRelation("box__shipment_boxes", condition=live),
            whom=Coalesce(*has),
            term_by=Subquery(terms.values("operation")[:1]),
            term_at=Subquery(term.values("at")[:1]),
            term_days=Subquery(terms.values("days")[:1]),
            narrowed=Exists(lifted) | Exists(not_back),
            name=Subquery(whom.values("name")[:1]),
            code=Subquery(whom.values("code")[:1]),
        )
        .filter(
            ~Exists(told.filter(who=OuterRef("whom")))
            | Exists(not_back.filter(returned__box=OuterRef("box")))
        )
        .order_by("-case", "name", "whom")
        .values(
            *("case_id", "case__number", "whom", "name", "code"),
            *("term_at", "term_days", "narrowed"),
        )
        .annotate(boxes=Count("box", distinct=True))
    )
    return found
