"""Inner step of taking in: rows are made before the write lock is taken.

Making and checking those of ten thousand lots takes a second, in which every bench would
wait.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import TypeAlias

from kitting.domain.errors import LotwardError
from kitting.ledger import clock
from kitting.lots.steps.bags import new_bag
from kitting.lots.steps.intake import Catalogue, NewLot, catalogue_of, lot_row
from kitting.models import Bag, Lot, Movement

Bags: TypeAlias = list[tuple[Bag, list[Movement]]]
"""New bags with their movements, without number and lot."""


class Drafted:
    """Rows of what comes in, as they come out if nothing changes before the lock."""

    def __init__(self, lots: Sequence[NewLot]) -> None:
        """Make the rows.

        Args:
            lots: What comes in, in order.
        """
        self.lots = lots
        known = catalogue_of(lots, clock.today())
        self.rules = known.rules
        self.rows = list(_new_rows(lots, known))
        self.bags = draft_bags(lots, known)

    def under(self, known: Catalogue) -> tuple[list[Lot], Bags]:
        """Give the rows, made anew where that matters; needs the open transaction.

        Args:
            known: What the lots name, read under the lock.

        Returns:
            A row for each lot, those that are there included, and every bag.

        Raises:
            CodeError: If a number breaks its rules.
            Missing: ``revision_not_of_part``.
            Refused: For anything else that is wrong with a lot.
            WrongStage: ``lot_closed``.
        """
        same = known.rules == self.rules
        made = self.rows if same else [None] * len(self.lots)
        rows = [
            lot_row(new, known) if row is None else row
            for new, row in zip(self.lots, made, strict=True)
        ]
        return rows, self.bags if same else draft_bags(self.lots, known)


def _new_rows(lots: Sequence[NewLot], known: Catalogue) -> Iterator[Lot | None]:
    """Make the rows of new lots; nothing of those that are there, or are refused."""
    for new in lots:
        row = None
        if new.lot_id is None:
            with suppress(LotwardError):  # said under the lock, after the act's key
                row = lot_row(new, known)
        yield row


def draft_bags(lots: Sequence[NewLot], known: Catalogue) -> Bags:
    """Make the rows of new bags.

    What is wrong with a lot is said by ``lot_row``; here it is passed over.

    Args:
        lots: What comes in, in order.
        known: What they name.

    Returns:
        Every bag with its movements, in order.
    """
    drafts = []
    for new in lots:
        part = known.parts.get(new.part_id)
        for each in new.bags:
            if part is None or each.pieces < 1:
                continue
            bag = Bag(
                container=each.container, place_id=each.place_id, pieces=each.pieces
            )
            movements = new_bag(bag, part)
            if each.counted_by:
                movements[0].counted_by = each.counted_by
            drafts.append((bag, movements))
    return drafts
