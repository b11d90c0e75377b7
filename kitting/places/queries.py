"""Where things stand: bags, boxes and carriers by place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Case, Count, F, Model, Q, QuerySet, Sum, When
from django.db.models.functions import Coalesce

from kitting.domain.stages import GONE, IN_HOUSE, BagStage, BoxStage
from kitting.ledger.reach import holds_on_boxes, standing_reach
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxPut,
    Carrier,
    Lamp,
    Lot,
    Movement,
    Place,
    Run,
)
from kitting.models.catalogue import PlaceKind

HERE = (*IN_HOUSE, BoxStage.RETURNED)
"""Stages of a box that stands somewhere in the workshop."""

PLACE_OF_BOX = Coalesce("place", Case(When(stage__in=IN_HOUSE, then=F("bench__place"))))
"""The id of a box's place: where it was put, else where its bench is."""


def quarantines() -> list[Place]:
    """Places in use for what is held, by their codes."""
    places = Place.objects.filter(kind=PlaceKind.QUARANTINE, active=True)
    return list(places.order_by("code"))


def place_of(box: Box) -> Place | None:
    """Where a box stands: where it was put, else at its bench.

    Args:
        box: The box.

    Returns:
        The place; None for a box that has left, or is voided, or was never put down.
    """
    if box.stage not in HERE:
        return None
    if box.place is not None:
        return box.place
    at_bench = box.bench is not None and box.stage in IN_HOUSE
    return box.bench.place if at_bench and box.bench else None


@dataclass(frozen=True)
class Where:
    """Where a thing stands, for saying it in a sentence."""

    kind: str
    number: str
    place: Place | None = None
    stage: str = ""
    carrier: str = ""
    """Number of the carrier that a bag is on."""
    pieces: int = 0
    unit: str = "piece"
    what: str = ""
    """Name of the part, product, place or carrier."""
    bags: int = 0
    boxes: int = 0
    spread: tuple[tuple[str, int], ...] = ()
    """For a lot: places and how many of its bags stand there, "" for nowhere."""
    gone: bool = False
    """Whether it left, is used up or voided: it stands nowhere any more."""


def where(row: Model) -> Where:
    """Tell where a thing stands.

    Args:
        row: A bag, box, carrier, lot, run or place.

    Returns:
        Where it is.
    """
    if isinstance(row, Bag):
        return _where_bag(row)
    if isinstance(row, Box):
        gone = row.stage in GONE or row.stage == BoxStage.VOIDED
        name = row.size.product.name
        return Where(
            "box", str(row), place_of(row), stage=row.stage, what=name, gone=gone
        )
    if isinstance(row, Carrier):
        count = row.bags.count()
        return Where("carrier", row.number, row.place, what=row.name, bags=count)
    if isinstance(row, Run):
        return Where("run", row.number, row.line, stage=row.stage)
    if isinstance(row, Lot):
        return _where_lot(row)
    assert isinstance(row, Place)  # noqa: S101 -- nothing else is asked for
    return Where(
        "place",
        row.code,
        row,
        what=row.name,
        bags=bags_at(row).count(),
        boxes=boxes_at(row).count(),
    )


def _where_bag(bag: Bag) -> Where:
    return Where(
        "bag",
        bag.number,
        bag.place,
        stage=bag.stage,
        carrier=bag.carrier.number if bag.carrier else "",
        pieces=bag.pieces,
        unit=bag.lot.part.unit,
        what=bag.lot.part.name,
        gone=bag.stage == BagStage.USED_UP,
    )


def _where_lot(lot: Lot) -> Where:
    found = (
        lot.bags.filter(pieces__gt=0)
        .order_by("place__name")
        .values_list("place__name")
        .annotate(Count("pk"))
    )
    spread = tuple((name or "", count) for name, count in found)
    return Where("lot", lot.number, what=lot.part.name, spread=spread)


def bags_at(place: Place) -> QuerySet[Bag]:
    """Bags with something in them that stand at a place.

    Args:
        place: The place.

    Returns:
        The bags, oldest first.
    """
    return Bag.objects.filter(place=place, pieces__gt=0)


def boxes_at(place: Place) -> QuerySet[Box]:
    """Boxes that stand at a place.

    Args:
        place: The place.

    Returns:
        The boxes, oldest first.
    """
    here = Q(place=place) | Q(place=None, bench__place=place, stage__in=tuple(IN_HOUSE))
    return Box.objects.filter(here, stage__in=HERE).order_by("pk")


@dataclass(frozen=True)
class PlaceRow:
    """A place and what stands there."""

    place: Place
    bags: int = 0
    pieces: int = 0
    """Pieces in its bags, raw material left out."""
    boxes: int = 0
    sets: int = 0
    carriers: int = 0


def all_places() -> list[PlaceRow]:
    """Every place with what stands there, in the order of codes, closed ones last.

    Returns:
        The places.
    """
    bags = _by_place(
        Bag.objects.filter(pieces__gt=0),
        "place",
        n=Count("pk"),
        pieces=Sum("pieces", filter=Q(lot__part__unit="piece")),
    )
    here = Box.objects.filter(stage__in=HERE).annotate(stands=PLACE_OF_BOX)
    boxes = _by_place(here, "stands", n=Count("pk"), sets=Sum("size__sets"))
    carriers = _by_place(Carrier.objects.all(), "place", n=Count("pk"))
    return [
        PlaceRow(
            place=place,
            bags=bags.get(place.pk, {}).get("n", 0),
            pieces=bags.get(place.pk, {}).get("pieces") or 0,
            boxes=boxes.get(place.pk, {}).get("n", 0),
            sets=boxes.get(place.pk, {}).get("sets") or 0,
            carriers=carriers.get(place.pk, {}).get("n", 0),
        )
        for place in Place.objects.order_by("-active", "code")
    ]


