"""Cancelling a lot that was taken in by mistake, while nothing of it has been used."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain.stages import MovementKind
from kitting.ledger import locking
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.bags import Change, change, drop_used_up, save_bags
from kitting.lots.steps.cancelling import give_back, need_unused, taken_for
from kitting.lots.steps.counts import need_shown
from kitting.models import Bag, Guarded, Lot
from kitting.models.lots import LotStage


@dataclass(frozen=True)
class Cancelled:
    """A lot that was never taken in."""

    lot: str
    bags: int
    """Bags that it had; their labels are worth nothing now."""
    pieces: int
    material: int
    """Bags of material that got back what had been used."""


def cancel_lot(
    *, lot_id: int, reason: str, sign: Sign, pieces: int | None = None
) -> Cancelled:
    """Cancel a lot: its pieces count as not received, its material is back in its bags.

    Its number stays taken, and what was written of it stays on record.

    Args:
        lot_id: The lot, open or closed; not checked, not held, and nothing of it used.
        reason: Why.
        sign: Who, when and the operation key.
        pieces: What was shown to be in its bags; None takes any.

    Returns:
        The lot and what it had.

    Raises:
        Conflict: ``pieces_differ``.
        Missing: If there is no such lot.
        OnHold: ``lot_held``.
        Refused: ``entry_too_long``, ``lot_is_used``, ``lot_was_checked``,
            ``material_moved_on``, ``reason_missing``.
        WrongStage: ``lot_cancelled``; if a bag of its material is on the line.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Cancelled:
        why = need_reason(reason)
        locking.enter_gate()
        lot = locking.lock_row(Lot, lot_id)
        taken = taken_for(lot)
        own = lot.bags.values_list("pk", flat=True)
        wanted = [*own, *(move.bag_id for move in taken)]
        found = locking.lock_rows(Bag, wanted, "lot")
        bags = [bag for bag in found.values() if bag.lot_id == lot.pk]
        need_unused(lot, bags)
        total = sum(bag.pieces for bag in bags)
        need_shown(lot, total, pieces)
        gone = MovementKind.CANCELLED
        movements: list[Guarded] = [
            change(bag, Change(gone, bag.pieces, sign=-1, reason=why))
            for bag in bags
            if bag.pieces
        ]
        movements += [give_back(move, found[move.bag_id]) for move in taken]
        save_bags(list(found.values()))
        drop_used_up(bags)
        lot.stage = LotStage.CANCELLED
        lot.save(update_fields=["stage"])
        act.write(*movements)
        material = len({move.bag_id for move in taken})
        return Cancelled(lot.number, len(bags), total, material)

    return perform(
        "cancel_lot", work, Cancelled, sign, lot=lot_id, reason=reason, pieces=pieces
    )
