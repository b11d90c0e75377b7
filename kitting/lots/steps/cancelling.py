"""Inner steps of cancelling a lot: nothing of it was used, and its material comes back."""

from __future__ import annotations

from collections.abc import Iterable

from kitting.domain.errors import OnHold, Refused, WrongStage
from kitting.domain.stages import COUNTABLE, UNUSED, BagStage, MovementKind
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.bags import Change, change, need_stage
from kitting.lots.steps.counts import stage_again
from kitting.lots.steps.materials import WASTE
from kitting.models import Bag, Lot, LotOrigin, Movement
from kitting.models.lots import LotStage


def need_unused(lot: Lot, bags: Iterable[Bag]) -> None:
    """Refuse to cancel a lot of which something was used, or that is held.

    Args:
        lot: The lot, locked.
        bags: All its bags, locked.

    Raises:
        OnHold: ``lot_held``.
        Refused: ``lot_is_used``, ``lot_was_checked``.
        WrongStage: ``lot_cancelled``.
    """
    if lot.stage == LotStage.CANCELLED:
        raise WrongStage("lot_cancelled", lot=lot.number)
    if lot.checks.exists():
        raise Refused("lot_was_checked", lot=lot.number)
    used = lot.movements.exclude(kind__in=UNUSED).order_by("pk").first()
    if used is not None:
        what = used.kind.replace("_", " ")
        raise Refused("lot_is_used", lot=lot.number, what=what)
    reach = standing_reach()
    if lot.pk in reach.lots or any(reach.bag(bag) for bag in bags):
        raise OnHold("lot_held", lot=lot.number)


def taken_for(lot: Lot) -> list[Movement]:
    """What a lot was made from: how its material left its bags.

    Args:
        lot: The lot.

    Returns:
        Movements of bags of material, the oldest first.
    """
    origins = LotOrigin.objects.filter(lot=lot)
    return list(
        Movement.objects.filter(
            kind__in=(MovementKind.MADE_INTO, MovementKind.SCRAPPED),
            operation__in=origins.values("operation"),
            lot__in=origins.values("from_lot"),
            reason__in=(lot.number, WASTE + lot.number),
            corrects__isnull=True,
        ).order_by("pk")
    )


def give_back(taken: Movement, bag: Bag) -> Movement:
    """Put material back into the bag that it was taken from, in memory.

    Args:
        taken: How it left.
        bag: The bag, locked, with its lot.

    Returns:
        The movement, not yet inserted.

    Raises:
        Refused: ``material_moved_on`` if another run cleared the bag meanwhile.
        WrongStage: If the bag is on the line.
    """
    need_stage(bag, *COUNTABLE)
    to = stage_again(bag) if bag.stage == BagStage.USED_UP else None
    if bag.cleared_run_id != taken.run_id:
        lot = taken.reason.removeprefix(WASTE)
        raise Refused("material_moved_on", bag=bag.number, lot=lot)
    what = Change(
        MovementKind(taken.kind),
        taken.pieces,
        sign=1,
        to=to,
        reason=taken.reason,
        run_id=taken.run_id,
    )
    movement = change(bag, what)
    movement.corrects = taken
    return movement
