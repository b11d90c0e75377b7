"""Inner steps of whatever is told of a case."""

from __future__ import annotations

from datetime import date

from dispatch.domain.replies import MOST_DAYS
from dispatch.models import Case, Consignee, ReplyTerm
from dispatch.notices.queries.whom import Whom, one_of
from dispatch.recall.queries.cases import due_on
from kitting.domain.errors import Refused
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act


def need_whom(case: Case, consignee_id: int) -> Whom:
    """Need a consignee that a case reaches.

    Args:
        case: The case.
        consignee_id: The consignee, or one that was merged with it.

    Returns:
        It, with its boxes.

    Raises:
        Missing: If there is no such consignee.
        Refused: ``case_not_there``.
    """
    rows = Consignee.objects.filter(pk=consignee_id).select_related("merged_into")
    asked = need_row(rows)
    found = one_of(case, asked)
    if found is None:
        raise Refused("case_not_there", case=case.number, consignee=asked.name)
    return found


def want_by(act: Act, case: Case, day: date) -> None:
    """Let a case want answers by a day, if it does not already.

    Args:
        act: The act.
        case: The case; open, behind the gate.
        day: The day.

    Raises:
        Refused: ``answer_day`` if it is over, or further away than ``MOST_DAYS``.
    """
    days = (day - day_of(act.workshop, act.now)).days
    if not 0 <= days <= MOST_DAYS:
        raise Refused("answer_day", day=day, most=MOST_DAYS)
    if due_on(case) != day:
        act.write(ReplyTerm(case=case, days=days))
