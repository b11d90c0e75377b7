"""Inner steps on bags: every change of count, stage or place leaves a movement."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kitting.domain.errors import NotEnoughPieces, WrongStage
from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger import bulk
from kitting.models import Bag, Box, Movement, OpenBag, Part

KEPT_FIELDS = (
    "stage",
    "place",
    "carrier",
    "pieces",
    "moves",
    "opened_at",
    "cleared_run",
    "passes",
)


@dataclass(frozen=True)
class Change:
    """One change of one bag, before it is written."""

    kind: MovementKind
    pieces: int
    """Pieces concerned, at least 1."""
    sign: int = 0
    """+1 puts them in, −1 takes them out, 0 changes no count."""
    to: BagStage | None = None
    """The stage afterwards; None leaves it, and an emptied bag is used up anyway."""
    reason: str = ""
    box: Box | None = None
    run_id: int | None = None
    """The run that had cleared what moves into or out of a box or another bag."""
    other: Bag | None = None
    """The bag on the other side, where pieces are repacked."""
    place_id: int | None = None


def change(bag: Bag, what: Change) -> Movement:
    """Change a locked bag in memory and give the movement that says so.

    The caller saves the bag (``save_bags``) and writes the movement.

    Args:
        bag: A bag locked by this act.
        what: The change.

    Returns:
        The movement, not yet inserted.

    Raises:
        NotEnoughPieces: If more would be taken out than are in the bag.
    """
    delta = what.sign * what.pieces
    if bag.pieces + delta < 0:
        raise NotEnoughPieces(
            "not_enough_pieces", bag=bag.number, wanted=what.pieces, left=bag.pieces
        )
    before = bag.stage
    bag.pieces += delta
    bag.moves += 1
    if what.to is not None:
        bag.stage = what.to
    if bag.pieces == 0:
        bag.stage = BagStage.USED_UP
        bag.carrier_id = None  # an empty bag is on no carrier
    if what.place_id is not None:
        bag.place_id = what.place_id
    return bulk.fresh(
        Movement,
        bag=bag,
        nth=bag.moves,
        lot_id=bag.lot_id,
        box=what.box,
        run_id=what.run_id,
        other=what.other,
        kind=what.kind,
        pieces=what.pieces,
        delta=delta,
        after=bag.pieces,
        stage_before=before,
        stage_after=bag.stage,
        place_id=bag.place_id,
        reason=what.reason,
    )


def save_bags(bags: list[Bag], *, last: bool = False) -> None:
    """Write changed bags back in one statement; they must be locked.

    Args:
        bags: Bags changed by ``change``.
        last: As for ``bulk.update``.
    """
    bulk.update(bags, KEPT_FIELDS, last=last)


def need_stage(bag: Bag, *stages: BagStage) -> None:
    """Refuse a bag that is in none of the stages.

    Args:
        bag: The bag.
        *stages: Stages in which the act is possible.

    Raises:
        WrongStage: If it is in another one.
    """
    if bag.stage not in stages:
        raise WrongStage(
            "bag_wrong_stage", bag=bag.number, stage=bag.stage.replace("_", " ")
        )


def onward(bag: Bag, part: Part) -> list[Movement]:
    """Move a bag on by the rule that what needs no check or clearing skips it.

    An arrived bag of a part that needs no check is accepted; an accepted bag of a part
    that needs no disinfection is cleared.

    Args:
        bag: The bag, locked or not yet inserted.
        part: Its lot's part.

    Returns:
        The movements in order, not yet inserted; empty if it stays where it is.
    """
    made = []
    if bag.stage == BagStage.ARRIVED and not part.needs_check:
        made.append(
            change(bag, Change(MovementKind.ACCEPTED, bag.pieces, to=BagStage.ACCEPTED))
        )
    if bag.stage == BagStage.ACCEPTED and not part.needs_clearing:
        made.append(
            change(bag, Change(MovementKind.CLEARED, bag.pieces, to=BagStage.CLEARED))
        )
    return made


def new_bag(bag: Bag, part: Part) -> list[Movement]:
    """Bring a bag to life with its pieces: received, and onward by its part's rule.

    Args:
        bag: Not yet inserted, with its pieces as received.
        part: Its lot's part.

    Returns:
        The movements, not yet inserted; the bag is ready to be inserted.
    """
    pieces, bag.pieces, bag.stage = bag.pieces, 0, ""
    received = change(
        bag, Change(MovementKind.RECEIVED, pieces, sign=1, to=BagStage.ARRIVED)
    )
    return [received, *onward(bag, part)]


def drop_used_up(bags: Iterable[Bag]) -> None:
    """A bag that is used up is no bench's open bag any more.

    Args:
        bags: Bags that an act took from.
    """
    gone = [bag.pk for bag in bags if bag.stage == BagStage.USED_UP]
    if gone:
        OpenBag.objects.filter(bag__in=gone).delete()
