"""Scrapping pieces of a bag: they leave the stock for good."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain.errors import Refused
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.bags import save_bags
from kitting.lots.steps.counts import close_emptied, lock_bag
from kitting.lots.steps.intake import MOST_PIECES
from kitting.lots.steps.scrap import scrap_reason, scrapped


@dataclass(frozen=True)
class Scrapped:
    """Pieces of a bag that were scrapped."""

    bag: str
    pieces: int
    left: int
    reason: str
    """As the record keeps it, with what was said besides."""


def scrap(
    *,
    bag_id: int,
    pieces: int,
    reason: str,
    sign: Sign,
    note: str = "",
    moves: int | None = None,
) -> Scrapped:
    """Scrap pieces of a bag of any stage, a held one too.

    Args:
        bag_id: The bag.
        pieces: How many, 1 or more; in the unit of its part.
        reason: Why: one of the workshop's list.
        sign: Who, when and the operation key.
        note: What else is to be said; may be empty.
        moves: How many movements the bag had when it was shown; None takes any.

    Returns:
        What was scrapped, and what is left in the bag.

    Raises:
        Conflict: ``bag_moved_since``.
        Missing: If there is no such bag.
        NotEnoughPieces: If the bag has fewer.
        Refused: ``entry_too_long``, ``exposed_bag_emptied``, ``pieces_out_of_range``,
            ``scrap_reason_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Scrapped:
        why = scrap_reason(act, reason, note)
        if not 1 <= pieces <= MOST_PIECES:
            raise Refused("pieces_out_of_range", read=pieces, most=MOST_PIECES)
        bag = lock_bag(bag_id, moves)
        movement = scrapped(bag, pieces, why)
        save_bags([bag])
        close_emptied(bag)
        act.write(movement)
        return Scrapped(bag.number, pieces, bag.pieces, why)

    return perform(
        "scrap",
        work,
        Scrapped,
        sign,
        bag=bag_id,
        pieces=pieces,
        reason=reason,
        note=note,
        moves=moves,
    )
