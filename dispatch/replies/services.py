"""What consignees say of the boxes of a case: kept, each answer beside those before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Final

from dispatch.domain.replies import MOST_DAYS, OURS, By, Line
from dispatch.models import Case, Consignee, Reply, ReplyLink, ReplyTerm
from dispatch.recall.links import link_in_force
from dispatch.recall.queries.cases import closing_of
from dispatch.recall.steps import need_open_case, need_when
from dispatch.replies.steps import keep_reply
from kitting.domain.errors import Conflict, Missing, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform

_NOTHING: Final[Mapping[str, str]] = MappingProxyType({})


@dataclass(frozen=True)
class Replied:
    """What a consignee said of boxes of a case."""

    case: str
    consignee: str
    boxes: int


def record_reply(
    *,
    number: str,
    consignee_id: int,
    way: str,
    told_by: str,
    note: str,
    lines: Sequence[Line],
    seen: int,
    sign: Sign,
    sent: Mapping[str, str] = _NOTHING,
    when: datetime | None = None,
) -> Replied:
    """Record what became of boxes of a case, as their consignee says.

    A later answer about the same box supersedes it; both stay on record. A whole box that
    was passed on to a consignee on record is that one's from now on, as ``pass_on`` says.

    Args:
        number: The case.
        consignee_id: Who has the boxes.
        way: How it was said: one of ``OURS``.
        told_by: Who said so, as written.
        note: A remark.
        lines: What became of the sets: of each box all that are out, several lines where
            they have several answers.
        seen: The newest reply that whoever writes knew of; 0 for none.
        sign: Who, when and the operation key.
        sent: The answers as they were sent, where the lines were made of them by what
            was so then: by these it is told whether the same is sent again.
        when: When it was said, to the minute; None for now.

    Returns:
        The case and how many boxes.

    Raises:
        Conflict: ``answered_since``.
        Missing: If there is no such case, consignee or box.
        Refused: ``reply_way``; as for ``keep_reply`` and ``need_when``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Replied:
        locking.enter_gate()  # who closes a case shuts it
        case = need_open_case(number)
        if way not in OURS:
            raise Refused("reply_way")
        whom = need_row(Consignee.objects.filter(pk=consignee_id)).stays
        reply = Reply(case=case, consignee=whom, way=way, told_by=told_by, note=note)
        reply.said_at = need_when(act, case, when)
        keep_reply(act, reply, lines, seen)
        return Replied(case.number, whom.name, len({line.box_id for line in lines}))

    return perform(
        "record_reply",
        work,
        Replied,
        sign,
        case=number,
        consignee=consignee_id,
        way=way,
        told_by=told_by,
        note=note,
        lines=sent or [list(astuple(line)) for line in lines],
        seen=seen,
        when=when,
    )


@dataclass(frozen=True)
class Wanted:
    """A case that wants answers by some day."""

    case: str
    days: int


def want_replies(*, number: str, days: int, sign: Sign) -> Wanted:
    """Say by when a case wants answers: who has not given them then is listed.

    Args:
        number: The case.
        days: So many days from today, 0 to ``MOST_DAYS``; an earlier word counts no more.
        sign: Who, when and the operation key.

    Returns:
        The case.

    Raises:
        Missing: If there is no such case.
        Refused: ``reply_days``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Wanted:
        locking.enter_gate()  # who closes a case shuts it
        case = need_open_case(number)
        if not 0 <= days <= MOST_DAYS:
            raise Refused("reply_days", most=MOST_DAYS)
        act.write(ReplyTerm(case=case, days=days))
        return Wanted(case.number, days)

    return perform("want_replies", work, Wanted, sign, case=number, days=days)


MOST_ANSWERS: Final = 30
"""So often within a day a consignee may answer by one link: nobody searches faster."""
A_DAY: Final = timedelta(days=1)


def reply_by_link(
    *,
    number: str,
    consignee_id: int,
    nth: int,
    told_by: str,
    note: str,
    lines: Sequence[Line],
    seen: int,
    sign: Sign,
    sent: Mapping[str, str] = _NOTHING,
) -> Replied:
    """Keep what a consignee says on its page of the boxes that it has.

    Args:
        number: The case.
        consignee_id: The consignee.
        nth: Of which of its links it showed the token.
        told_by: Who says so, as written.
        note: A remark.
        lines: As for ``record_reply``; whom it passed boxes on to it says in words.
        seen: The newest reply that its page showed; 0 for none.
        sign: By the consignee.
        sent: As for ``record_reply``.

    Returns:
        The case and how many boxes.

    Raises:
        Conflict: ``answered_since``.
        Missing: ``link_is_over`` if the case was closed or the link ended meanwhile.
        Refused: ``answered_too_often``; as for ``keep_reply``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Replied:
        locking.enter_gate()  # who closes a case shuts it, or ends a link
        case = need_row(Case.objects.filter(number=number))
        whom = need_row(Consignee.objects.filter(pk=consignee_id)).stays
        if closing_of(case) is not None or link_in_force(case, whom) != nth:
            raise Missing("link_is_over")
        by_it = Reply.objects.filter(case=case, consignee=whom, way=By.LINK, nth=nth)
        if by_it.filter(operation__at__gt=act.now - A_DAY).count() >= MOST_ANSWERS:
            raise Refused("answered_too_often")
        reply = Reply(case=case, consignee=whom, way=By.LINK, nth=nth)
        reply.told_by, reply.note = told_by, note
        named = [replace(line, consignee_id=None) for line in lines]
        keep_reply(act, reply, named, seen)
        return Replied(case.number, whom.name, len({line.box_id for line in lines}))

    return perform(
        "reply_by_link",
        work,
        Replied,
        sign,
        case=number,
        consignee=consignee_id,
        nth=nth,
        told_by=told_by,
        note=note,
        lines=sent or [list(astuple(line)) for line in lines],
        seen=seen,
    )


@dataclass(frozen=True)
class LinkEnded:
    """A link of a consignee to a case that is good no more; the next one is."""

    case: str
    consignee: str
    nth: int


def end_reply_link(
    *, number: str, consignee_id: int, nth: int, sign: Sign
) -> LinkEnded:
    """End a consignee's link to a case; the one after it is good from now on.

    Args:
        number: The case.
        consignee_id: The consignee.
        nth: Which of its links.
        sign: Who, when and the operation key.

    Returns:
        The link that was ended.

    Raises:
        Conflict: ``reply_link_ended`` if it is not the one in force.
        Missing: If there is no such case or consignee.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> LinkEnded:
        locking.shut_gate()
        case = need_open_case(number)
        whom = need_row(Consignee.objects.filter(pk=consignee_id)).stays
        if link_in_force(case, whom) != nth:
            raise Conflict("reply_link_ended", name=whom.name)
        act.write(ReplyLink(case=case, consignee=whom, nth=nth))
        return LinkEnded(case.number, whom.name, nth)

    return perform(
        "end_reply_link",
        work,
        LinkEnded,
        sign,
        case=number,
        consignee=consignee_id,
        nth=nth,
    )
