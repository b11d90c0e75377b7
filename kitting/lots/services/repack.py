"""Repacking: pieces of a lot go into other bags and containers, split or joined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kitting.domain.errors import NotEnoughPieces, Refused
from kitting.domain.stages import BagStage
from kitting.ledger import bulk, locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.bags import save_bags
from kitting.lots.steps.blanks import BLANKS, blank_number, numbers_for_bags
from kitting.lots.steps.counts import close_emptied, need_unmoved
from kitting.lots.steps.intake import MOST_PIECES, free_numbers
from kitting.lots.steps.repack import (
    MOST_BAGS,
    hand_on_runs,
    insert_stays,
    move_pieces,
    need_like,
    opened,
    to_be_cleared_again,
)
from kitting.models import Bag, Movement
from kitting.models.lots import Container


@dataclass(frozen=True)
class Repacked:
    """Pieces of a bag that are in others now."""

    bag: str
    into: list[str]
    """Numbers of the bags that they are in."""
    new: bool
    """Whether these bags are new, so that they need a label."""
    pieces: int
    """In each of them."""
    left: int
    stage: str
    """Of the pieces that were moved."""


def repack(
    *,
    bag_id: int,
    pieces: int,
    sign: Sign,
    bags: int = 1,
    container: str = Container.TOTE,
    into: str = "",
    again: bool = False,
    moves: int | None = None,
) -> Repacked:
    """Put pieces of a bag into others: new ones, or one of the same lot and stage.

    Lot, stage, run and passes stay theirs, and holds on the bag that they come from
    reach them. A sealed pack that a run cleared is opened by it: what is in it is
    accepted again.

    Args:
        bag_id: The bag.
        pieces: How many go into each bag, 1 or more.
        sign: Who, when and the operation key.
        bags: Into how many new bags.
        container: What the new bags are.
        into: The scanned number of a bag with pieces of the same lot, or of a blank
            label for the new bag; empty to have numbers assigned.
        again: Whether cleared pieces are to be disinfected again: in their new bags
            they are accepted.
        moves: How many movements the bag had when it was shown; None takes any.

    Returns:
        Where the pieces are, and what is left.

    Raises:
        CodeError: If ``into`` is no bag number.
        Conflict: ``bag_moved_since``; ``bag_exists`` if somebody else used the blank
            number at this moment.
        Missing: If there is no such bag.
        NotEnoughPieces: If the bag has fewer.
        OnHold: ``repack_mixes_held``.
        Refused: ``bags_out_of_range``, ``container_unknown``, ``nothing_to_set_back``,
            ``number_not_given_out``, ``pack_in_open_box``, ``pieces_out_of_range``,
            ``repack_into_itself``,
            ``repack_into_one``, ``repack_other_lot``, ``repack_other_stage``.
        WrongStage: If a bag is on the line, waits for a verdict, or is used up.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Repacked:
        _check(pieces, bags, container)
        locking.enter_gate()
        there = _there(into)
        found = locking.lock_rows(Bag, [bag_id, *there], "lot__part")
        bag = found[bag_id]
        need_unmoved(bag, moves)
        if pieces * bags > bag.pieces:
            wanted = pieces * bags
            raise NotEnoughPieces(
                "not_enough_pieces", bag=bag.number, wanted=wanted, left=bag.pieces
            )
        movements = opened(bag)
        targets = [found[pk] for pk in there]
        if targets:
            movements += _joined(bag, targets[0], bags, again=again)
        else:
            targets = _new_bags(act, bag, bags, container, into)
        stays = [stay for each in targets for stay in hand_on_runs(bag, each)]
        for each in targets:
            movements += move_pieces(bag, each, pieces, act.now)
            if again:
                movements += _again(each)
        _save(bag, targets)
        insert_stays(stays)
        act.write(*movements)
        return Repacked(
            bag=bag.number,
            into=[each.number for each in targets],
            new=not there,
            pieces=pieces,
            left=bag.pieces,
            stage=str(targets[0].stage),
        )

    return perform(
        "repack",
        work,
        Repacked,
        sign,
        bag=bag_id,
        pieces=pieces,
        bags=bags,
        container=container,
        into=into,
        again=again,
        moves=moves,
    )


def _check(pieces: int, bags: int, container: str) -> None:
    if not 1 <= pieces <= MOST_PIECES:
        raise Refused("pieces_out_of_range", read=pieces, most=MOST_PIECES)
    if not 1 <= bags <= MOST_BAGS:
        raise Refused("bags_out_of_range", read=bags, most=MOST_BAGS)
    if container not in set(Container):
        raise Refused("container_unknown", read=container)


def _there(into: str) -> list[int]:
    """The id of the bag of a scanned number, if there is one by now."""
    if not into.strip(BLANKS):
        return []
    number = blank_number(into)
    return list(Bag.objects.filter(number=number).values_list("pk", flat=True))


def _joined(bag: Bag, other: Bag, bags: int, *, again: bool) -> list[Movement]:
    """Open the bag that pieces are put to, and see that they are alike."""
    if bags != 1 or again:
        raise Refused("repack_into_one", bag=other.number)
    movements = opened(other) if other.pk != bag.pk else []
    need_like(bag, other)
    return movements


def _new_bags(act: Act, bag: Bag, bags: int, container: str, number: str) -> list[Bag]:
    given = [number, *[""] * (bags - 1)]
    return [
        Bag(
            number=each,
            lot=bag.lot,
            container=container,
            place_id=bag.place_id,
            pieces=0,
            stage="",
        )
        for each in numbers_for_bags(act, given)
    ]


def _again(bag: Bag) -> list[Movement]:
    if bag.stage != BagStage.CLEARED:
        return []
    if bag.cleared_run_id is None:
        raise Refused("nothing_to_set_back", bag=bag.number)
    bag.opened_at = None
    return [to_be_cleared_again(bag, "to be disinfected again")]


def _save(bag: Bag, targets: Sequence[Bag]) -> None:
    there = [each for each in targets if not each._state.adding]
    new = [each for each in targets if each._state.adding]
    with free_numbers([each.number for each in new]):
        bulk.insert(new)
    save_bags([bag, *there])
    close_emptied(bag)
