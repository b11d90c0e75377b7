"""Inner steps of repacking: pieces go into another bag with all that is known of them."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from kitting.domain.errors import OnHold, Refused
from kitting.domain.stages import REPACKABLE, BagStage, BoxStage, MovementKind
from kitting.ledger import bulk
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.bags import Change, change, need_stage
from kitting.models import Bag, Movement, RunBag
from kitting.models.lots import SEALED

MOST_BAGS: Final = 50
"""New bags that one act of repacking makes."""


def opened(bag: Bag) -> list[Movement]:
    """Open a locked bag: what a run cleared in a sealed pack is accepted again.

    Args:
        bag: The bag; it is changed in memory.

    Returns:
        The movement, not yet inserted; none where opening it breaks nothing.

    Raises:
        Refused: ``pack_in_open_box`` while pieces of it, still cleared, are in a box
            that may give them back.
        WrongStage: If it is on the line, waits for a verdict, or is used up.
    """
    need_stage(bag, *REPACKABLE)
    if bag.container not in SEALED or not _cleared_by_a_run(bag):
        return []
    lines = bag.box_lines.filter(box__stage=BoxStage.OPEN).select_related("box")
    line = lines.first()
    if line is not None:
        raise Refused("pack_in_open_box", bag=bag.number, box=str(line.box))
    return [to_be_cleared_again(bag, "pack opened")]


def to_be_cleared_again(
    bag: Bag, why: str, to: BagStage = BagStage.ACCEPTED
) -> Movement:
    """Take a cleared bag back: it is to be disinfected again, or checked.

    Args:
        bag: A cleared bag, locked or not yet inserted.
        why: Why.
        to: Accepted, or arrived for a checker.

    Returns:
        The movement, not yet inserted.
    """
    bag.cleared_run = None
    what = Change(MovementKind.SET_BACK, bag.pieces, to=to, reason=why)
    return change(bag, what)


def _cleared_by_a_run(bag: Bag) -> bool:
    return bag.stage == BagStage.CLEARED and bag.cleared_run_id is not None


def need_like(bag: Bag, other: Bag) -> None:
    """Refuse to put pieces of one bag to those of another that are not like them.

    Args:
        bag: Where the pieces come from; opened.
        other: Where they would go; opened.

    Raises:
        OnHold: ``repack_mixes_held`` unless the same holds reach both.
        Refused: ``repack_into_itself``, ``repack_other_lot``, ``repack_other_stage``.
    """
    if other.pk == bag.pk:
        raise Refused("repack_into_itself", bag=bag.number)
    if other.lot_id != bag.lot_id:
        raise Refused("repack_other_lot", bag=bag.number, other=other.number)
    if (other.stage, other.cleared_run_id) != (bag.stage, bag.cleared_run_id):
        raise Refused(
            "repack_other_stage",
            bag=bag.number,
            stage=bag.stage,
            other=other.number,
            other_stage=other.stage,
        )
    reach = standing_reach()
    if reach.on(bag) != reach.on(other):
        raise OnHold("repack_mixes_held", bag=bag.number, other=other.number)


def move_pieces(
    bag: Bag, into: Bag, pieces: int, now: datetime
) -> tuple[Movement, Movement]:
    """Move pieces from a locked bag into another, both in memory.

    They keep stage and run. Cleared ones were in the open at this moment at the
    latest.

    Args:
        bag: Where they come from; opened.
        into: Where they go; locked and like the first, or not yet inserted and empty.
        pieces: How many.
        now: The moment.

    Returns:
        The movements out and in, not yet inserted.

    Raises:
        NotEnoughPieces: If the bag has fewer.
    """
    stage, run_id = BagStage(bag.stage), bag.cleared_run_id
    into.cleared_run_id = run_id
    if stage == BagStage.CLEARED:
        known = [at for at in (bag.opened_at, into.opened_at) if at is not None]
        into.opened_at = min([*known, now])
        bag.opened_at = bag.opened_at or now
    kind = MovementKind.REPACKED
    out = Change(kind, pieces, sign=-1, run_id=run_id, other=into)
    came = Change(kind, pieces, sign=1, to=stage, run_id=run_id, other=bag)
    return change(bag, out), change(into, came)


def hand_on_runs(bag: Bag, into: Bag) -> list[RunBag]:
    """Give a bag the stays in runs that its new pieces had in another.

    Where the other pieces in it had fewer, it counts them for all: rather too much
    than too little light.

    Args:
        bag: Where the pieces came from.
        into: Where they are, in memory; its passes are counted anew.

    Returns:
        The stays, not yet inserted.
    """
    known = set()
    if into.pk is not None:
        known = set(into.run_bags.values_list("run_id", flat=True))
    had = bag.run_bags.select_related("run").order_by("pk")
    stays = [stay for stay in had if stay.run_id not in known]
    into.passes += sum(stay.run.passes for stay in stays)
    return [
        RunBag(
            run=stay.run,
            bag=into,
            on_at=stay.on_at,
            off_at=stay.off_at,
            live=False,
            original_id=stay.original_id or bag.pk,
            cover_id=stay.cover_id,
        )
        for stay in stays
    ]


def insert_stays(stays: list[RunBag]) -> None:
    """Insert stays as ``hand_on_runs`` gives them, once their bags are there.

    Args:
        stays: The stays.
    """
    bulk.insert(stays)
