"""What the paper of a shipment says: to whom, and which of how many boxes each is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.utils.translation import gettext_lazy as _

from dispatch.consignees.queries import points_of, ship_to
from dispatch.domain.needs import MOST_SETS
from dispatch.labels.shipment import SHIPMENT, ShipmentLabel
from dispatch.models import Consignee, Shipment, ShipmentBox
from dispatch.pallets.labels import labelled_on
from kitting.domain import gs1
from kitting.domain.errors import Missing
from kitting.domain.stages import ShipmentStage
from kitting.ledger import clock
from kitting.ledger.clock import day_of
from kitting.ledger.upheld import Rows
from kitting.models import Print, Product, Workshop
from kitting.printing import fitting
from kitting.printing.fitting import LAST_COPY, LONGEST_NUMBER
from kitting.printing.queries.labels import Labelled, Subject, mark_of, register
from kitting.printing.queries.prints import still_so

NAME: Final = "shipment"
PRINTABLE: Final = (ShipmentStage.OPEN, ShipmentStage.SENT)


def numbers_of(shipment: Shipment, *, alone: bool = False) -> list[str]:
    """What the labels of a shipment name: the shipment and each of its boxes.

    Args:
        shipment: The shipment.
        alone: Whether only those of boxes on no pallet are asked for.

    Returns:
        By serial; none if it is empty or was cancelled.
    """
    return [one for one, pallet in _on(shipment).items() if not (alone and pallet)]


def compose(wanted: Sequence[str]) -> tuple[Subject, ...]:
    """Compose labels from what they name.

    Args:
        wanted: As ``numbers_of``, all or some of them.

    Returns:
        What is printed, in order.

    Raises:
        Missing: If there is no such shipment, or the box is not in it.
    """
    by_number = {number.partition(" ")[0] for number in wanted}
    shipments = Shipment.objects.filter(number__in=by_number, stage__in=PRINTABLE)
    workshop = Workshop.objects.get(pk=1)
    made: dict[str, Subject] = {}
    for shipment in shipments.select_related("consignee"):
        for subject in _of_shipment(shipment, workshop):
            made[subject.number] = subject
    if not set(wanted) <= made.keys():
        raise Missing("row_missing", what="shipment")
    return tuple(made[number] for number in wanted)


def _of_shipment(shipment: Shipment, workshop: Workshop) -> list[Subject]:
    numbers = numbers_of(shipment)
    live = ShipmentBox.objects.filter(shipment=shipment, live=True)
    boxes = list(live.order_by("box__serial").values(*_OF_BOX))
    all_sets = sum(box["box__size__sets"] for box in boxes)
    to = ship_to(shipment.consignee, workshop.country, shipment.point)
    return [
        Subject(
            number,
            (
                ShipmentLabel(
                    ship_to=to.lines,
                    name=to.name,
                    country=to.country,
                    sent_on=_sent_on(shipment, workshop),
                    nth=nth,
                    of=len(numbers),
                    product=box["box__size__product__name"],
                    sets=box["box__size__sets"],
                    all_sets=all_sets,
                    packed_on=box["box__packed_on"],
                    shipment=shipment.number,
                    reference=shipment.reference,
                    serial=box["box__serial"] or "",
                    sscc=box["box__sscc"],
                    maker_name=workshop.name,
                    maker_address=tuple(workshop.address.splitlines()),
                    mark=mark_of(workshop),
                ),
            ),
        )
        for nth, (number, box) in enumerate(zip(numbers, boxes, strict=True), start=1)
    ]


_OF_BOX: Final = (
    *("box__serial", "box__sscc", "box__packed_on"),
    *("box__size__sets", "box__size__product__name"),
)


def _sent_on(shipment: Shipment, workshop: Workshop) -> date:
    """The day that is stamped: that of sending, today for what has not left."""
    return day_of(workshop, shipment.sent_at or clock.now())


def _printed(shipment: Shipment) -> tuple[set[str], list[str]]:
    """What is labelled as it is now, and what was printed and no longer holds."""
    printed = Print.objects.filter(kind=NAME, number__startswith=f"{shipment.number} ")
    newest = {str(row.number): row for row in printed.order_by("copy")}
    if not newest:
        return set(), []
    workshop = Workshop.objects.get(pk=1)
    now = {one.number: one for one in _of_shipment(shipment, workshop)}
    hold = {
        number
        for number, row in newest.items()
        if number in now and still_so(row, now[number])
    }
    return hold, sorted(newest.keys() - hold)


def stale_labels(shipment: Shipment) -> list[str]:
    """Labels that were printed and no longer say what is so.

    Boxes that came on or off since change "k of n" on every label, and the day of sending
    changes with the day; a box that was taken off has a label that must not stay on it.

    Args:
        shipment: The shipment.

    Returns:
        What they name, in order; none where all hold or none was printed.
    """
    return _printed(shipment)[1]


def labels_lacking(shipment: Shipment) -> tuple[list[str], list[str]]:
    """Boxes and pallets on a shipment without a label that says what is so now.

    The label of a pallet stands for those of its boxes; where each of these has one of its
    own, the pallet needs none.

    Args:
        shipment: The shipment.

    Returns:
        What labels of boxes would name, and the numbers of pallets, in order.
    """
    hold, _stale = _printed(shipment)
    return _lacking(shipment, hold, _on(shipment))


def _on(shipment: Shipment) -> dict[str, str | None]:
    """What each label would name, with the pallet on which its box came."""
    live = ShipmentBox.objects.filter(shipment=shipment, live=True)
    rows = live.order_by("box__serial").values_list("box__serial", "pallet__number")
    return {f"{shipment.number} {serial}": pallet for serial, pallet in rows}


def _lacking(
    shipment: Shipment, hold: set[str], on: Mapping[str, str | None]
) -> tuple[list[str], list[str]]:
    lack = {number: pallet for number, pallet in on.items() if number not in hold}
    stands = labelled_on(shipment) if any(lack.values()) else {}
    pallets = {pallet for pallet in lack.values() if pallet and not stands.get(pallet)}
    return [number for number in lack if lack[number] is None], sorted(pallets)


@dataclass(frozen=True)
class Stale:
    """Labels that no longer say what is so, by what is to be done about each."""

    again: tuple[str, ...] = ()
    """What they name where the box is still on: they are printed again."""

    off: tuple[str, ...] = ()
    """Serials of boxes that were taken off: the label comes off them."""

    lacking: int = 0
    """Boxes that are on, and on no pallet, without a label that holds."""

    pallets: tuple[str, ...] = ()
    """Numbers of pallets that are on without one."""


def stale_now(shipment: Shipment, boxes: Mapping[str, str]) -> Stale:
    """Tell what is to be done about labels that no longer hold.

    Args:
        shipment: The shipment; one that was cancelled has none to print.
        boxes: The serials of the boxes on it, with the pallets on which they came.

    Returns:
        Nothing where all hold.
    """
    hold, stale = _printed(shipment)
    on = {f"{shipment.number} {box}": boxes[box] or None for box in sorted(boxes)}
    lacking, pallets = _lacking(shipment, hold, on)
    return Stale(
        again=tuple(one for one in stale if one in on),
        off=tuple(one.partition(" ")[2] for one in stale if one not in on),
        lacking=len(lacking),
        pallets=tuple(pallets),
    )


SHIPMENTS: Final = Labelled(
    NAME,
    SHIPMENT,
    compose,
    words=(_("shipment label"), _("shipment labels")),
    page="dispatch:shipment-detail",
)
register(SHIPMENTS)


def _longest(touched: Rows) -> Iterator[tuple[str, ShipmentLabel]]:
    workshop = Workshop.objects.get(pk=1)
    prefix = workshop.gs1_prefix
    names = Product.objects.values_list("name", flat=True)
    product = max(names, key=len, default="")
    for consignee in fitting.those(Consignee.objects.all(), touched):
        # The longest is not the widest, and each has letters of its own.
        for point in points_of(consignee) or [""]:
            to = ship_to(consignee, workshop.country, point)
            label = ShipmentLabel(
                ship_to=to.lines,
                name=to.name,
                country=to.country,
                sent_on=date(2026, 12, 28),
                nth=_MOST,
                of=_MOST,
                product=product,
                sets=MOST_SETS,
                all_sets=MOST_SETS,
                packed_on=date(2026, 12, 28),
                reference="M" * 40,
                shipment=LONGEST_NUMBER.replace("K", "S"),
                serial=LONGEST_NUMBER,
                sscc=gs1.sscc(prefix, 1, extension=9) if prefix else None,
                maker_name=workshop.name,
                maker_address=tuple(workshop.address.splitlines()),
                mark=mark_of(workshop),
                copy=LAST_COPY,
            )
            yield consignee.name, label


_MOST: Final = 999
"""Boxes of a shipment whose label is tried."""

fitting.register(
    fitting.Longest(
        NAME,
        SHIPMENT,
        SHIPMENTS.words[0],
        _longest,
        (Consignee,),
        "dispatch:consignees",
        (Workshop, Product),
    )
)
