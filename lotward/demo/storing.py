"""Places get labels; what is done with is put away: bags off the line, labelled boxes."""

from __future__ import annotations

from typing import Final

from kitting.domain.prints import Onto
from kitting.domain.stages import BagStage, BoxStage
from kitting.models import Bag, Box, Carrier
from kitting.places.services import carriers, places
from kitting.printing.services import prints
from lotward.demo import plan
from lotward.demo.making import Floor

CARRIERS: Final = ("Blue trolley", "Pole by the window")
"""The last run's bags come away on the first; bags that wait hang on the second."""

LEFT_AT_BENCHES: Final = 3
"""Boxes of the last day that nobody has put away yet."""


SHEETS: Final = "A4-70X40"
"""The workshop has no label printer yet: a PDF for the printer of its office."""


def label_the_places(floor: Floor) -> None:
    """Print a label for every place.

    Args:
        floor: The workshop.
    """
    prints.print_labels(
        kind="place",
        numbers=sorted(floor.catalogue.places),
        onto=Onto(stock=SHEETS),
        sign=floor.clock.sign("manager", 600),
    )


def make_carriers(floor: Floor) -> None:
    """Make the carriers, and hang bags that wait for the line on the second.

    Args:
        floor: The workshop.
    """
    made = [
        carriers.make_carrier(name=name, sign=floor.clock.sign("manager", 45))
        for name in CARRIERS
    ]
    pole = Carrier.objects.get(number=made[1].carrier)
    _stand(floor, pole, "RACK-IN")
    waiting = Bag.objects.filter(stage=BagStage.ACCEPTED, lot__part__code="HB")
    for bag in waiting.order_by("pk")[:3]:
        _load(floor, pole, bag)


def clear_the_line(floor: Floor) -> None:
    """Put what came off the line where it belongs; the last run goes on a trolley.

    Args:
        floor: The workshop.
    """
    off = Bag.objects.filter(place=floor.catalogue.places["LINE-1"], pieces__gt=0)
    if floor.today == plan.LAST_RUN_DAY:
        trolley = Carrier.objects.get(name=CARRIERS[0])
        _stand(floor, trolley, "LINE-1")
        for bag in off.filter(stage=BagStage.CLEARED).order_by("pk"):
            _load(floor, trolley, bag)
        _stand(floor, trolley, "SHELF-A")
        return
    shelves = {BagStage.CLEARED: "SHELF-A", BagStage.ACCEPTED: "RACK-IN"}
    for stage, code in shelves.items():
        for bag in off.filter(stage=stage).order_by("pk"):
            places.put_bag(
                bag_id=bag.pk,
                place_id=floor.catalogue.places[code].pk,
                sign=floor.clock.sign("line", 8),
            )


def put_in_quarantine(floor: Floor) -> None:
    """Take the bags of rejected lots off the rack where good ones wait.

    Args:
        floor: The workshop.
    """
    cage = floor.catalogue.places["QUARANTINE"]
    rejected = Bag.objects.filter(stage=BagStage.REJECTED).exclude(place=cage)
    for bag in rejected.order_by("pk"):
        sign = floor.clock.sign("checker", 8)
        places.put_bag(bag_id=bag.pk, place_id=cage.pk, sign=sign)


def _stand(floor: Floor, carrier: Carrier, code: str) -> None:
    carriers.put_carrier(
        carrier_id=carrier.pk,
        place_id=floor.catalogue.places[code].pk,
        sign=floor.clock.sign("line", 20),
    )


def _load(floor: Floor, carrier: Carrier, bag: Bag) -> None:
    sign = floor.clock.sign("line", 6)
    carriers.load_bag(carrier_id=carrier.pk, bag_id=bag.pk, sign=sign)


def shelve_boxes(floor: Floor) -> None:
    """Put the day's boxes on their shelf; on the last day a few are left.

    Args:
        floor: The workshop.
    """
    shelf = floor.catalogue.places["SHELF-B"]
    ready = Box.objects.filter(stage=BoxStage.LABELLED, place=None).order_by("pk")
    leave = LEFT_AT_BENCHES if floor.today == plan.LAST else 0
    boxes = list(ready)
    for box in boxes[: max(len(boxes) - leave, 0)]:
        sign = floor.clock.sign("packer", 7)
        places.put_box(box_id=box.pk, place_id=shelf.pk, sign=sign)
