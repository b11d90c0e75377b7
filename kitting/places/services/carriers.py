"""Carriers: a rack, pole or trolley that is scanned once and moves all its bags."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain import numbers
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import BagStage
from kitting.ledger import locking
from kitting.ledger.counters import take
from kitting.ledger.needs import need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.bags import save_bags
from kitting.models import Bag, Carrier, Hold, Movement
from kitting.places.steps import (
    hold_in_quarantine,
    no_longer_open,
    place_at_the_gate,
    place_bag,
    refuse_unmovable,
)

LONGEST_NAME: Final = 60


@dataclass(frozen=True)
class Made:
    """A carrier that is there now."""

    carrier: str
    name: str


@dataclass(frozen=True)
class CarrierPut:
    """A carrier that stands at a place now, with all that is on it."""

    carrier: str
    place: str
    """Code of the place."""
    bags: int
    """Bags on it."""
    moved: bool
    """False if it stood there already."""
    held: int = 0
    """Bags on which a hold was placed, as they went into quarantine and none stood."""


@dataclass(frozen=True)
class Loaded:
    """A bag that is on a carrier now, or off it."""

    carrier: str
    bag: str
    on: bool
    bags: int
    """Bags on the carrier now."""
    left: str = ""
    """The other carrier that the bag was on until now."""
    held: int = 0
    """1 where a hold was placed on the bag, as its carrier stands in quarantine."""


def make_carrier(*, name: str, sign: Sign) -> Made:
    """Make a carrier with the next number.

    Args:
        name: What people call it.
        sign: Who, when and the operation key.

    Returns:
        The carrier.

    Raises:
        Refused: ``carrier_name_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Made:
        missing = "carrier_name_missing"
        known_as = need_text("name", name, LONGEST_NAME, missing=missing)
        number = take(act.workshop.site, numbers.Kind.CARRIER)[0]
        Carrier.objects.create(number=number, name=known_as)
        return Made(carrier=number, name=known_as)

    return perform("make_carrier", work, Made, sign, name=name)


def put_carrier(
    *, carrier_id: int, place_id: int, sign: Sign, why: str = ""
) -> CarrierPut:
    """Put a carrier at a place: every bag on it moves, in one act.

    Args:
        carrier_id: The carrier.
        place_id: The place; quarantine only while a bag on it is held or rejected.
        sign: Who, when and the operation key.
        why: Why the bags go into quarantine that nothing stopped yet.

    Returns:
        The carrier, the place and how many bags are on it.

    Raises:
        Missing: ``row_missing`` if there is no such carrier or place.
        Refused: ``quarantine_only``, ``quarantine_why``.
        WrongStage: ``carrier_on_the_line`` while a bag of it is in a run.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> CarrierPut:
        place = place_at_the_gate(place_id)
        carrier = locking.lock_row(Carrier, carrier_id)
        bags = locking.lock_found(Bag.objects.filter(carrier=carrier))
        on_line = sum(bag.stage == BagStage.IN_RUN for bag in bags)
        if on_line:
            raise WrongStage(
                "carrier_on_the_line", carrier=carrier.number, bags=on_line
            )
        holds = hold_in_quarantine(place, bags, why)
        stood = carrier.place_id
        movements = _bring(carrier, bags, place.pk)
        no_longer_open(bags, place.pk)
        act.write(*holds, *movements)
        return CarrierPut(
            carrier=carrier.number,
            place=place.code,
            bags=len(bags),
            moved=stood != place.pk or bool(movements),
            held=len(holds),
        )

    return perform(
        "put_carrier",
        work,
        CarrierPut,
        sign,
        carrier=carrier_id,
        place=place_id,
        why=why,
    )


def _bring(carrier: Carrier, bags: list[Bag], place_id: int) -> list[Movement]:
    """Move a locked carrier and its locked bags; both are saved."""
    movements = [row for bag in bags for row in place_bag(bag, place_id)]
    if bags:
        save_bags(bags)
    carrier.place_id = place_id
    carrier.save(update_fields=["place"])
    return movements


def load_bag(*, carrier_id: int, bag_id: int, sign: Sign, why: str = "") -> Loaded:
    """Put a bag onto a carrier, or take it off if it is on it already.

    A bag is on one carrier at a time and stands where its carrier stands. A carrier
    that stands nowhere yet takes the place of the bag.

    Args:
        carrier_id: The carrier.
        bag_id: The bag; a held or rejected one only on a carrier in quarantine.
        sign: Who, when and the operation key.
        why: Why it goes into quarantine, where nothing stopped it yet.

    Returns:
        The carrier, the bag, and whether it is on it now.

    Raises:
        Missing: ``row_missing`` if there is no such carrier or bag.
        Refused: ``bag_is_used_up``, ``carrier_mixes``, ``quarantine_only``,
            ``quarantine_why``.
        WrongStage: ``bag_on_the_line``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Loaded:
        locking.shut_gate()
        carrier = locking.lock_row(Carrier, carrier_id, "place")
        here = Bag.objects.filter(carrier=carrier).values_list("pk", flat=True)
        found = locking.lock_rows(Bag, [*here, bag_id], "carrier")
        bag = found[bag_id]
        refuse_unmovable(bag)
        others = [
            each
            for each in found.values()
            if each.carrier_id == carrier.pk and each.pk != bag.pk
        ]
        on, left = bag.carrier_id != carrier.pk, bag.carrier
        holds = _fit(carrier, bag, others, why) if on else []
        bag.carrier = carrier if on else None
        movements = _stand_together(carrier, bag, others) if on else []
        save_bags([bag])
        no_longer_open([bag])
        act.write(*holds, *movements)
        return Loaded(
            carrier=carrier.number,
            bag=bag.number,
            on=on,
            bags=len(others) + on,
            left=left.number if on and left is not None else "",
            held=len(holds),
        )

    return perform(
        "load_bag", work, Loaded, sign, carrier=carrier_id, bag=bag_id, why=why
    )


def _fit(carrier: Carrier, bag: Bag, others: list[Bag], why: str) -> list[Hold]:
    """See that a bag may stand where its carrier does, and beside what is on it.

    A carrier that stands nowhere yet goes where the bag is: what is stopped and what is
    not are on it only apart.
    """
    if carrier.place is not None:
        return hold_in_quarantine(carrier.place, [bag], why)
    reach = standing_reach()
    stopped = {
        each.stage == BagStage.REJECTED or reach.bag(each) for each in [bag, *others]
    }
    if len(stopped) > 1:
        raise Refused("carrier_mixes", carrier=carrier.number, bag=bag.number)
    return hold_in_quarantine(bag.place, others, why) if bag.place else []


def _stand_together(carrier: Carrier, bag: Bag, others: list[Bag]) -> list[Movement]:
    """Bring a bag to its carrier; a carrier that stands nowhere comes to the bag."""
    if carrier.place_id is not None:
        return place_bag(bag, carrier.place_id)
    if bag.place_id is not None:
        return _bring(carrier, others, bag.place_id)
    return []
