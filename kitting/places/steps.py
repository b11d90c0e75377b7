"""Inner steps of putting away: a bag moves to a place, and off whatever held it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import GONE, BagStage, BoxStage, MovementKind
from kitting.ledger import bulk, locking
from kitting.ledger.needs import need_reason, need_row
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import Bag, Box, BoxPut, Hold, Movement, OpenBag, Place
from kitting.models.catalogue import PlaceKind

PUT_AWAY: Final = (BoxStage.LABELLED, BoxStage.LOADED, BoxStage.RETURNED)
"""Stages of a box that somebody carries to a place; before, it stands at its bench."""


def place_at_the_gate(place_id: int) -> Place:
    """Enter the gate to put something at a place; shut it where that may place a hold.

    Args:
        place_id: Where it goes.

    Returns:
        The place, which stays as it is until the act is done.

    Raises:
        Conflict: ``page_is_old`` if it became another kind of place meanwhile.
        Missing: ``row_missing`` if there is no such place.
        Refused: ``place_closed``.
    """
    rows = Place.objects.filter(pk=place_id)
    seen = need_row(rows)
    if seen.kind == PlaceKind.QUARANTINE:
        locking.shut_gate()
    else:
        locking.enter_gate()
    place = need_row(rows.all())  # changed, perhaps, while the gate was shut
    if place.kind != seen.kind:
        raise Conflict("page_is_old")
    if not place.active:
        raise Refused("place_closed", place=place.name)
    return place


def refuse_unmovable(bag: Bag) -> None:
    """Refuse a bag that nobody can carry anywhere.

    Args:
        bag: The bag, locked.

    Raises:
        Refused: ``bag_is_used_up``.
        WrongStage: ``bag_on_the_line`` while it is in a run.
    """
    if bag.stage == BagStage.USED_UP:
        raise Refused("bag_is_used_up", bag=bag.number)
    if bag.stage == BagStage.IN_RUN:
        raise WrongStage("bag_on_the_line", bag=bag.number)


def fitting(place: Place, thing: str, why: str, *, stopped: bool) -> str:
    """See that a thing may stand at a place: what is stopped stands in quarantine only.

    Args:
        place: Where it goes.
        thing: Its number.
        why: Why it goes into quarantine, where nothing stopped it yet.
        stopped: Whether it is held, rejected, returned or voided.

    Returns:
        Why a hold is to be placed on it; empty where none is.

    Raises:
        Refused: ``quarantine_only``; ``quarantine_why`` or ``entry_too_long`` for the
            reason of something that nothing stopped yet.
    """
    if place.kind != PlaceKind.QUARANTINE:
        if stopped:
            raise Refused("quarantine_only", thing=thing, place=place.name)
        return ""
    if stopped:
        return ""
    if not why.strip():
        raise Refused("quarantine_why", thing=thing, place=place.name)
    return need_reason(why)


def hold_in_quarantine(place: Place, bags: Iterable[Bag], why: str) -> list[Hold]:
    """See that bags may stand at a place, and hold those that nothing stopped yet.

    Args:
        place: Where they go.
        bags: Locked bags; those that stand there already are left alone.
        why: Why they go into quarantine.

    Returns:
        The holds, not yet inserted.

    Raises:
        Refused: As ``fitting``.
    """
    reach = standing_reach()
    holds = []
    for bag in bags:
        if bag.place_id == place.pk:
            continue
        stopped = bag.stage == BagStage.REJECTED or reach.bag(bag)
        reason = fitting(place, bag.number, why, stopped=stopped)
        if reason:
            holds.append(Hold(bag=bag, reason=reason))
    return holds


def place_bag(bag: Bag, place_id: int) -> list[Movement]:
    """Move a locked bag to a place in memory; the caller saves it.

    Args:
        bag: A bag with pieces.
        place_id: Where it goes.

    Returns:
        The movement, not yet inserted; none if it stands there already.
    """
    if bag.place_id == place_id:
        return []
    moved = Change(MovementKind.PLACED, bag.pieces, place_id=place_id)
    return [change(bag, moved)]


def no_longer_open(bags: Iterable[Bag], place_id: int | None = None) -> None:
    """Bags that go away from a bench are no open bags of it any more.

    Args:
        bags: Bags that an act moved.
        place_id: Where they are now; None if they are on a carrier.
    """
    opened = OpenBag.objects.filter(bag__in=[bag.pk for bag in bags])
    if place_id is not None:
        opened = opened.exclude(bench__place=place_id)
    opened.delete()


def put_alone(
    bag: Bag, place: Place, why: str = ""
) -> tuple[list[Hold], list[Movement]]:
    """Put a locked bag at a place, off its carrier and a bench that it left; it is saved.

    Args:
        bag: The bag with its carrier.
        place: The place, as the gate gave it.
        why: Why it goes into quarantine, where nothing stopped it yet.

    Returns:
        The holds and movements, not yet inserted.

    Raises:
        Refused: ``bag_is_used_up``; as ``fitting``.
        WrongStage: ``bag_on_the_line``.
    """
    refuse_unmovable(bag)
    holds = hold_in_quarantine(place, [bag], why)
    left = bag.carrier
    bag.carrier = None
    movements = place_bag(bag, place.pk)
    if movements or left is not None:
        save_bags([bag])
    no_longer_open([bag], place.pk)
    return holds, movements


def stand_box(box: Box, place: Place, why: str = "") -> tuple[list[Hold], list[BoxPut]]:
    """Put a locked box at a place; it is saved.

    Args:
        box: The box.
        place: The place, as the gate gave it.
        why: Why it goes into quarantine, where nothing stopped it yet.

    Returns:
        The hold and what says where it stands, not yet inserted; none of either if it
        stands there already.

    Raises:
        Refused: ``box_has_left``, ``box_voided``; as ``fitting``.
        WrongStage: ``box_at_its_bench``.
    """
    stopped = _stopped(box)
    _refuse_box(box, place, stopped=stopped)
    if box.place_id == place.pk:
        return [], []
    reason = fitting(place, str(box), why, stopped=stopped)
    box.place = place
    bulk.update([box], ["place"])
    holds = [Hold(box=box, reason=reason)] if reason else []
    return holds, [BoxPut(box=box, place=place)]


def _stopped(box: Box) -> bool:
    over = box.stage in (BoxStage.RETURNED, BoxStage.VOIDED)
    return over or standing_reach().why_box(box, box.lines.all()) is not None


def _refuse_box(box: Box, place: Place, *, stopped: bool) -> None:
    if box.stage in GONE:
        raise Refused("box_has_left", box=str(box), stage=box.stage)
    if box.stage == BoxStage.VOIDED:
        if place.kind != PlaceKind.QUARANTINE:
            raise Refused("box_voided", box=str(box))
    elif box.unlabelled and place.kind == PlaceKind.QUARANTINE:
        if box.in_work and not stopped:
            raise WrongStage("box_at_its_bench", box=str(box), stage=box.stage)
    elif box.stage not in PUT_AWAY:
        raise WrongStage("box_at_its_bench", box=str(box), stage=box.stage)
