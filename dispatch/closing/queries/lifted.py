"""Who was told of a case, and is still to be told that a hold of it is lifted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter

from dispatch.domain.notices import Outcome
from dispatch.domain.receipts import MINUTE
from dispatch.models import Case, CaseCall, Consignee
from dispatch.notices.queries.whom import Whom, whom
from dispatch.recall.queries.cases import closing_of, standing_holds_of
from dispatch.replies.queries.accounts import unaccounted
from kitting.domain.stages import GONE
from kitting.ledger.reach import holds_on_boxes, reach_of, standing_holds
from kitting.ledger.standing import Standing, shown
from kitting.models import Lift, Operation
from kitting.models.holds import TARGETS


@dataclass(frozen=True)
class Untold:
    """A hold that is lifted, and who does not know yet."""

    on: str
    at: datetime
    by: str
    reason: str
    consignees: list[Consignee]


def untold(case: Case) -> list[Untold]:
    """Say who was told of a case while a hold stood, and nothing since it was lifted.

    Whoever was reached by a call after the lift knows of it; a letter says of what is
    held, and of nothing that is free again.

    Args:
        case: The case.

    Returns:
        The holds that were lifted, the newest first, each with whom to tell; those that
        everybody knows of are left out.
    """
    on = [f"hold__{name}" for name in TARGETS if name != "source"]
    lifts = Lift.objects.filter(hold__of_case__look__case=case).order_by("-pk")
    lifts = lifts.select_related("operation", "hold__operation", *on)
    every = whom(case) if lifts else []
    told = [(one.consignee, _calls(one), _letters(one)) for one in every]
    found = []
    for lift in lifts:
        placed, done = lift.hold.operation, lift.operation
        those = [
            consignee
            for consignee, calls, letters in told
            if all(call.was_before(done) for call in calls)
            and (
                any(_may_tell(call, placed) for call in calls)
                or any(placed.pk < act < done.pk for act in letters)
            )
        ]
        [its] = shown([lift.hold])
        those.sort(key=attrgetter("name", "code"))
        found.append(Untold(its.on, done.at, done.by_name, lift.reason, those))
    return [each for each in found if each.consignees]


def left_out(case: Case, hold: Standing) -> int:
    """Count the boxes that nothing recalls any more once the last hold of a case is lifted.

    Args:
        case: The case.
        hold: A hold of it that stands.

    Returns:
        Those that are not back, which no hold of another case or beside any reaches, and of
        which not all sets are used or destroyed; none where it is not the last, or where
        the case is closed, which says of each why.
    """
    if len(standing_holds_of(case)) != 1 or closing_of(case):
        return 0
    each = (one.box for one in unaccounted(case) if one.box.now in GONE)
    out = {box.box for box in each}
    others = (one for one in standing_holds() if one.pk != hold.hold_id)
    return len(out - holds_on_boxes(out, reach_of(others)).keys())


def _may_tell(call: CaseCall, placed: Operation) -> bool:
    """Whether a call may have told of a hold: it was in the minute of it, or later."""
    return call.operation_id > placed.pk and call.when + MINUTE > placed.at


def _calls(one: Whom) -> list[CaseCall]:
    """The calls by which somebody was reached."""
    return [call for call in one.good_calls if call.outcome == Outcome.REACHED]


def _letters(one: Whom) -> set[int]:
    """The acts by which letters went."""
    tries = (each for letter in one.letters for each in letter.tries)
    return {each.operation_id for each in tries if each.went}
