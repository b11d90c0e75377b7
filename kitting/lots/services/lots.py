"""Taking in lots and bags, and closing lots."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field

from kitting.domain.errors import Refused, WrongStage
from kitting.ledger import bulk, locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.blanks import numbers_for_bags
from kitting.lots.steps.doubts import doubts, sure_about
from kitting.lots.steps.drafts import BagDraft, Drafted
from kitting.lots.steps.intake import (
    NewBag,
    NewLot,
    free_numbers,
    insert_lots,
    locked_catalogue,
)
from kitting.lots.steps.materials import Materials
from kitting.models import Guarded, Lot
from kitting.models.lots import LotStage

__all__ = [
    "Closed",
    "NewBag",
    "NewLot",
    "TakenIn",
    "close_lot",
    "take_in",
    "taking_in",
]


@dataclass(frozen=True)
class TakenIn:
    """What came in, by number."""

    lots: list[str]
    bags: list[str]
    sure: dict[str, str] = field(default_factory=dict)
    """Why figures that can hardly be right are, by lot number; of a file by ""."""


@dataclass(frozen=True)
class Closed:
    """A lot that takes no more bags."""

    lot: str


def take_in(*, lots: Sequence[NewLot], sign: Sign) -> TakenIn:
    """Register lots with their bags, or more bags of open lots; all or nothing.

    Ten thousand bags are one burst of bulk inserts: rows are made before the lock is
    taken, all is checked before anything is written, counters come after the locks.

    Args:
        lots: What comes in, in order.
        sign: Who, when and the operation key.

    Returns:
        The numbers of the lots and bags, in order.

    Raises:
        CodeError: If a number breaks its rules.
        Conflict: ``lot_exists`` or ``bag_exists``.
        Doubted: ``count_unusual``, ``yield_impossible``.
        Missing: If a part, revision, method, place, material or open lot is not there.
        NotEnoughPieces: If a material has less than is used.
        OnHold: If a material is on hold.
        Refused: ``conditions_changed``, ``container_unknown``, ``lot_empty``,
            ``made_on_future``, ``material_twice``, ``number_not_given_out``,
            ``pieces_out_of_range``, ``source_missing``, ``entry_too_long``,
            ``use_by_before_made_on``, ``waste_is_all``.
        WrongStage: ``lot_closed`` if bags are added to a closed lot.
        OperationKeyReused: If the key was used for another act.
    """
    work = taking_in(lots)
    with bulk.burst():
        return perform(
            "take_in", work, TakenIn, sign, lots=[asdict(new) for new in lots]
        )


def taking_in(lots: Sequence[NewLot]) -> Callable[[Act], TakenIn]:
    """Prepare a taking in before its transaction begins; see ``take_in``.

    Args:
        lots: What comes in, in order.

    Returns:
        The work, for one act.
    """
    drafted = Drafted(lots)
    doubted = doubts(lots)
    used = {material for new in lots for material, _ in new.made_from}
    placed = any(bag.place_id is not None for new in lots for bag in new.bags)

    def work(act: Act) -> TakenIn:
        if used or placed:
            locking.enter_gate()
        known = locked_catalogue(act, lots)
        drafts, bags = drafted.under(known)
        rows = [draft.row for draft in drafts]
        materials = Materials(used)
        given = [bag.number for new in lots for bag in new.bags]
        bag_numbers = numbers_for_bags(act, given)
        insert_lots(act, [(each.row, each.new) for each in drafts if each.new])
        # What came into an open lot meanwhile counts: of those the yield is looked at
        # again, under the lock.
        found = doubts(lots) if known.old else doubted
        sure = sure_about(found, lots, rows)
        _close_old(lots)
        homes = [lot.pk for new, lot in zip(lots, rows, strict=True) for _ in new.bags]
        _write_bags(act, bags, homes, bag_numbers)
        movements: list[Guarded] = []
        origins: list[Guarded] = []
        for new, lot in zip(lots, rows, strict=True):
            waste = dict(new.waste)
            for material_id, amount in new.made_from:
                origin, taken = materials.use(
                    lot, material_id, amount, waste.get(material_id, 0)
                )
                origins.append(origin)
                movements += taken
        materials.save()
        act.write(*origins, *movements)
        return TakenIn([lot.number for lot in rows], bag_numbers, sure)

    return work


def _write_bags(
    act: Act, drafts: Sequence[BagDraft], lots: Sequence[int], numbers: Sequence[str]
) -> None:
    """Insert bags with their movements, now that their lots and numbers are known."""
    homes = zip(drafts, lots, numbers, strict=True)
    with free_numbers(numbers):
        ids = act.fill([(new.bag, (lot, number)) for new, lot, number in homes])
    act.fill(
        [
            (movement, (bag, lot))
            for new, bag, lot in zip(drafts, ids, lots, strict=True)
            for movement in new.movements
        ]
    )


def _close_old(lots: Sequence[NewLot]) -> None:
    ids = {new.lot_id for new in lots if new.lot_id is not None and new.close}
    if ids:
        Lot.objects.filter(pk__in=ids).update(stage=LotStage.CLOSED)


def close_lot(*, lot_id: int, sign: Sign) -> Closed:
    """Close a lot: no more bags come in.

    Args:
        lot_id: The lot.
        sign: Who, when and the operation key.

    Returns:
        The number of the lot.

    Raises:
        Missing: If there is no such lot.
        Refused: ``lot_empty`` if it has no bag yet.
        WrongStage: ``lot_closed`` if it is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Closed:
        lot = locking.lock_row(Lot, lot_id)
        if lot.stage != LotStage.OPEN:
            raise WrongStage("lot_closed", lot=lot.number)
        if not lot.bags.exists():
            raise Refused("lot_empty", lot=lot.number)
        lot.stage = LotStage.CLOSED
        lot.save(update_fields=["stage"])
        return Closed(lot=lot.number)

    return perform("close_lot", work, Closed, sign, lot=lot_id)
