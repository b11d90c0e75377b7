"""Inner steps of whatever is told of a case."""

from __future__ import annotations

from dispatch.models import Case, Consignee
from dispatch.notices.queries.whom import Whom, one_of
from kitting.domain.errors import Refused
from kitting.ledger.needs import need_row


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
