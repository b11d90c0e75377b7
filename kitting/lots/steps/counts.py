"""Inner steps of counting a bag again: the difference, and the bag it leaves."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import COUNTABLE, BagStage, MovementKind
from kitting.ledger import locking
from kitting.ledger.covering import load_of
from kitting.ledger.needs import need_another, need_length
from kitting.ledger.operations import Act
from kitting.lots.steps.bags import Change, change, need_stage, onward, save_bags
from kitting.lots.steps.intake import MOST_PIECES
from kitting.models import (
    Bag,
    BoxLine,
    Check,
    Count,
    Guarded,
    Lot,
    Movement,
    OpenBag,
    User,
)
from kitting.models.lots import CountedBy, LotStage, Verdict

LONGEST_REASON: Final = 200
"""Characters of a reason; SQLite itself would take more."""
ON_OR_AFTER = (BagStage.EXPOSED, BagStage.CLEARED)
"""Stages in which what a bag held on the line still counts."""


class Found(StrEnum):
    """What becomes of pieces that are found in a cleared bag."""

    SCRAPPED = "scrapped"
    KEPT = "kept"


@dataclass(frozen=True)
class Decided:
    """What is to become of what is found in a cleared bag, and on whose word."""

    found: str = ""
    """One of ``Found``; empty where nobody said."""
    checker_id: int | None = None
    """Who confirms that they stay."""


@dataclass(frozen=True)
class Counted:
    """A bag that was counted again."""

    bag: str
    before: int
    counted: int
    boxes: list[str]
    """Every box that was filled from the bag, in the order of their filling."""
    stage: str
    most: int | None = None
    """What its protocol covers at most, where more than that went through its run."""
    scrapped: int = 0
    """Pieces found in a cleared bag that were scrapped at once."""

    @property
    def difference(self) -> int:
        """Pieces found, or below 0 missing."""
        return self.counted - self.before


def lock_bag(bag_id: int, moves: int | None) -> Bag:
    """Lock a bag that somebody has counted.

    Args:
        bag_id: The bag.
        moves: How many movements it had when it was shown; None takes any.

    Returns:
        The bag, with its lot and part.

    Raises:
        Conflict: ``bag_moved_since`` if it has moved since it was shown.
        Missing: If there is no such bag.
    """
    bag = locking.lock_row(Bag, bag_id, "lot__part")
    need_unmoved(bag, moves)
    return bag


def need_unmoved(bag: Bag, moves: int | None) -> None:
    """Refuse a bag that has moved since somebody looked at it.

    Args:
        bag: The bag, locked.
        moves: How many movements it had when it was shown; None takes any.

    Raises:
        Conflict: ``bag_moved_since``.
    """
    if moves is not None and bag.moves != moves:
        raise Conflict("bag_moved_since", bag=bag.number, pieces=bag.pieces)


def need_shown(lot: Lot, pieces: int, shown: int | None) -> None:
    """Refuse an act of two steps that would come to another figure than was shown.

    Args:
        lot: The lot.
        pieces: What it comes to.
        shown: What was shown; None takes any.

    Raises:
        Conflict: ``pieces_differ``.
    """
    if shown not in (None, pieces):
        raise Conflict("pieces_differ", lot=lot.number, pieces=pieces, shown=shown)


def recount(act: Act, bag: Bag, row: Count, decided: Decided) -> Counted:
    """Write a count, and what it found or missed.

    Args:
        act: The act.
        bag: The bag, locked.
        row: The count, with how it was made, the pieces counted and the reason.
        decided: What becomes of pieces found in a cleared bag.

    Returns:
        What came of it.

    Raises:
        Refused: ``counted_out_of_range``, ``entry_too_long``, ``exposed_bag_emptied``,
            ``reason_missing`` where the count differs; in a cleared bag
            ``found_undecided``, ``found_needs_a_checker``, ``found_own``.
        WrongStage: If the bag is on the line; ``lot_cancelled``.
    """
    need_stage(bag, *COUNTABLE)
    if bag.lot.stage == LotStage.CANCELLED:
        raise WrongStage("lot_cancelled", lot=bag.lot.number)
    if not 0 <= row.counted <= MOST_PIECES:
        raise Refused("counted_out_of_range", read=row.counted, most=MOST_PIECES)
    row.reason = row.reason.strip()
    need_length("reason", row.reason, LONGEST_REASON)
    row.bag, row.before = bag, bag.pieces
    difference = row.counted - row.before
    moved: list[Guarded] = []
    keeps = True
    if difference:
        if not row.reason:
            raise Refused("reason_missing")
        keeps = (
            difference < 0 or not _ends_cleared(bag) or _kept(act, bag, row, decided)
        )
        moved += _differ(bag, difference, row)
        if not keeps:
            scrap = MovementKind.SCRAPPED
            what = Change(scrap, difference, sign=-1, reason=row.reason)
            moved.append(change(bag, what))
        save_bags([bag])
        close_emptied(bag)
    act.write(row, *moved)
    return Counted(
        bag=bag.number,
        before=row.before,
        counted=row.counted,
        boxes=boxes_filled(bag),
        stage=str(bag.stage),
        most=_outgrown(bag, difference) if difference > 0 and keeps else None,
        scrapped=0 if keeps else difference,
    )


def _ends_cleared(bag: Bag) -> bool:
    """Whether what is found in a bag would be cleared, as what it holds is, or held."""
    part = bag.lot.part
    stage = stage_again(bag) if bag.stage == BagStage.USED_UP else BagStage(bag.stage)
    accepted_is_cleared = stage == BagStage.ACCEPTED and not part.needs_clearing
    return stage == BagStage.CLEARED or accepted_is_cleared


def _kept(act: Act, bag: Bag, row: Count, decided: Decided) -> bool:
    """Whether what is found in a cleared bag stays: another person, a checker, says so.

    Counting clears nothing: without that it is scrapped, or the count is refused.
    """
    if decided.found == Found.SCRAPPED:
        return False
    if decided.found != Found.KEPT:
        more = row.counted - row.before
        raise Refused("found_undecided", bag=bag.number, pieces=more)
    people = User.objects.filter(pk=decided.checker_id or 0, is_active=True)
    checker = people.first()
    if checker is None or not checker.has_perm("kitting.check_lots"):
        raise Refused("found_needs_a_checker", bag=bag.number)
    need_another(act, [checker.pk], "found_own", bag=bag.number)
    row.confirmed_by = checker
    return True


def _differ(bag: Bag, difference: int, row: Count) -> list[Movement]:
    if difference < 0:
        refuse_emptying(bag, -difference)
    used_up = bag.stage == BagStage.USED_UP
    what = Change(
        MovementKind.FOUND if difference > 0 else MovementKind.MISSING,
        abs(difference),
        sign=1 if difference > 0 else -1,
        to=stage_again(bag) if used_up else None,
        reason=row.reason,
    )
    movement = change(bag, what)
    movement.counted_by = row.counted_by
    on = used_up and bag.stage != BagStage.ARRIVED  # else a checker looks at it first
    return [movement, *(onward(bag, bag.lot.part) if on else [])]


def stage_again(bag: Bag) -> BagStage:
    """Give the stage to which a used up bag comes back, which it had before.

    Args:
        bag: The bag, with its lot.

    Returns:
        The stage, under a verdict that was given since. What arrived again after that
        verdict, because it was open for too long, waits for a checker still.
    """
    last = (
        bag.movements.filter(stage_after=BagStage.USED_UP)
        .exclude(stage_before=BagStage.USED_UP)
        .latest("nth")
    )
    verdict = bag.lot.verdict
    if verdict == Verdict.REJECTED:
        return BagStage.REJECTED
    since = Check.objects.filter(lot=bag.lot_id, operation__gt=last.operation_id)
    arrived = last.stage_before == BagStage.ARRIVED
    if arrived and verdict == Verdict.ACCEPTED and since.exists():
        return BagStage.ACCEPTED
    return BagStage(last.stage_before)


def refuse_emptying(bag: Bag, pieces: int) -> None:
    """Refuse to empty a bag that is on the line, or waits for the verdict on its run.

    Args:
        bag: The bag, locked.
        pieces: What would be taken out of it.

    Raises:
        Refused: ``exposed_bag_emptied``.
    """
    in_its_run = bag.stage in (BagStage.IN_RUN, BagStage.EXPOSED)
    if in_its_run and pieces >= bag.pieces:
        raise Refused("exposed_bag_emptied", bag=bag.number)


def close_emptied(bag: Bag) -> None:
    """Take a bag that is used up off the bench at which it is open.

    Args:
        bag: The bag, locked and saved.
    """
    if bag.stage == BagStage.USED_UP:
        OpenBag.objects.filter(bag=bag).delete()


def boxes_filled(bag: Bag) -> list[str]:
    """Numbers of all boxes that were filled from a bag.

    Args:
        bag: The bag.

    Returns:
        Their serials, or their numbers at the bench where they have none yet.
    """
    lines = BoxLine.objects.filter(bag=bag).select_related("box").order_by("box_id")
    return list(dict.fromkeys(str(line.box) for line in lines))


def _outgrown(bag: Bag, found: int) -> int | None:
    """The limit of the last run's protocol, where the found pieces go beyond it."""
    stay = (
        bag.run_bags.select_related("run", "cover").exclude(run__stage="failed").last()
    )
    went_on = bag.movements.filter(kind=MovementKind.WENT_ON).order_by("nth").last()
    if stay is None or went_on is None or bag.stage not in ON_OR_AFTER:
        return None
    load, _cover = load_of(bag, stay.run.protocol_id, stay.cover)
    if load is None or went_on.after + found <= load.max_pieces:
        return None
    return int(load.max_pieces)


def known_way(counted_by: str) -> CountedBy:
    """Read how a count was made.

    Args:
        counted_by: A way of counting.

    Returns:
        The way.

    Raises:
        Refused: ``counting_way_unknown``.
    """
    if counted_by not in set(CountedBy):
        raise Refused("counting_way_unknown", read=counted_by)
    return CountedBy(counted_by)
