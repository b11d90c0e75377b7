"""The fetch list of an open shipment: which boxes to bring, and from where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.db.models import OuterRef, Q, Subquery

from dispatch.consignees.queries import same_as
from dispatch.domain.boxmix import Mix
from dispatch.domain.fetching import Candidate, choose, deal
from dispatch.models import Pallet, Shipment
from dispatch.pallets.labels import with_boxes
from dispatch.requests.queries.promises import Promises, open_promises
from dispatch.shipments.queries.shipments import STANDS, OnBoard, marked
from kitting.domain.stages import GONE_SHIPMENTS
from kitting.ledger.reach import Reach
from kitting.models import Box, BoxLine
from kitting.packing.queries.boxes import ready_boxes


@dataclass(frozen=True)
class Wanted:
    """What a request lacks still, and what would serve it."""

    asked: Any
    """The request, with its figures."""
    promised: int
    """Boxes that are promised to it and not loaded yet."""
    mix: Mix | None
    """The ready boxes to fetch for it; None where nothing is left, or nothing is ready."""


@dataclass(frozen=True)
class Bring:
    """A box to bring."""

    box: Box
    place: str
    """Where it stands; empty where no place is on record."""
    request: str
    """For which request, where there are several."""
    pallet: str = ""
    """The pallet on which it stands, if it stands on one."""
    whole: bool = False
    """Whether every box of that pallet is to be brought."""


@dataclass(frozen=True)
class Row:
    """A line of the fetch list: a box or whole pallet to bring, or one that was brought."""

    box: str
    """The number of the box or pallet."""
    sets: int
    request: str
    on: bool = False
    """Whether it is on the shipment: the line is ticked."""
    boxes: int = 0
    """How many boxes are on the pallet; 0 for a box."""
    off: str = ""
    """The pallet from which the box is to be taken, where it stands on one."""


@dataclass(frozen=True)
class FetchList:
    """What to bring to a shipment."""

    wanted: list[Wanted]
    """The requests that it may serve, the neediest first."""
    places: list[tuple[str, list[Bring]]]
    """The boxes by place, in the order of places."""

    @property
    def boxes(self) -> int:
        """How many boxes there are to bring."""
        return sum(len(boxes) for _place, boxes in self.places)

    @property
    def named(self) -> frozenset[str]:
        """The boxes to bring, by number."""
        return frozenset(str(each.box) for _, boxes in self.places for each in boxes)

    def ticked(self, on: Iterable[OnBoard]) -> list[tuple[str, list[Row]]]:
        """The list as it is walked: what was brought for a request stays, ticked.

        Args:
            on: The boxes on the shipment.

        Returns:
            Lines by place, in the order of places; what is to be brought comes first.
        """
        several = len(self.wanted) > 1
        lines = [
            _Line(each.place, each.pallet if each.whole else "", _to_bring(each))
            for _place, boxes in self.places
            for each in boxes
        ]
        for box in on:
            if box.request:
                of = box.request if several else ""
                row = Row(box.box, box.sets, of, on=True)
                lines.append(_Line(box.place, box.pallet, row))
        places: dict[str, list[Row]] = {}
        for line in _together(lines):
            places.setdefault(line.place, []).append(line.row)
        order = sorted(places, key=lambda name: (not name, name))
        return [(name, places[name]) for name in order]


def mark_of(bring: Iterable[tuple[str, list[Row]]]) -> str:
    """Mark a list of what is to be brought, so that it is told from any other.

    Args:
        bring: Lines by place, in any order; those that are on are as if they were not.

    Returns:
        The mark.
    """
    return marked(
        repr((place, replace(row, on=False))) for place, rows in bring for row in rows
    )


@dataclass(frozen=True)
class _Line:
    place: str
    pallet: str
    """The pallet that is brought whole, with others."""
    row: Row


def _to_bring(each: Bring) -> Row:
    off = "" if each.whole else each.pallet
    return Row(str(each.box), each.box.size.sets, each.request, off=off)


def _together(lines: Iterable[_Line]) -> list[_Line]:
    """Make one line of the boxes of each pallet, where its first box stands."""
    found: dict[tuple[str, bool, str], list[_Line]] = {}
    for line in lines:
        alone = "" if line.pallet else line.row.box
        found.setdefault((line.pallet, line.row.on, alone), []).append(line)
    return [_as_one(same) for same in found.values()]


def _as_one(lines: list[_Line]) -> _Line:
    first = lines[0]
    if not first.pallet:
        return first
    row = Row(
        first.pallet,
        sum(line.row.sets for line in lines),
        _only(line.row.request for line in lines),
        on=first.row.on,
        boxes=len(lines),
    )
    return _Line(_only(line.place for line in lines), first.pallet, row)


def _only(said: Iterable[str]) -> str:
    """What all say alike; nothing where they differ."""
    every = set(said)
    return every.pop() if len(every) == 1 else ""


@dataclass(frozen=True)
class Came:
    """What is to be said of a box that was just loaded, beside that it is on."""

    code: str
    """Empty where it was expected; else ``not_asked``, ``too_many`` or ``not_listed``."""
    product: str = ""
    request: str = ""


def came(box: OnBoard, listed: Container[str], fetch: FetchList) -> Came:
    """Tell whether a box that was just loaded was the one to bring.

    Args:
        box: The box.
        listed: The boxes to bring by the list from which it was brought, by number.
        fetch: The fetch list now; loading serves a request, and ends none.

    Returns:
        Nothing to be said where the list named it, or nobody asked for anything.
    """
    if box.box in listed or not fetch.wanted:
        return Came("")
    if box.request:
        return Came("not_listed", box.product, box.request)
    asked = any(each.asked.product.name == box.product for each in fetch.wanted)
    return Came("too_many" if asked else "not_asked", box.product)


def fetch_list(
    shipment: Shipment,
    asked: Sequence[Any],
    reach: Reach,
    today: date,
    promises: Promises | None = None,
) -> FetchList:
    """Say which boxes to bring for what the consignee has asked for.

    Those that are on the shipment already are not named: what they serve is not lacking
    any more. What is promised comes first, then what is ready beyond all promises. Two
    lists may name the same box; who loads it first has it.

    Args:
        shipment: The shipment, open.
        asked: The open requests that it may serve, from ``with_figures``, the neediest
            first.
        reach: What the standing holds reach.
        today: The workshop's day.
        promises: What is promised of all products, where it is known already.

    Returns:
        The list.
    """
    products = {row.product_id for row in asked if row.left > 0}
    ready = _ready(products, reach, today) if products else []
    promises = promises or open_promises(products)
    lots = _lots_in([box.pk for box in ready])
    had = _lots_had(shipment, set().union(*lots.values())) if ready else set()
    mixes = _dealt(asked, ready, promises)
    wanted = [
        Wanted(row, promises.to(row.pk).total(), mixes.get(row.pk)) for row in asked
    ]
    brought: list[Bring] = []
    for each in wanted:
        boxes = _bring(each, ready, lots, had)
        taken = {box.pk for box in boxes}
        ready = [box for box in ready if box.pk not in taken]
        had |= {lot for box in taken for lot in lots[box]}
        of = each.asked.number if len(asked) > 1 else ""
        brought += [Bring(box, _said(box, "stands"), of) for box in boxes]
    return FetchList(wanted, _by_place(_on_pallets(brought)))


def _on_pallets(brought: list[Bring]) -> list[Bring]:
    """Say of boxes on which pallet they stand, and whether all of it is wanted."""
    on = {each.box.pk: name for each in brought if (name := _said(each.box, "pallet"))}
    if not on:
        return brought
    here = Pallet.objects.filter(number__in=on.values())
    has = {row.number: vars(row)["boxes"] for row in with_boxes(here)}
    wanted = Counter(on.values())
    return [
        replace(
            each,
            pallet=(pallet := on.get(each.box.pk, "")),
            whole=bool(pallet) and wanted[pallet] == has[pallet],
        )
        for each in brought
    ]


def _ready(products: set[int], reach: Reach, today: date) -> list[Box]:
    found = ready_boxes(reach, today).filter(size__product__in=products)
    on = Pallet.objects.filter(
        pallet_boxes__box=OuterRef("pk"), pallet_boxes__live=True
    )
    said = {"stands": STANDS, "pallet": Subquery(on.values("number")[:1])}
    return list(found.select_related("size").annotate(**said).order_by("pk"))


def _said(box: Box, name: str) -> str:
    return getattr(box, name, None) or ""


def _lots_in(boxes: Sequence[int]) -> dict[int, frozenset[int]]:
    found: dict[int, set[int]] = {box: set() for box in boxes}
    lines = BoxLine.objects.filter(box__in=boxes) if boxes else BoxLine.objects.none()
    for box, lot in lines.values_list("box", "lot"):
        found[box].add(lot)
    return {box: frozenset(lots) for box, lots in found.items()}


def _lots_had(shipment: Shipment, lots: set[int]) -> set[int]:
    """Those of some lots of which its consignee has pieces, or has them on the way."""
    theirs = Shipment.objects.filter(
        Q(pk=shipment.pk)
        | Q(consignee__in=same_as(shipment.consignee_id), stage__in=GONE_SHIPMENTS)
    )
    on = BoxLine.objects.filter(
        lot__in=lots,
        box__shipment_boxes__live=True,
        box__shipment_boxes__shipment__in=theirs.values("pk"),
    )
    return set(on.values_list("lot", flat=True).distinct())


def _dealt(
    asked: Iterable[Any], ready: Iterable[Box], promises: Promises
) -> dict[int, Mix | None]:
    there: dict[int, Counter[int]] = {}
    for box in ready:
        there.setdefault(box.size.product_id, Counter())[box.size.sets] += 1
    mixes: dict[int, Mix | None] = {}
    for product, boxes in there.items():
        rows = [row for row in asked if row.product_id == product]
        own = [row.pk for row in rows]
        dealt = deal(
            [row.left for row in rows],
            boxes,
            [promises.to(pk) for pk in own],
            promises.total(product, but=own),
        )
        mixes |= zip(own, dealt, strict=True)
    return mixes


def _bring(
    wanted: Wanted, ready: Iterable[Box], lots: dict[int, frozenset[int]], had: set[int]
) -> list[Box]:
    if wanted.mix is None:
        return []
    product = wanted.asked.product_id
    of_product = {box.pk: box for box in ready if box.size.product_id == product}
    candidates = [
        Candidate(box.pk, box.size.sets, box.use_by, lots[box.pk], box.pk)
        for box in of_product.values()
    ]
    chosen = choose(wanted.mix.counts, candidates, had)
    return [of_product[each.box] for each in chosen]


def _by_place(brought: Iterable[Bring]) -> list[tuple[str, list[Bring]]]:
    places: dict[str, list[Bring]] = {}
    for each in brought:
        places.setdefault(each.place, []).append(each)
    order = sorted(places, key=lambda name: (not name, name))
    return [(name, sorted(places[name], key=_in_order)) for name in order]


def _in_order(each: Bring) -> tuple[int, str]:
    return -each.box.size.sets, str(each.box)
