"""Whether a bag may be packed from: asked by the act, and by the screen before it."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db.models import Q

from kitting.domain.errors import LotwardError, OnHold, Refused, WrongStage
from kitting.domain.stages import BagStage
from kitting.ledger.reach import Reach
from kitting.models import Bag, Lot

METHOD_OF_BAG = "lot__method__release"
"""What is read with a bag, so that it is known whether its lot is on trial."""
ON_TRIAL = Q(lot__method__isnull=False, lot__method__release__isnull=True)
"""Bags of lots that were made with a method on trial."""


def packing_problem(
    bag: Bag, lot: Lot, *, today: date, now: datetime, reach: Reach
) -> LotwardError | None:
    """Why a bag may not be packed from at this moment, whatever the recipes say.

    Args:
        bag: The bag.
        lot: Its lot, with part, method and its release.
        today: The workshop's day.
        now: The moment.
        reach: What is held now.

    Returns:
        The refusal, or None.
    """
    if bag.stage != BagStage.CLEARED:
        stage = bag.stage.replace("_", " ")
        return WrongStage("bag_not_cleared", bag=bag.number, stage=stage)
    why = reach.why_bag(bag)
    if why is not None:
        return OnHold("bag_on_hold", bag=bag.number, by=why.by, reason=why.reason)
    if lot.use_by is not None and lot.use_by < today:
        return Refused("lot_past_use_by", bag=bag.number, use_by=lot.use_by)
    if lot.method is not None and lot.method.on_trial:
        return Refused("lot_on_trial", bag=bag.number, method=lot.method.code)
    return open_too_long(bag, lot, now)


def open_too_long(bag: Bag, lot: Lot, now: datetime) -> Refused | None:
    """Why the pieces of a bag may not be packed any more, if it was opened long ago.

    Args:
        bag: The bag, also one that is used up.
        lot: Its lot, with the part.
        now: The moment.

    Returns:
        ``bag_open_too_long``, or None.
    """
    hours = lot.part.open_hours
    if bag.opened_at is None or hours is None:
        return None
    if now <= bag.opened_at + timedelta(hours=hours):
        return None
    return Refused("bag_open_too_long", bag=bag.number, hours=hours)
