"""What of a case is still to be brought into quarantine, from where, and what is there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from dispatch.models import Case, Sought
from dispatch.recall.queries.cases import Listed, Whole, is_quarantine
from kitting.models import Bag, OpenBag, Place
from kitting.models.catalogue import PlaceKind


@dataclass(frozen=True)
class Thing:
    """A bag or box that is still to be brought in."""

    kind: str
    number: str
    box: Listed | None = None
    bag: Bag | None = None
    bench: str = ""
    """The bench at which the bag is open."""
    missing: Sought | None = None
    """That somebody looked for it in vain."""

    @property
    def pallet(self) -> str:
        """The pallet on which it is loaded."""
        return self.box.pallet if self.box else ""


@dataclass(frozen=True)
class Stop:
    """Somewhere to bring things in from."""

    place: str
    """Name of the place; empty for no place on record."""
    shipment: str = ""
    """The shipment on which the things are, and that has not left."""
    goes_to: str = ""
    things: list[Thing] = field(default_factory=list)
    brought: int = 0
    """What was brought from there and is in quarantine."""

    @property
    def total(self) -> int:
        """What was brought from there, and what is still to be."""
        return self.brought + len(self.things)


@dataclass(frozen=True)
class Bringing:
    """All that a case brings into quarantine."""

    stops: list[Stop]
    """Where something is left, shipments first."""
    brought: int
    """Bags and boxes that it holds and that are in quarantine."""

    @property
    def left(self) -> int:
        """Bags and boxes that are still to be brought."""
        return sum(len(stop.things) for stop in self.stops)

    @property
    def total(self) -> int:
        """All bags and boxes that it holds and that are here."""
        return self.brought + self.left

    @property
    def missing(self) -> list[Thing]:
        """What somebody looked for in vain."""
        every = (thing for stop in self.stops for thing in stop.things)
        return [thing for thing in every if thing.missing]


def quarantines() -> list[Place]:
    """The places that things of a case may be brought to."""
    return list(Place.objects.filter(kind=PlaceKind.QUARANTINE, active=True))


def bringing(found: Whole) -> Bringing:
    """Say what of a case is where, and what is in quarantine.

    Args:
        found: The case.

    Returns:
        All of it.
    """
    newest = _newest(found.case)
    there = {("box", box.box) for box in found.quarantined}
    there |= {("bag", bag.pk) for bag in found.bags if is_quarantine(bag)}
    brought = Counter(
        row.at.name if row.at else ""
        for key, row in newest.items()
        if key in there and row.into_id
    )
    stops: dict[tuple[str, str], Stop] = {}
    for place, thing in _left(found, newest):
        box = thing.box
        shipment, goes_to = (box.on, box.goes_to) if box else ("", "")
        key = (shipment, "" if shipment else place)
        came = 0 if shipment else brought[place]
        stop = stops.setdefault(key, Stop(key[1], shipment, goes_to, [], came))
        stop.things.append(thing)
    ordered = sorted(stops.values(), key=lambda stop: (not stop.shipment, stop.place))
    return Bringing(ordered, len(there))


def _newest(case: Case) -> dict[tuple[str, int], Sought]:
    """What was said last of each thing that was looked for."""
    rows = Sought.objects.filter(case=case).select_related("operation", "at")
    return {
        ("box", row.box_id) if row.box_id else ("bag", row.bag_id or 0): row
        for row in rows.order_by("pk")
    }


def _left(
    found: Whole, newest: dict[tuple[str, int], Sought]
) -> Iterator[tuple[str, Thing]]:
    """What is to be brought in, each with the name of its place."""

    def missing(kind: str, pk: int) -> Sought | None:
        row = newest.get((kind, pk))
        return None if row is None or row.into_id else row

    for box in found.boxes:
        if box.to_bring or box.to_take_off:
            at = missing("box", box.box)
            yield box.place, Thing("box", box.serial, box=box, missing=at)
    opened = OpenBag.objects.filter(bag__in=[bag.pk for bag in found.bags])
    benches = dict(opened.values_list("bag", "bench__name"))
    for bag in found.bags:
        if not is_quarantine(bag):
            at, bench = missing("bag", bag.pk), benches.get(bag.pk, "")
            name = bag.place.name if bag.place else ""
            yield name, Thing("bag", bag.number, bag=bag, bench=bench, missing=at)
