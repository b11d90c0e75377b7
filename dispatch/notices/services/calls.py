"""Calls about a case: what came of each, and which were noted wrongly."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime

from dispatch.domain.notices import LONGEST, Heard, Outcome
from dispatch.models import CallUndone, Case, CaseCall, Consignee
from dispatch.notices.steps import need_whom
from dispatch.recall.steps import need_when
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_length, need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform


@dataclass(frozen=True)
class Called:
    """A call that is on record."""

    case: str
    consignee: str
    outcome: str
    reason: str = ""
    """Why it was undone; empty while it is good."""


def note_call(
    *,
    number: str,
    consignee_id: int,
    heard: Heard,
    sign: Sign,
    when: datetime | None = None,
) -> Called:
    """Note a call about a case; who called is who does this.

    Args:
        number: The case.
        consignee_id: Who was called; the case reaches it.
        heard: What came of it.
        sign: Who, when and the operation key.
        when: When it was, to the minute; None for now.

    Returns:
        The call.

    Raises:
        Missing: If there is no such case or consignee.
        Refused: ``case_not_there``, ``entry_missing`` for an outcome that there is not,
            ``spoke_to_missing`` of somebody reached, ``call_reached_nobody`` where more
            is said of nobody, ``entry_too_long``; as for ``need_when``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Called:
        case = need_row(Case.objects.filter(number=number))
        consignee = need_whom(case, consignee_id).consignee
        if heard.outcome not in {*Outcome}:
            raise Refused("entry_missing", what="outcome")
        who = need_length("name", heard.spoke_to, LONGEST["spoke_to"])
        done = (heard.stopped, heard.set_aside, heard.told_on)
        if heard.outcome == Outcome.REACHED and not who:
            raise Refused("spoke_to_missing")
        if heard.outcome != Outcome.REACHED and (who or any(done)):
            raise Refused("call_reached_nobody")
        said = need_length("remark", heard.said, LONGEST["said"])
        told = {**asdict(heard), "spoke_to": who, "said": said}
        at = need_when(act, case, when)
        act.write(CaseCall(case=case, consignee=consignee, called_at=at, **told))
        return Called(case.number, consignee.name, heard.outcome)

    return perform(
        "note_call",
        work,
        Called,
        sign,
        case=number,
        consignee=consignee_id,
        **asdict(heard),
        when=when,
    )


def undo_call(*, call_id: int, reason: str, sign: Sign) -> Called:
    """Say that a call was noted wrongly; it stays on record, and this beside it.

    Args:
        call_id: The call.
        reason: What is wrong with it.
        sign: Who, when and the operation key.

    Returns:
        The call.

    Raises:
        Conflict: ``call_undone`` already.
        Missing: If there is no such call.
        Refused: ``reason_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Called:
        why = need_reason(reason)
        rows = CaseCall.objects.select_related("case", "consignee")
        call = need_row(rows.filter(pk=call_id))
        locking.lock_row(Consignee, call.consignee_id)  # one at a time
        if CallUndone.objects.filter(call=call).exists():
            raise Conflict("call_undone")
        act.write(CallUndone(call=call, reason=why))
        return Called(call.case.number, call.consignee.name, call.outcome, why)

    return perform("undo_call", work, Called, sign, call=call_id, reason=reason)
