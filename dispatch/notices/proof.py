"""What is told of a case is told to whom it reaches, and to nobody else."""

from __future__ import annotations

from collections.abc import Iterable

from dispatch.models import Case, CaseCall, Merging
from dispatch.notices.queries.whom import ways
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally

CALL = CaseCall._meta.db_table


def calls(tally: Tally) -> None:
    """Whoever was called had a box of the case, or was said to be one that had.

    Args:
        tally: Where calls are counted and faults noted.
    """
    merged = list(Merging.objects.order_by("pk").values_list("consignee", "into"))
    called = Case.objects.filter(calls__isnull=False).distinct()
    for case in called.order_by("pk").iterator():
        right = _with_merged({one.pk for one, _box in ways(case)}, merged)
        for call in case.calls.order_by("pk"):
            tally.count += 1
            if call.consignee_id not in right:
                words = "Somebody was called whom the case does not reach."
                tally.add(CALL, call.pk, words, sorted(right), call.consignee_id)


def _with_merged(ids: set[int], merged: Iterable[tuple[int, int]]) -> set[int]:
    """Those, and all that they were said to be."""
    found, more = set(ids), set(ids)
    while more := {into for one, into in merged if one in more} - found:
        found |= more
    return found


register(("case calls", "calls", calls))
