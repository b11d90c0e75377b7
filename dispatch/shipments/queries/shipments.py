"""What the pages of shipments show: those that are open, what is on, what could go."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from operator import itemgetter
from typing import Protocol

from django.db.models import Count, F, Min, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from dispatch.models import ShipEvent, Shipment, ShipScan
from dispatch.requests.queries.promises import Promises, open_promises
from kitting.domain.stages import ShipmentStage
from kitting.ledger.reach import Reach, holds_on_boxes
from kitting.ledger.standing import target_of
from kitting.models import Box, BoxLine, Hold
from kitting.packing.queries.boxes import ready_boxes

STANDS = Coalesce("place__name", "bench__place__name", Value(""))
"""Where a box stands; empty where no place is on record."""

REMEMBERED = 200
"""How many sent shipments are looked at for who took them."""

LATELY = 20
"""How many shipments that are sent or cancelled the page of shipments shows."""


@dataclass(frozen=True)
class LotIn:
    """A lot in a box or shipment."""

    number: str
    part: str


class OfAKind(Protocol):
    """Anything that tells the product and size of a box."""

    @property
    def product(self) -> str: ...

    @property
    def sets(self) -> int: ...


@dataclass(frozen=True)
class OnBoard:
    """A box that is on a shipment."""

    box_id: int
    box: str
    product: str
    sets: int
    stage: str
    packed_on: date | None
    use_by: date | None
    lots: tuple[LotIn, ...]
    request: str
    """The number of the request that it serves; empty for none."""
    held: str
    """On what the first hold stands that reaches it, and why; empty if none does."""
    place: str = ""
    """Where it stood before, as far as that is on record."""
    past: bool = False
    """Whether it is past its use-by date."""
    pallet: str = ""
    """The number of the pallet on which it came; empty for none."""

    @property
    def comes_off(self) -> bool:
        """Whether it must be taken off before anything leaves."""
        return bool(self.held) or self.past


@dataclass(frozen=True)
class Ready:
    """Boxes of one kind that may go: labelled, not held, not past their date."""

    product: str
    sets: int
    places: tuple[tuple[str, int], ...]
    """Where they stand and how many; by name, those that stand nowhere last."""
    boxes: int
    promised: int
    """Boxes of the kind that are promised to requests and not loaded yet; there may be
    more of these than are ready."""
    oldest: date


def with_figures(which: Q) -> QuerySet[Shipment]:
    """Shipments with the boxes and sets that are on them now.

    Args:
        which: Which shipments.

    Returns:
        The shipments, newest first, each with its consignee, ``on``, ``sets_on``,
        ``begun_at``, ``begun_by``, ``ended_at``, ``ended_by`` and
        ``ended_why``; the last three tell of its newest event but a delivery.
    """
    live = Q(shipment_boxes__live=True)
    events = ShipEvent.objects.filter(shipment=OuterRef("pk"))
    first = events.order_by("nth")
    last = events.exclude(after=ShipmentStage.DELIVERED).order_by("-nth")
    return (
        Shipment.objects.filter(which)
        .select_related("consignee")
        .order_by("-pk")
        .annotate(
            on=Count("shipment_boxes", filter=live),
            sets_on=Sum("shipment_boxes__box__size__sets", filter=live, default=0),
            begun_at=Subquery(first.values("operation__at")[:1]),
            begun_by=Subquery(first.values("operation__by_name")[:1]),
            ended_at=Subquery(last.values("operation__at")[:1]),
            ended_by=Subquery(last.values("operation__by_name")[:1]),
            ended_why=Subquery(last.values("reason")[:1]),
        )
    )


def open_shipments() -> list[Shipment]:
    """Every open shipment, newest first, with its figures.

    Returns:
        The shipments; see ``with_figures``.
    """
    return list(with_figures(Q(stage=ShipmentStage.OPEN)))


def lately_ended() -> list[Shipment]:
    """The newest shipments that were sent or cancelled.

    Returns:
        At most ``LATELY`` shipments; see ``with_figures``.
    """
    ended = Shipment.objects.exclude(stage=ShipmentStage.OPEN).order_by("-pk")
    newest = list(ended.values_list("pk", flat=True)[:LATELY])
    return list(with_figures(Q(pk__in=newest)))


def lots_by_box(boxes: Iterable[int]) -> dict[int, tuple[LotIn, ...]]:
    """The lots in each of some boxes, in one query.

    Args:
        boxes: Ids of boxes.

    Returns:
        Each box with its lots, in the order of parts and numbers.
    """
    lines = BoxLine.objects.filter(box__in=boxes).order_by(
        "lot__part__name", "lot__number"
    )
    found: dict[int, dict[LotIn, None]] = {}
    for box, lot, part in lines.values_list("box", "lot__number", "lot__part__name"):
        found.setdefault(box, {})[LotIn(lot, part)] = None
    return {box: tuple(lots) for box, lots in found.items()}


def on_board(
    shipment: Shipment,
    reach: Reach | None = None,
    today: date = date.min,
    of: str = "",
) -> list[OnBoard]:
    """The boxes on a shipment, the one that was scanned last first.

    Args:
        shipment: The shipment.
        reach: What ``told_holds`` reach; left out where nobody asks.
        today: The workshop's day; left out where nobody asks what is past its date.
        of: The number of the box or pallet whose lots alone are asked for.

    Returns:
        The boxes, each with its lots and with the hold that reaches it.
    """
    live = Q(shipment_boxes__shipment=shipment, shipment_boxes__live=True)
    scans = ShipScan.objects.filter(shipment=shipment, box=OuterRef("pk"), on=True)
    names = ("pk", "stage", "packed_on", "use_by")
    # Bare values: of hundreds of boxes whole rows take most of the time of a scan.
    found = Box.objects.filter(live).values(
        *names,
        name=Coalesce("serial", "number"),
        product=F("size__product__name"),
        sets=F("size__sets"),
        serves=F("shipment_boxes__request__number"),
        on_pallet=F("shipment_boxes__pallet__number"),
        stands=STANDS,
        scan=Subquery(scans.order_by("-pk").values("pk")[:1]),
    )
    boxes = sorted(found, key=itemgetter("scan"), reverse=True)
    those = [row for row in boxes if not of or of in (row["name"], row["on_pallet"])]
    lots = lots_by_box([row["pk"] for row in those])
    held = holds_on_boxes([row["pk"] for row in boxes], reach or Reach())
    return [
        OnBoard(
            box_id=row["pk"],
            box=row["name"],
            product=row["product"],
            sets=row["sets"],
            stage=row["stage"],
            packed_on=row["packed_on"],
            use_by=row["use_by"],
            lots=lots.get(row["pk"], ()),
            request=row["serves"] or "",
            held=_why(held.get(row["pk"], [])),
            place=row["stands"],
            past=row["use_by"] is not None and row["use_by"] < today,
            pallet=row["on_pallet"] or "",
        )
        for row in boxes
    ]


def _why(held: list[Hold]) -> str:
    return f"{target_of(held[0])}: {held[0].reason}" if held else ""


def marks_of(boxes: Iterable[OnBoard], gone: Collection[str] = ()) -> list[str]:
    """Mark what a page shows of a shipment, so that it is told from any other.

    Args:
        boxes: The boxes that it shows, and whether each comes off.
        gone: Boxes that it shows besides; nobody knows any more whether they came off.

    Returns:
        The mark; where boxes are gone, those of either.
    """
    told = [f"{box.box} {box.comes_off}" for box in boxes]
    return [
        marked([*told, *(f"{box} {off}" for box in gone)])
        for off in ((False, True) if gone else (False,))
    ]


def marked(lines: Iterable[str]) -> str:
    """Mark some lines, whatever their order."""
    return hashlib.sha256("\n".join(sorted(lines)).encode()).hexdigest()[:16]


def by_size(boxes: Iterable[OfAKind]) -> list[tuple[str, int, int, int]]:
    """What is on a shipment, as it would be counted on the pallet.

    Args:
        boxes: The boxes on it.

    Returns:
        Product, sets in a box, boxes, and sets in all of them; by product, largest
        boxes first.
    """
    found = Counter((box.product, box.sets) for box in boxes)
    kinds = sorted(found, key=lambda kind: (kind[0], -kind[1]))
    return [
        (product, sets, found[product, sets], sets * found[product, sets])
        for product, sets in kinds
    ]


def by_pallet(boxes: Iterable[OnBoard]) -> list[tuple[str, int, int]]:
    """The pallets on which boxes came, as they are counted.

    Args:
        boxes: The boxes on a shipment.

    Returns:
        The number of each, its boxes and the sets in them; by number.
    """
    found: dict[str, list[int]] = {}
    for box in boxes:
        if box.pallet:
            found.setdefault(box.pallet, []).append(box.sets)
    return [(name, len(sets), sum(sets)) for name, sets in sorted(found.items())]


def last_scan(shipment: Shipment) -> int:
    """The id of the last scan onto or off a shipment, 0 where there is none.

    It tells later whether a page that showed the shipment is still true; read it
    before the boxes.

    Args:
        shipment: The shipment.

    Returns:
        The id.
    """
    return shipment.scans.order_by("-pk").values_list("pk", flat=True).first() or 0


def named_before() -> dict[str, list[str]]:
    """Who took shipments away lately, and in which vehicles.

    Returns:
        ``hauliers``, ``drivers`` and ``vehicles``, by name.
    """
    went = Shipment.objects.filter(sent_at__isnull=False).order_by("-sent_at")
    lately = list(went.values_list("haulier", "driver", "vehicle")[:REMEMBERED])
    kinds = ("hauliers", "drivers", "vehicles")
    return {
        kind: sorted({row[nth] for row in lately if row[nth]})
        for nth, kind in enumerate(kinds)
    }


def ready_to_go(
    today: date, reach: Reach, promises: Promises | None = None
) -> list[Ready]:
    """Boxes that may be scanned onto a shipment now, by product and size.

    A box stands where it was put, else where the bench is at which it was packed.

    Args:
        today: The workshop's day; what is past its use-by date may not go.
        reach: What the standing holds reach.
        promises: What is promised of all products, where it is known already.

    Returns:
        The kinds by product, largest boxes first.
    """
    promises = promises or open_promises()
    ready = ready_boxes(reach, today).order_by()
    stands = Coalesce("place__name", "bench__place__name", Value(""))
    kind = ("size__product__name", "size__sets", "size__product")
    rows = ready.values_list(*kind, stands).annotate(
        boxes=Count("pk"), oldest=Min("packed_on")
    )
    kinds: dict[tuple[str, int, int], list[tuple[str, int, date]]] = {}
    for product, sets, of, place, boxes, oldest in rows:
        kinds.setdefault((product, sets, of), []).append((place, boxes, oldest))
    return [
        Ready(
            product=product,
            sets=sets,
            places=tuple(
                (place, boxes)
                for place, boxes, _oldest in sorted(
                    found, key=lambda one: (not one[0], one[0])
                )
            ),
            boxes=sum(boxes for _place, boxes, _oldest in found),
            promised=promises.total(of)[sets],
            oldest=min(oldest for _place, _boxes, oldest in found),
        )
        for (product, sets, of), found in sorted(
            kinds.items(), key=lambda kind: (kind[0][0], -kind[0][1])
        )
    ]
