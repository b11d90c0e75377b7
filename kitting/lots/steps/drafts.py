"""Inner step of taking in: rows are made before the write lock is taken.

Making, checking and writing out those of ten thousand lots takes seconds, in which every
bench would wait.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

from kitting.domain.errors import LotwardError
from kitting.domain.numbers import Kind
from kitting.ledger import clock, seals
from kitting.ledger.counters import foresee
from kitting.ledger.stencils import Stencil
from kitting.lots.steps.bags import new_bag
from kitting.lots.steps.intake import Catalogue, NewBag, NewLot, catalogue_of, lot_row
from kitting.models import Bag, Lot, Part


@dataclass(frozen=True)
class LotDraft:
    """The row of a lot."""

    row: Lot
    new: Stencil | None
    """What writes it; None where it is there already."""


@dataclass(frozen=True)
class BagDraft:
    """What all new bags have that are alike."""

    bag: Stencil
    movements: tuple[Stencil, ...]


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
        foresee(Kind.BAG, sum(not bag.number for new in lots for bag in new.bags))
        foresee(Kind.LOT, sum(not (new.number or new.lot_id) for new in lots))

    def under(self, known: Catalogue) -> tuple[list[LotDraft], list[BagDraft]]:
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
            _draft(new, known) if row is None else row
            for new, row in zip(self.lots, made, strict=True)
        ]
        return rows, self.bags if same else draft_bags(self.lots, known)


def _new_rows(lots: Sequence[NewLot], known: Catalogue) -> Iterator[LotDraft | None]:
    """Make the rows of new lots; nothing of those that are there, or are refused."""
    for new in lots:
        made = None
        if new.lot_id is None:
            with suppress(LotwardError):  # said under the lock, after the act's key
                made = _draft(new, known)
        yield made


def _draft(new: NewLot, known: Catalogue) -> LotDraft:
    row = lot_row(new, known)
    return LotDraft(row, seals.stencil(row, "number") if row._state.adding else None)


def draft_bags(lots: Sequence[NewLot], known: Catalogue) -> list[BagDraft]:
    """Make the rows of new bags.

    What is wrong with a lot is said by ``lot_row``; here it is passed over.

    Args:
        lots: What comes in, in order.
        known: What they name.

    Returns:
        Every bag with its movements, in order.
    """
    drafts = []
    alike: dict[tuple[object, ...], BagDraft] = {}
    for new in lots:
        part = known.parts.get(new.part_id)
        for each in new.bags:
            if part is None or each.pieces < 1:
                continue
            bag = (each.container, each.place_id, each.pieces, each.counted_by)
            key = (new.part_id, *bag)
            if key not in alike:
                alike[key] = _bag_draft(each, part)
            drafts.append(alike[key])
    return drafts


def _bag_draft(new: NewBag, part: Part) -> BagDraft:
    bag = Bag(container=new.container, place_id=new.place_id, pieces=new.pieces)
    movements = new_bag(bag, part)
    if new.counted_by:
        movements[0].counted_by = new.counted_by
    of_bag = ("id", "operation_id", "bag_id", "lot_id")
    return BagDraft(
        seals.stencil(bag, "lot_id", "number"),
        tuple(Stencil(movement, *of_bag) for movement in movements),
    )
