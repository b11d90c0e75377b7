"""What the pages of a case and of the day say of answers: counts, and who is late."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import islice
from typing import Final

from django.utils import timezone

from dispatch.domain.replies import Answer
from dispatch.models import Case, ReplyTerm
from dispatch.recall.queries.cases import closing_of
from dispatch.replies.queries.accounts import Account, Asked, accounts, by_consignee
from dispatch.replies.words import ANSWERS


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


def due_on(case: Case) -> date | None:
    """Read by which day a case wants answers.

    Args:
        case: The case.

    Returns:
        The last day for them, in the zone in force; None where nobody set one.
    """
    rows = ReplyTerm.objects.filter(case=case).select_related("operation")
    term = rows.order_by("-pk").first()
    if term is None:
        return None
    return timezone.localdate(term.operation.at) + timedelta(days=term.days)


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


MOST_CASES: Final = 5
"""Of so many cases, the newest, the page of the day says who has not answered."""


def late(today: date) -> list[tuple[Case, Asked]]:
    """Read who has not answered for all of its boxes although the day for it is over.

    Args:
        today: The workshop's day.

    Returns:
        Each with the case, the newest case first.
    """
    some = Case.objects.filter(terms__isnull=False).distinct().order_by("-pk")
    over = (case for case in some if (due := due_on(case)) and due < today)
    waiting = (case for case in over if closing_of(case) is None)
    return [
        (case, each)
        for case in islice(waiting, MOST_CASES)
        for each in by_consignee(accounts(case))
        if each.to_answer
    ]
