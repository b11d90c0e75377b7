"""Closing cases, and reopening them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dispatch.closing.queries.closings import mark_of_scope
from dispatch.models import Case, Closing, ClosingBox, Reopening
from dispatch.models.closings import LONGEST_DECISION
from dispatch.pallets.steps import refuse_together
from dispatch.recall.queries.cases import closing_of, standing_holds_of
from dispatch.recall.steps import found_now, need_open_case, refuse_in_another
from dispatch.replies.queries.accounts import unaccounted
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.ledger import locking
from kitting.ledger.needs import need_another, need_reason, need_row, need_text
from kitting.ledger.operations import Act, Sign, perform


@dataclass(frozen=True)
class Closed:
    """A case that is closed, or open again."""

    case: str
    without: int = 0
    """Boxes that it was closed without knowing their end."""


def close_case(
    *,
    number: str,
    cause: str,
    done: str,
    prevention: str,
    seen: str,
    sign: Sign,
    reasons: Sequence[tuple[int, str]] = (),
) -> Closed:
    """Close a case: every box on its list has its end, or there is a reason.

    Its holds stay. Where the workshop asks for two people, whoever opened it does not
    close it.

    Args:
        number: The case.
        cause: What was wrong, and how it came about.
        done: What was done.
        prevention: What keeps it from happening again.
        seen: How the case stood when it was read; see ``mark_of_scope``.
        sign: Who, when and the operation key.
        reasons: Of boxes without an end, by id: why it is closed all the same. Of those
            that have one by now, nothing is written.

    Returns:
        The case.

    Raises:
        Conflict: ``case_changed`` if it looked again or a hold was lifted since.
        Missing: ``row_missing`` if there is no such case.
        Refused: ``decision_missing``, ``closing_own``, ``case_reaches_more``,
            ``entry_too_long``, ``entry_not_shown``; ``box_unaccounted`` of each box
            that lacks a reason, all but the first in ``besides``.
        WrongStage: ``case_closed`` if it is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Closed:
        locking.shut_gate()
        case = need_open_case(number)
        decided = {
            name: need_text(name, said, LONGEST_DECISION, missing="decision_missing")
            for name, said in (
                ("cause", cause),
                ("done", done),
                ("prevention", prevention),
            )
        }
        need_another(act, [case.operation.by_id], "closing_own")
        if seen != mark_of_scope(case):
            raise Conflict("case_changed", case=number)
        if more := found_now(case):
            raise Refused("case_reaches_more", case=number, boxes=len(more))
        closing = Closing(
            case=case, nth=Closing.objects.filter(case=case).count() + 1, **decided
        )
        without = _without(closing, dict(reasons))
        act.write(closing)
        act.write(*without)
        return Closed(case=number, without=len(without))

    return perform(
        "close_case",
        work,
        Closed,
        sign,
        case=number,
        cause=cause,
        done=done,
        prevention=prevention,
        seen=seen,
        reasons=[list(each) for each in reasons],
    )


def _without(closing: Closing, reasons: dict[int, str]) -> list[ClosingBox]:
    left = [each.box for each in unaccounted(closing.case)]
    silent = [box for box in left if not reasons.get(box.box, "").strip()]
    refuse_together(Refused("box_unaccounted", box=box.serial) for box in silent)
    return [
        ClosingBox(
            closing=closing, box_id=box.box, reason=need_reason(reasons[box.box])
        )
        for box in left
    ]


def reopen_case(*, number: str, reason: str, sign: Sign) -> Closed:
    """Open a case again that was closed.

    Args:
        number: The case.
        reason: Why.
        sign: Who, when and the operation key.

    Returns:
        The case.

    Raises:
        Conflict: ``case_has_it`` where another case has something of its scope by now.
        Missing: ``row_missing`` if there is no such case.
        Refused: ``reason_missing``, ``entry_too_long``, ``entry_not_shown``.
        WrongStage: ``case_is_open``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Closed:
        locking.shut_gate()
        case = need_row(Case.objects.filter(number=number))
        why = need_reason(reason)
        closing = closing_of(case)
        if closing is None:
            raise WrongStage("case_is_open", case=number)
        refuse_in_another(standing_holds_of(case))
        act.write(Reopening(closing=closing, reason=why))
        return Closed(case=number)

    return perform("reopen_case", work, Closed, sign, case=number, reason=reason)
