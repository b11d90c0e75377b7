"""Inner steps of scrapping: the reason from the workshop's list, and the movement."""

from __future__ import annotations

from typing import Final

from kitting.domain.errors import Refused
from kitting.domain.stages import MovementKind
from kitting.ledger.needs import need_length
from kitting.ledger.operations import Act
from kitting.lots.steps.bags import Change, change
from kitting.lots.steps.counts import refuse_emptying
from kitting.models import Bag, Movement

LONGEST_NOTE: Final = 150
"""Characters that may be said besides a reason of the list."""


def scrap_reason(act: Act, reason: str, note: str) -> str:
    """Give the words that stay of why pieces are scrapped.

    Args:
        act: The act.
        reason: A reason of the workshop's list.
        note: What else is to be said; may be empty.

    Returns:
        Both, as the record keeps them.

    Raises:
        Refused: ``scrap_reason_unknown``, ``entry_too_long``.
    """
    if reason not in act.workshop.scrap_list:
        raise Refused("scrap_reason_unknown", read=reason)
    more = need_length("note", note, LONGEST_NOTE)
    return f"{reason}: {more}" if more else reason


def scrapped(bag: Bag, pieces: int, why: str) -> Movement:
    """Scrap pieces of a locked bag in memory; the caller saves it.

    Args:
        bag: The bag, of any stage.
        pieces: How many.
        why: As ``scrap_reason`` gives it.

    Returns:
        The movement, not yet inserted.

    Raises:
        NotEnoughPieces: If the bag has fewer.
        Refused: ``exposed_bag_emptied`` if its run has yet to end.
    """
    if pieces == bag.pieces:
        refuse_emptying(bag, pieces)
    return change(bag, Change(MovementKind.SCRAPPED, pieces, sign=-1, reason=why))
