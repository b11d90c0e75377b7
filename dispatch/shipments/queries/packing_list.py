"""What a packing list says: the boxes of a shipment by serial, and their lots."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from dispatch.models import Shipment, ShipmentBox
from dispatch.shipments.queries.shipments import LotIn, lots_by_box
from kitting.models import Box


@dataclass(frozen=True)
class PackedBox:
    """A box as its receiver finds it."""

    serial: str
    sscc: str
    product: str
    sets: int
    packed_on: date | None
    use_by: date | None
    parts: tuple[tuple[str, tuple[str, ...]], ...]
    """Each part with the lots of it that are inside; the same parts for every box."""


def packed_in(shipment: Shipment) -> list[PackedBox]:
    """The boxes that are in a shipment now, by serial.

    Args:
        shipment: The shipment.

    Returns:
        The boxes; none if it was cancelled.
    """
    live = ShipmentBox.objects.filter(shipment=shipment, live=True).values("box")
    boxes = Box.objects.filter(pk__in=live).select_related("size__product")
    found = list(boxes.order_by("serial"))
    lots = lots_by_box([box.pk for box in found])
    names = sorted({lot.part for inside in lots.values() for lot in inside})
    return [
        PackedBox(
            serial=str(box),
            sscc=box.sscc or "",
            product=box.size.product.name,
            sets=box.size.sets,
            packed_on=box.packed_on,
            use_by=box.use_by,
            parts=_by_part(names, lots.get(box.pk, ())),
        )
        for box in found
    ]


def _by_part(
    names: list[str], lots: Iterable[LotIn]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    found: dict[str, list[str]] = {name: [] for name in names}
    for lot in lots:
        found[lot.part].append(lot.number)
    return tuple((part, tuple(numbers)) for part, numbers in found.items())
