"""Inner steps of taking in: what is wrong with a lot or bag, and what it uses up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kitting import locking
from kitting.domain import numbers
from kitting.domain.errors import CodeError, Conflict, NotEnoughPieces, Refused
from kitting.domain.stages import BagStage, MovementKind
from kitting.models import Bag, Counter, LotOrigin, Movement
from kitting.services.steps.bags import Change, change, save_bags
from kitting.services.steps.counting import take
from kitting.services.steps.holds import refuse_held_bag, standing_reach

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kitting.models import Lot
    from kitting.operations import Act

USABLE = (BagStage.ACCEPTED, BagStage.CLEARED)


def numbers_for_bags(act: Act, given: Sequence[str]) -> list[str]:
    """The numbers of new bags: those on blank labels, and new ones for the rest.

    Args:
        act: The act.
        given: For each bag the scanned number of a blank label, or "".

    Returns:
        A number for each bag, in order.

    Raises:
        CodeError: If a scanned number is not a bag number.
        Conflict: ``bag_exists`` if one is in use or named twice.
        Refused: ``number_not_given_out`` if one was never given out.
    """
    site = act.workshop.site
    wanted = [text for text in given if text]
    if wanted:
        given_out = Counter.objects.get(site=site, name="bag").next
        for text in wanted:
            _blank(text, site, given_out)
        taken = Bag.objects.filter(number__in=wanted).values_list("number", flat=True)
        twice = [text for text in wanted if wanted.count(text) > 1]
        for text in [*taken, *twice]:
            raise Conflict("bag_exists", bag=text)
    fresh = iter(take(site, numbers.Kind.BAG, len(given) - len(wanted)))
    return [text or next(fresh) for text in given]


def _blank(text: str, site: int, given_out: int) -> None:
    number = numbers.read(text)
    if number.kind is not numbers.Kind.BAG:
        raise CodeError("not_a_bag_number", read=text)
    if number.site != site or number.sequence >= given_out:
        raise Refused("number_not_given_out", read=text)


def use_up(
    act: Act, lot: Lot, material: Lot, amount: int
) -> tuple[LotOrigin, list[Movement]]:
    """Take material out of its bags, oldest first, for a lot made from it.

    Args:
        act: The act.
        lot: The lot that is made; it has its id.
        material: The lot it is made from.
        amount: How much, in the material's unit.

    Returns:
        The origin and the movements, not yet inserted; the bags are saved.

    Raises:
        NotEnoughPieces: If the accepted bags hold less.
        OnHold: If a bag that would be used is on hold.
    """
    ids = Bag.objects.filter(lot=material, stage__in=USABLE).values_list(
        "pk", flat=True
    )
    bags = locking.lock_rows(Bag, ids)
    reach = standing_reach()
    made: list[Movement] = []
    changed: list[Bag] = []
    left = amount
    for bag in bags.values():
        taken = min(left, bag.pieces)
        if not taken or bag.stage not in USABLE:
            continue
        refuse_held_bag(bag, reach)
        reason = f"made into {lot.number}"
        made.append(
            change(bag, Change(MovementKind.MADE_INTO, taken, sign=-1, reason=reason))
        )
        changed.append(bag)
        left -= taken
    if left:
        raise NotEnoughPieces(
            "not_enough_material", lot=material.number, wanted=amount, short=left
        )
    save_bags(changed)
    return LotOrigin(lot=lot, from_lot=material, amount=amount), made
