"""Putting away: a bag or a box goes to a place."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.ledger import locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bag, Box
from kitting.places.steps import place_at_the_gate, put_alone, stand_box


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
        left = bag.carrier
        holds, movements = put_alone(bag, place, why)
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
        holds, puts = stand_box(box, place, why)
        act.write(*holds, *puts)
        reason = holds[0].reason if holds else ""
        return Put(thing=str(box), place=place.code, moved=bool(puts), held=reason)

    return perform("put_box", work, Put, sign, box=box_id, place=place_id, why=why)
