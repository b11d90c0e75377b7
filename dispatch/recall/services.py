"""Recall cases: opened with holds and a list of boxes, widened, looked for again."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from dispatch.models import Case, CaseBox
from dispatch.models.cases import LONGEST_CLASS, LONGEST_HAZARD
from dispatch.recall.steps import Target, look, need_open_case, need_scope
from kitting.domain.numbers import Kind
from kitting.domain.stages import GONE, HERE
from kitting.ledger import locking
from kitting.ledger.counters import take
from kitting.ledger.needs import need_length, need_reason, need_text
from kitting.ledger.operations import Act, Sign, perform


@dataclass(frozen=True)
class Looked:
    """What a case found when it was opened, widened, or looked again."""

    case: str
    holds: int
    """Holds that were placed."""
    boxes: int
    """Boxes that came onto its list."""
    here: int
    """Of those, in the workshop, or back in it."""
    gone: int
    """Of those, with a consignee."""


def open_case(
    *,
    scope: Sequence[Target],
    hazard: str,
    reason: str,
    sign: Sign,
    rated: str = "",
) -> Looked:
    """Open a case: hold all that it is about, and list every box that it reaches.

    Args:
        scope: What it is about: what holds can stand on, at least one.
        hazard: What it can do to whom.
        reason: Why it is opened, such as who called.
        sign: Who, when and the operation key.
        rated: The class under local law, as whoever opens it decides; may be empty.

    Returns:
        The case and what it found; a case may reach no box at all.

    Raises:
        Conflict: ``case_has_it`` where another case has one of them in its scope.
        Missing: ``row_missing`` if there is no such thing.
        Refused: ``scope_missing``, ``hazard_missing``, ``reason_missing``,
            ``entry_too_long``, ``entry_not_shown``, ``hold_target_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Looked:
        locking.shut_gate()
        targets = need_scope(scope)
        what = need_text("hazard", hazard, LONGEST_HAZARD, missing="hazard_missing")
        why = need_reason(reason)
        level = need_length("class", rated, LONGEST_CLASS)
        # Early, since its holds name it; nobody else takes one while the gate is shut.
        number = take(act.workshop.site, Kind.CASE)[0]
        case = Case(number=number, hazard=what, rated=level)
        act.write(case)
        return _looked(case, *look(act, case, why, targets))

    return perform(
        "open_case",
        work,
        Looked,
        sign,
        scope=[list(each) for each in scope],
        hazard=hazard,
        reason=reason,
        rated=rated,
    )


def widen_case(
    *, number: str, scope: Sequence[Target], reason: str, sign: Sign
) -> Looked:
    """Bring more into the scope of a case, and look for boxes again.

    Args:
        number: The case.
        scope: What comes in, at least one.
        reason: Why.
        sign: Who, when and the operation key.

    Returns:
        What it found beyond its list.

    Raises:
        Conflict: ``case_has_it`` where this case or another has it in its scope.
        Missing: ``row_missing`` if there is no such case or thing.
        Refused: ``scope_missing``, ``reason_missing``, ``entry_too_long``,
            ``entry_not_shown``, ``hold_target_unknown``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Looked:
        locking.shut_gate()
        case = need_open_case(number)
        targets, why = need_scope(scope), need_reason(reason)
        return _looked(case, *look(act, case, why, targets))

    sent = [list(each) for each in scope]
    return perform(
        "widen_case", work, Looked, sign, case=number, scope=sent, reason=reason
    )


def look_again(*, number: str, sign: Sign) -> Looked:
    """Look for boxes that a case reaches and that are not on its list.

    Args:
        number: The case.
        sign: Who, when and the operation key.

    Returns:
        What it found; that there was nothing is on record as well.

    Raises:
        Missing: If there is no such case.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Looked:
        locking.shut_gate()
        case = need_open_case(number)
        return _looked(case, *look(act, case, "", ()))

    return perform("look_again", work, Looked, sign, case=number)


def _looked(case: Case, holds: int, boxes: Collection[CaseBox]) -> Looked:
    return Looked(
        case=case.number,
        holds=holds,
        boxes=len(boxes),
        here=sum(box.stage in HERE for box in boxes),
        gone=sum(box.stage in GONE for box in boxes),
    )
