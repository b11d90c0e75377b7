"""What consignees say of the boxes of a case: kept, each answer beside those before it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass

from dispatch.domain.replies import MOST_DAYS, OURS, Line
from dispatch.models import Consignee, Reply, ReplyTerm
from dispatch.recall.steps import need_open_case
from dispatch.replies.steps import keep_reply
from kitting.domain.errors import Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform


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

    Returns:
        The case and how many boxes.

    Raises:
        Conflict: ``answered_since``.
        Missing: If there is no such case, consignee or box.
        Refused: ``reply_way``; as for ``keep_reply``.
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
        lines=[list(astuple(line)) for line in lines],
        seen=seen,
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
