"""Inner steps of putting away: a bag moves to a place, and off whatever held it."""

from __future__ import annotations

from collections.abc import Iterable

from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger.needs import need_row
from kitting.lots.steps.bags import Change, change
from kitting.models import Bag, Movement, OpenBag, Place


def need_place(place_id: int) -> Place:
    """Read a place.

    Args:
        place_id: The place.

    Returns:
        The place; places never go, so it is not locked.

    Raises:
        Missing: ``row_missing`` if there is no such place.
    """
    return need_row(Place.objects.filter(pk=place_id))


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
