"""Who was told of a case, and is still to be told that a hold of it is lifted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter

from dispatch.domain.notices import Outcome
from dispatch.models import Case, Consignee
from dispatch.notices.queries.whom import Whom, whom
from kitting.ledger.standing import shown
from kitting.models import Lift
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

    Whoever was reached by a call, or sent a letter, after the lift knows of it.

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
    told = [(one.consignee, list(_told_by(one))) for one in every]
    found = []
    for lift in lifts:
        before, after = lift.hold.operation_id, lift.operation_id
        those = [
            consignee
            for consignee, acts in told
            if any(before < act < after for act in acts) and max(acts) < after
        ]
        [its] = shown([lift.hold])
        those.sort(key=attrgetter("name", "code"))
        done = lift.operation
        found.append(Untold(its.on, done.at, done.by_name, lift.reason, those))
    return [each for each in found if each.consignees]


def _told_by(one: Whom) -> Iterator[int]:
    """The acts by which somebody was told: calls that reached one, letters that went."""
    for call in one.good_calls:
        if call.outcome == Outcome.REACHED:
            yield call.operation_id
    for letter in one.letters:
        yield from (each.operation_id for each in letter.tries if not each.fault)
