"""Putting away: a bag or a box goes to a place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import GONE, BoxStage
from kitting.ledger import bulk, locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.bags import save_bags
from kitting.models import Bag, Box, BoxPut, Hold, Place
from kitting.models.catalogue import PlaceKind
from kitting.places.steps import (
    fitting,
    hold_in_quarantine,
    no_longer_open,
    place_at_the_gate,
    place_bag,
    refuse_unmovable,
)

PUT_AWAY: Final = (BoxStage.LABELLED, BoxStage.LOADED, BoxStage.RETURNED)
"""Stages of a box that somebody carries to a place; before, it stands at its bench."""


@dataclass(frozen=True)
class Put:
    """A thing that stands at a place now."""

    thing: str
    """Number of the bag or box."""
    place: str
    """Code of the place."""
    moved: bool
    """False if it stood there already."""
    left: str = ""
    """The carrier that the bag was on until now."""
    held: str = ""
    """Why a hold was placed on it, where it went into quarantine and none stood."""


def put_bag(*, bag_id: int, place_id: int, sign: Sign, why: str = "") -> Put:
    """Put a bag at a place, alone: it leaves its carrier, and a bench that it left.

    What is held or rejected goes into quarantine only; anything else that goes there is
    held by it.

    Args:
        bag_id: The bag.
        place_id: The place.
        sign: Who, when and the operation key.
        why: Why it goes into quarantine, where nothing stopped it yet.

    Returns:
        The bag and the place.

    Raises:
        Missing: ``row_missing`` if there is no such bag or place.
        Refused: ``bag_is_used_up``, ``place_closed``, ``quarantine_only``,
            ``quarantine_why``.
        WrongStage: ``bag_on_the_line``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Put:
        place = place_at_the_gate(place_id)
        bag = locking.lock_row(Bag, bag_id, "carrier")
        refuse_unmovable(bag)
        holds = hold_in_quarantine(place, [bag], why)
        left = bag.carrier
        bag.carrier = None
        movements = place_bag(bag, place.pk)
        if movements or left is not None:
            save_bags([bag])
        no_longer_open([bag], place.pk)
        act.write(*holds, *movements)
        return Put(
            thing=bag.number,
            place=place.code,
            moved=bool(movements),
            left=left.number if left is not None else "",
            held=holds[0].reason if holds else "",
        )

    return perform("put_bag", work, Put, sign, bag=bag_id, place=place_id, why=why)


def put_box(*, box_id: int, place_id: int, sign: Sign, why: str = "") -> Put:
    """Put a box at a place.

    What is held, returned or voided goes into quarantine only; anything else that goes
    there is held by it.

    Args:
        box_id: The box: labelled, loaded, returned or voided; before it is labelled
            only while it is held, and from one quarantine to another.
        place_id: The place.
        sign: Who, when and the operation key.
        why: Why it goes into quarantine, where nothing stopped it yet.

    Returns:
        The box and the place.

    Raises:
        Missing: ``row_missing`` if there is no such box or place.
        Refused: ``box_has_left``, ``box_voided``, ``quarantine_only``,
            ``quarantine_why``.
        WrongStage: ``box_at_its_bench`` if it is not labelled yet, nor held.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Put:
        place = place_at_the_gate(place_id)
        box = locking.lock_row(Box, box_id)
        moved = box.place_id != place.pk
        stopped = _stopped(box)
        _refuse_box(box, place, stopped=stopped)
        reason = fitting(place, str(box), why, stopped=stopped) if moved else ""
        if moved:
            box.place = place
            bulk.update([box], ["place"])
            held = [Hold(box=box, reason=reason)] if reason else []
            act.write(*held, BoxPut(box=box, place=place))
        return Put(thing=str(box), place=place.code, moved=moved, held=reason)

    return perform("put_box", work, Put, sign, box=box_id, place=place_id, why=why)


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
