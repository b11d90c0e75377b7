"""Bags that a checker looks at once more, as they were open for too long."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger import locking
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.queries.bags import waits_for_look
from kitting.lots.steps.bags import Change, change, need_stage, onward, save_bags
from kitting.lots.steps.counts import need_unmoved
from kitting.models import Bag


@dataclass(frozen=True)
class LookedAt:
    """A bag that a checker looked at once more."""

    bag: str
    pieces: int
    stage: str
    """Cleared where its part needs no disinfection, else accepted."""


def accept_again(
    *, bag_id: int, reason: str, sign: Sign, moves: int | None = None
) -> LookedAt:
    """Accept a bag that was open for too long and was set back for a checker.

    The verdict on its lot stays: this is about what lay in the open. What is bad is
    scrapped by an act of its own, before or instead.

    Args:
        bag_id: The bag.
        reason: What was looked at, and why its pieces may be used.
        sign: The checker, when and the operation key.
        moves: How many movements the bag had when it was shown; None takes any.

    Returns:
        The bag and how far it has got.

    Raises:
        Conflict: ``bag_moved_since``.
        Missing: If there is no such bag.
        Refused: ``check_comes_first`` if its lot has yet to be checked as a whole;
            ``reason_missing``, ``entry_too_long``.
        WrongStage: If it does not wait for a check.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> LookedAt:
        why = need_reason(reason)
        bag = locking.lock_row(Bag, bag_id, "lot__part")
        need_unmoved(bag, moves)
        need_stage(bag, BagStage.ARRIVED)
        if not waits_for_look(bag):
            raise Refused("check_comes_first", bag=bag.number, lot=bag.lot.number)
        kind = MovementKind.ACCEPTED
        what = Change(kind, bag.pieces, to=BagStage.ACCEPTED, reason=why)
        movements = [change(bag, what), *onward(bag, bag.lot.part)]
        save_bags([bag])
        act.write(*movements)
        return LookedAt(bag=bag.number, pieces=bag.pieces, stage=str(bag.stage))

    return perform(
        "accept_again",
        work,
        LookedAt,
        sign,
        bag=bag_id,
        reason=reason,
        moves=moves,
    )
