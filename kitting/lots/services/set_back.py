"""Bags that were open for too long: their pieces go back to be cleared once more."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage
from kitting.ledger import bulk, locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.packable import open_too_long
from kitting.lots.queries.bags import cleared_by_runs
from kitting.lots.steps.bags import need_stage, save_bags
from kitting.lots.steps.blanks import BLANKS, blank_number, numbers_for_bags
from kitting.lots.steps.counts import close_emptied, need_unmoved
from kitting.lots.steps.intake import free_numbers
from kitting.lots.steps.repack import (
    hand_on_runs,
    insert_stays,
    move_pieces,
    to_be_cleared_again,
)
from kitting.models import Bag, Bench


@dataclass(frozen=True)
class SetBack:
    """Pieces of a bag that was open for too long, in a new bag."""

    bag: str
    """The bag that they were in; it is used up."""
    part: str
    into: str
    """Number of the new bag, which needs its label."""
    pieces: int
    stage: str
    """Accepted, to be disinfected again; or arrived, for a checker."""


def set_back(
    *, bag_id: int, sign: Sign, into: str = "", moves: int | None = None
) -> SetBack:
    """Put all pieces of a bag that was open for too long into a new one, to be cleared.

    Lot, container and holds stay theirs, and so do the passes and doses that they had:
    they count towards what the part may take. Pieces of a part that is disinfected are
    accepted, as before their first run. Of any other they have arrived, and a checker
    looks at them. That holds for a part that needs no check as well: nothing but its
    limit says when it is not to be trusted any more, and if it went on by itself the
    limit would mean nothing.

    What is held may be set back. It stays held.

    Args:
        bag_id: The bag.
        sign: Who, when and the operation key; at a bench, the new bag stands there.
        into: The scanned number of a blank label for the new bag; empty to have one
            assigned.
        moves: How many movements the bag had when it was shown; None takes any.

    Returns:
        The new bag, and how far its pieces have got.

    Raises:
        CodeError: If ``into`` is no bag number.
        Conflict: ``bag_moved_since``; ``bag_exists``.
        Missing: If there is no such bag.
        Refused: ``bag_not_open_too_long``; ``number_not_given_out``.
        WrongStage: If it is not cleared.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> SetBack:
        locking.enter_gate()
        bag = locking.lock_row(Bag, bag_id, "lot__part")
        need_unmoved(bag, moves)
        need_stage(bag, BagStage.CLEARED)
        if open_too_long(bag, bag.lot, act.now) is None:
            raise Refused("bag_not_open_too_long", bag=bag.number)
        pieces = bag.pieces
        given = blank_number(into) if into.strip(BLANKS) else ""
        new = Bag(
            number=numbers_for_bags(act, [given])[0],
            lot=bag.lot,
            container=bag.container,
            place_id=_place(bag, sign.bench_id),
            pieces=0,
            stage="",
        )
        stays = hand_on_runs(bag, new)
        to = BagStage.ACCEPTED if cleared_by_runs(bag) else BagStage.ARRIVED
        movements = [*move_pieces(bag, new, pieces, act.now)]
        movements.append(to_be_cleared_again(new, "open for too long", to))
        new.opened_at = None
        with free_numbers([new.number]):
            bulk.insert([new])
        save_bags([bag])
        close_emptied(bag)
        insert_stays(stays)
        act.write(*movements)
        return SetBack(
            bag=bag.number,
            part=bag.lot.part.name,
            into=new.number,
            pieces=pieces,
            stage=str(new.stage),
        )

    return perform("set_back", work, SetBack, sign, bag=bag_id, into=into, moves=moves)


def _place(bag: Bag, bench_id: int | None) -> int | None:
    if bench_id is None:
        return bag.place_id
    return Bench.objects.get(pk=bench_id).place_id
