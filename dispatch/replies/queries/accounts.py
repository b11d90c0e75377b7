"""What is known of the boxes of a case: what consignees say, and what is unaccounted for."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeAlias

from django.db.models import Max, Q, QuerySet, Sum

from dispatch.consignees.queries import same_as
from dispatch.domain.replies import By, Standing, standing
from dispatch.models import (
    Case,
    Consignee,
    Reply,
    ReplyBox,
    Return,
)
from dispatch.recall.queries.cases import (
    Listed,
    boxes_of,
    standing_holds_of,
)
from dispatch.replies.words import ANSWERS, WAYS
from kitting.domain.stages import GONE, BoxStage
from kitting.ledger.reach import reach_of


@dataclass(frozen=True)
class Part:
    """Some sets of a box, with what is said of them."""

    answer: str
    """As in ``Answer``."""
    words: str
    sets: int
    whom: str = ""
    """Who has them now, for those that were passed on."""


@dataclass(frozen=True)
class Told:
    """One reply, as far as it speaks of some boxes."""

    pk: int
    words: str
    """How it came."""
    by_link: bool
    """Whether its consignee wrote it itself."""
    told_by: str
    note: str
    at: datetime
    """When it was said."""
    by: str
    """Who wrote it down."""
    noted_at: datetime
    consignee_id: int
    """Whose it is, with whom it was merged counted as one."""
    consignee: str
    of_boxes: Mapping[str, tuple[Part, ...]]
    """By serial."""


@dataclass(frozen=True)
class Account:
    """A box on the list of a case, and what became of it."""

    box: Listed
    known: Standing | None
    """Of its sets; None while it is here, in whatever stage."""
    told: Told | None
    """The newest answer of whoever has it."""

    @property
    def parts(self) -> tuple[Part, ...]:
        """What is said of its sets, less those that came back since."""
        if self.known is None or self.told is None:
            return ()
        every = self.told.of_boxes[self.box.serial]
        left = self.known.said
        return tuple(
            Part(each.answer, each.words, left[each.answer], each.whom)
            for each in every
            if each.answer in left
        )

    @property
    def out(self) -> int:
        """Sets of it that are out: what an answer has to speak of."""
        return self.box.sets - self.known.back if self.known else 0

    @property
    def is_to_answer(self) -> bool:
        """Whether somebody has to say what became of it, in full."""
        return self.box.held and self.known is not None and self.known.unsaid > 0

    @property
    def unaccounted(self) -> int:
        """Sets of which something may still come."""
        if not self.box.held or self.box.now == BoxStage.VOIDED:
            return 0
        if self.known is not None:
            return self.known.unaccounted
        return 0 if self.box.in_quarantine else self.box.sets


@dataclass(frozen=True)
class Asked:
    """A consignee, with the boxes of a case that it has now."""

    consignee: Consignee
    boxes: tuple[Account, ...]

    @property
    def to_answer(self) -> int:
        """Boxes of which it has not said everything."""
        return sum(each.is_to_answer for each in self.boxes)

    @property
    def sets(self) -> int:
        """Sets that went to it in these boxes."""
        return sum(each.box.sets for each in self.boxes)

    @property
    def unaccounted(self) -> int:
        """Sets of which something may still come."""
        return sum(each.unaccounted for each in self.boxes)

    def next_of(self, number: str, most: int) -> tuple[Account, ...]:
        """Those to ask about now: one that is named, else what has no answer first.

        Args:
            number: That of a box; what names none of these asks about all.
            most: How many at a time.
        """
        named = "".join(filter(str.isalnum, number)).upper()
        if one := [each for each in self.boxes if each.box.serial == named]:
            return tuple(one)
        return tuple(sorted(self.boxes, key=lambda each: not each.is_to_answer)[:most])

    @property
    def newest(self) -> datetime | None:
        """When it last answered."""
        told = (each.told.at for each in self.boxes if each.told)
        return max(told, default=None)


@dataclass(frozen=True)
class Before:
    """The newest that a consignee said of a box in another case."""

    case: str
    told: Told
    parts: tuple[Part, ...]
    """Of all sets that are out, less those that came back since."""


Said: TypeAlias = Mapping[Any, Any]
"""What each answer is called."""


def accounts(case: Case, words: Said = ANSWERS) -> tuple[Account, ...]:
    """Read what became of each box on the list of a case.

    Args:
        case: The case.
        words: What each answer is called.

    Returns:
        The boxes in the order of its list, in a number of queries that never grows.
    """
    boxes = boxes_of(case, reach_of(standing_holds_of(case)))
    back, told = _back(case), _newest(Reply.objects.filter(case=case), words)
    return tuple(_account(box, back.get(box.box, 0), told) for box in boxes)


def unaccounted(case: Case) -> tuple[Account, ...]:
    """Read which boxes of a case are not accounted for.

    A box is accounted for once it is in quarantine here or voided, once nothing of the
    scope holds it any more, or once each set of it that is out was used or destroyed;
    loose sets that came back count as here. See ``dispatch.domain.replies.ACCOUNTS``.

    Args:
        case: The case.

    Returns:
        The others, in the order of its list: a case closes without a reason where there is none.
    """
    return tuple(each for each in accounts(case) if each.unaccounted)


def by_consignee(found: Iterable[Account]) -> tuple[Asked, ...]:
    """Sort the boxes that are out by who has them now.

    Args:
        found: The boxes of a case.

    Returns:
        The consignees by name.
    """
    theirs: dict[int, list[Account]] = {}
    for each in found:
        if each.known is not None and each.box.held and each.box.whom:
            theirs.setdefault(each.box.whom, []).append(each)
    rows = Consignee.objects.in_bulk(theirs)
    asked = (Asked(rows[whom], tuple(boxes)) for whom, boxes in theirs.items())
    return tuple(sorted(asked, key=lambda each: each.consignee.name))


def asked_of(case: Case, consignee: Consignee, words: Said = ANSWERS) -> Asked:
    """Read the boxes of a case that a consignee has now.

    Args:
        case: The case.
        consignee: The consignee; those that were merged into it count as it.
        words: What each answer is called.

    Returns:
        It, with its boxes; there may be none.
    """
    theirs = (each for each in accounts(case, words) if each.box.whom == consignee.pk)
    held = (each for each in theirs if each.known is not None and each.box.held)
    return Asked(consignee, tuple(held))


def said_before(
    case: Case, boxes: Collection[Account], words: Said = ANSWERS
) -> dict[int, Before]:
    """Read what those who have boxes of a case said of them in other cases.

    Args:
        case: The case.
        boxes: Some of its boxes, as their consignee has them.
        words: What each answer is called.

    Returns:
        By box, where that accounts for all its sets that are out.
    """
    others = Reply.objects.exclude(case=case)
    told = _newest(others.filter(lines__box__in=[e.box.box for e in boxes]), words)
    cases = dict(
        others.filter(pk__in=[e.pk for e in told.values()]).values_list(
            "pk", "case__number"
        )
    )
    found = {}
    for each in boxes:
        then = _account(each.box, each.known.back if each.known else 0, told)
        if then.told and then.known and not then.known.unsaid:
            found[each.box.box] = Before(cases[then.told.pk], then.told, then.parts)
    return found


def replies_of(
    case: Case, consignee: Consignee, words: Said = ANSWERS
) -> tuple[Told, ...]:
    """Read all that a consignee said of boxes of a case.

    Args:
        case: The case.
        consignee: The consignee; those that were merged into it count as it.
        words: What each answer is called.

    Returns:
        Its replies, the newest first; each stays as it was said.
    """
    same = Q(consignee=consignee) | Q(consignee__merged_into=consignee)
    told = _told(Reply.objects.filter(same, case=case), words)
    return tuple(reversed(told.values()))


def newest_of(replies: Iterable[Told]) -> int:
    """The id of the newest of some replies.

    Args:
        replies: The replies.

    Returns:
        The id, 0 for none.
    """
    return max((each.pk for each in replies), default=0)


def newest_about(box_ids: Collection[int], case: Case, consignee: Consignee) -> int:
    """The id of the newest reply of a consignee about some boxes of a case, 0 for none.

    Args:
        box_ids: The boxes.
        case: The case.
        consignee: The consignee; those that were merged into it count as it.

    Returns:
        The id.
    """
    own = same_as(consignee.stays.pk)
    rows = ReplyBox.objects.filter(
        reply__case=case, reply__consignee__in=own, box__in=box_ids
    )
    return rows.aggregate(newest=Max("reply"))["newest"] or 0


def out_of(box_ids: Collection[int], sets: Mapping[int, int]) -> dict[int, int]:
    """Read how many sets of boxes did not come back.

    Args:
        box_ids: The boxes.
        sets: How many left in each, by its id.

    Returns:
        The sets by box.
    """
    back = _came_back(Q(box__in=box_ids))
    return {box: sets[box] - back.get(box, 0) for box in box_ids}


def _account(box: Listed, back: int, told: Mapping[int, Told]) -> Account:
    if box.now not in GONE:
        return Account(box, None, None)
    newest = told.get(box.box)
    if newest is not None and newest.consignee_id != box.whom:
        newest = None  # it was passed on since: whoever has it now answers for it
    parts = newest.of_boxes[box.serial] if newest else ()
    said = {each.answer: each.sets for each in parts}
    return Account(box, standing(box.sets, back, said), newest)


def _back(case: Case) -> dict[int, int]:
    return _came_back(Q(box__cases__case=case))


def _came_back(which: Q) -> dict[int, int]:
    rows = Return.objects.filter(which, undone=None).order_by()
    return dict(rows.values_list("box").annotate(sets=Sum("sets")))


def _newest(some: QuerySet[Reply], words: Said) -> dict[int, Told]:
    """By box the newest of some replies about it."""
    replies = _told(some, words)
    rows = ReplyBox.objects.filter(reply__in=some).order_by()
    newest = rows.values_list("box").annotate(reply=Max("reply"))
    return {box: replies[reply] for box, reply in newest}


def _told(rows: QuerySet[Reply], words: Said) -> dict[int, Told]:
    """Replies with their lines, by id, the oldest first."""
    lines: dict[int, dict[str, list[Part]]] = {}
    every = ReplyBox.objects.filter(reply__in=rows).select_related("box", "consignee")
    for line in every.order_by("box__serial", "pk"):
        part = Part(line.answer, str(words[line.answer]), line.sets, line.whom)
        lines.setdefault(line.reply_id, {}).setdefault(str(line.box), []).append(part)
    beside = rows.select_related("operation", "consignee__merged_into")
    return {
        row.pk: Told(
            pk=row.pk,
            words=str(WAYS[row.way]),
            by_link=row.way == By.LINK,
            told_by=row.told_by,
            note=row.note,
            at=row.when,
            by=row.operation.by_name,
            noted_at=row.operation.at,
            consignee_id=row.consignee.stays.pk,
            consignee=row.consignee.name,
            of_boxes={box: tuple(parts) for box, parts in lines[row.pk].items()},
        )
        for row in beside.order_by("pk")
    }