def _by_place(
    found: QuerySet[Any], name: str, **sums: Any
) -> dict[int, dict[str, Any]]:
    return {row[name]: row for row in found.order_by().values(name).annotate(**sums)}


def rests_on(place: Place) -> bool:
    """Whether anything stands at a place or is on record of what it is.

    Args:
        place: The place.

    Returns:
        False for one that nothing was ever put at, fitted to or done at.
    """
    at = {"place": place}
    rows = (
        Bag.objects.filter(**at),
        Box.objects.filter(**at),
        Carrier.objects.filter(**at),
        Bench.objects.filter(**at),
        Movement.objects.filter(**at),
        BoxPut.objects.filter(**at),
        Run.objects.filter(line=place),
        Lamp.objects.filter(line=place),
    )
    return any(found.exists() for found in rows)


def nowhere() -> tuple[int, int]:
    """Bags and boxes that are here and stand at no place.

    Returns:
        How many bags, and how many boxes.
    """
    bags = Bag.objects.filter(place=None, pieces__gt=0).count()
    here = Box.objects.filter(stage__in=HERE).annotate(stands=PLACE_OF_BOX)
    return bags, here.filter(stands=None).count()


@dataclass(frozen=True)
class Standing:
    """A bag or box that stands at a place, as a row of a table."""

    kind: str
    number: str
    what: str
    """The part or product."""
    lot: str
    stage: str
    pieces: int
    """What is in a bag, in its unit; the sets of a box."""
    unit: str
    carrier: str
    held: bool


@dataclass(frozen=True)
class PlacePage:
    """What stands at a place, as the filters choose it."""

    bags: list[Standing] = field(default_factory=list)
    boxes: list[Standing] = field(default_factory=list)

    @property
    def rows(self) -> list[Standing]:
        """All of it, bags first."""
        return [*self.bags, *self.boxes]

    @property
    def bag_stages(self) -> list[tuple[str, int]]:
        """Stages of the bags in their order, and how many are in each."""
        return _tally((row.stage for row in self.bags), BagStage)

    @property
    def sets(self) -> int:
        """Sets in the boxes."""
        return sum(row.pieces for row in self.boxes)


def _tally(stages: Iterable[str], order: Iterable[str]) -> list[tuple[str, int]]:
    found = list(stages)
    return [(str(stage), found.count(stage)) for stage in order if stage in found]


def standing_at(place: Place, filters: Mapping[str, Any]) -> PlacePage:
    """What stands at a place.

    Args:
        place: The place.
        filters: Any of what (bags or boxes), stage and part, as ``PlaceFilterForm``
            gives them.

    Returns:
        Bags by stage and number, boxes oldest first.
    """
    reach = standing_reach()
    stage, part = filters.get("stage"), filters.get("part")
    what = filters.get("what")
    bags, boxes = bags_at(place), boxes_at(place)
    if stage:
        bags, boxes = bags.filter(stage=stage), boxes.filter(stage=stage)
    if part:
        bags = bags.filter(lot__part=part)
        boxes = boxes.filter(lines__lot__part=part).distinct()
    there = list(_boxes(boxes, what))
    held = holds_on_boxes([box.pk for box in there], reach)
    found = bags.select_related("lot__part", "carrier") if what != "boxes" else []
    order = list(BagStage)
    return PlacePage(
        bags=[
            Standing(
                kind="bag",
                number=bag.number,
                what=bag.lot.part.name,
                lot=bag.lot.number,
                stage=bag.stage,
                pieces=bag.pieces,
                unit=bag.lot.part.unit,
                carrier=bag.carrier.number if bag.carrier else "",
                held=reach.bag(bag),
            )
            for bag in sorted(
                found, key=lambda bag: (order.index(BagStage(bag.stage)), bag.pk)
            )
        ],
        boxes=[_box_row(box, held=box.pk in held) for box in there],
    )


def _boxes(boxes: QuerySet[Box], what: str | None) -> Iterable[Box]:
    return boxes.select_related("size__product") if what != "bags" else []


def _box_row(box: Box, *, held: bool) -> Standing:
    return Standing(
        kind="box",
        number=str(box),
        what=box.size.product.name,
        lot="",
        stage=box.stage,
        pieces=box.size.sets,
        unit="set",
        carrier="",
        held=held,
    )


def all_carriers() -> QuerySet[Carrier]:
    """Every carrier with ``count`` (bags on it) and ``pieces`` in them.

    Returns:
        The carriers, with their places.
    """
    return Carrier.objects.select_related("place").annotate(
        count=Count("bags"), pieces=Coalesce(Sum("bags__pieces"), 0)
    )


def bags_on(carrier: Carrier) -> list[Bag]:
    """The bags on a carrier.

    Args:
        carrier: The carrier.

    Returns:
        The bags in the order of their numbers, with lot, part and place.
    """
    return list(carrier.bags.select_related("lot__part", "place").order_by("number"))
