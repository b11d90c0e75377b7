"""Putting away: a bag or a box goes to a place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import GONE, BoxStage
from kitting.ledger import bulk, locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.bags import save_bags
from kitting.models import Bag, Box, BoxPut
from kitting.places.steps import need_place, no_longer_open, place_bag, refuse_unmovable

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


def put_bag(*, bag_id: int, place_id: int, sign: Sign) -> Put:
    """Put a bag at a place, alone: it leaves its carrier, and a bench that it left.

    Args:
        bag_id: The bag; held ones may be carried away as well.
        place_id: The place.
        sign: Who, when and the operation key.

    Returns:
        The bag and the place.

    Raises:
        Missing: ``row_missing`` if there is no such bag or place.
        Refused: ``bag_is_used_up``.
        WrongStage: ``bag_on_the_line``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Put:
        place = need_place(place_id)
        bag = locking.lock_row(Bag, bag_id, "carrier")
        refuse_unmovable(bag)
        left = bag.carrier
        bag.carrier = None
        movements = place_bag(bag, place.pk)
        if movements or left is not None:
            save_bags([bag])
        no_longer_open([bag], place.pk)
        act.write(*movements)
        return Put(
            thing=bag.number,
            place=place.code,
            moved=bool(movements),
            left=left.number if left is not None else "",
        )

    return perform("put_bag", work, Put, sign, bag=bag_id, place=place_id)


def put_box(*, box_id: int, place_id: int, sign: Sign) -> Put:
    """Put a box at a place.

    Args:
        box_id: The box: labelled, loaded or returned; held ones may be put away too.
        place_id: The place.
        sign: Who, when and the operation key.

    Returns:
        The box and the place.

    Raises:
        Missing: ``row_missing`` if there is no such box or place.
        Refused: ``box_has_left``, ``box_voided``.
        WrongStage: ``box_at_its_bench`` if it is not labelled yet.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Put:
        place = need_place(place_id)
        box = locking.lock_row(Box, box_id)
        _refuse_box(box)
        moved = box.place_id != place.pk
        if moved:
            box.place = place
            bulk.update([box], ["place"])
            act.write(BoxPut(box=box, place=place))
        return Put(thing=str(box), place=place.code, moved=moved)

    return perform("put_box", work, Put, sign, box=box_id, place=place_id)


def _refuse_box(box: Box) -> None:
    if box.stage in GONE:
        raise Refused("box_has_left", box=str(box), stage=box.stage)
    if box.stage == BoxStage.VOIDED:
        raise Refused("box_voided", box=str(box))
    if box.stage not in PUT_AWAY:
        raise WrongStage("box_at_its_bench", box=str(box), stage=box.stage)
