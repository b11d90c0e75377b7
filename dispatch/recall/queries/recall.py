"""What a recall lookup shows beside the trace: whom it reached, holds, choices."""

from __future__ import annotations

from dataclasses import dataclass, replace
from operator import attrgetter

from django.db.models import Count, Exists, Model, OuterRef, Sum

from dispatch.consignees.queries import ship_to
from dispatch.domain.receipts import OURS, Found
from dispatch.models import Consignee, Pallet, Receipt, ReceiptBox, Shipment
from dispatch.recall.queries.cases import shown_with_cases
from dispatch.trace.queries import BoxRow, Trace
from kitting.domain.shown import spaced
from kitting.domain.stages import GONE
from kitting.ledger.reach import Reach, reach_of
from kitting.ledger.standing import Standing, standing_on
from kitting.models import Bag, Box, Hold, Lot, Run

MOST_CHOICES = 50


@dataclass(frozen=True)
class Target:
    """Something that a hold can be placed on from a page."""

    value: str
    """The kind and id, or the name of a source, as the form sends it."""
    words: str
    lots: tuple[int, ...] = ()
    """Ids of the lots that are alike, where it is these, each by itself."""


@dataclass(frozen=True)
class Reached:
    """A consignee that boxes of a trace were sent to: who must be told."""

    code: str
    name: str
    address: str
    contact: str
    night_contact: str
    points: tuple[str, ...]
    """The delivery points and wards at which boxes were left."""
    boxes: tuple[BoxRow, ...]
    """The boxes that left for it, in the order of the trace."""
    pieces: int
    """Traced pieces in them."""


@dataclass(frozen=True)
class Stopped:
    """Bags with something in them that a hold reaches, in one unit."""

    unit: str
    amount: int
    bags: int


def with_short(found: Trace) -> Trace:
    """Say of each box how many sets were counted in it, where it was received short.

    Args:
        found: A trace.

    Returns:
        The same with that, as the newest receipt of ours says it.
    """
    gone = [box.serial for box in found.boxes if box.shipment]
    newer = Receipt.objects.filter(
        shipment=OuterRef("receipt__shipment"),
        way__in=OURS,
        pk__gt=OuterRef("receipt"),
    )
    rows = ReceiptBox.objects.filter(
        ~Exists(newer), box__serial__in=gone, found=Found.SHORT, receipt__way__in=OURS
    )
    short = dict(rows.values_list("box__serial", "sets")) if gone else {}
    boxes = [replace(box, short=short.get(box.serial)) for box in found.boxes]
    return replace(found, boxes=boxes) if short else found


def whom_it_reached(found: Trace, home: str) -> list[Reached]:
    """The consignees of the boxes that have left, with what each of them has.

    Args:
        found: A trace.
        home: The workshop's own country.

    Returns:
        One for each consignee, by name; two of one name stay apart.
    """
    gone = [box for box in found.boxes if box.stage in GONE]
    known = Consignee.objects.filter(pk__in={box.consignee_id for box in gone})
    # One that was merged with another is told as that one.
    now = {
        row.pk: row.merged_into or row for row in known.select_related("merged_into")
    }
    boxes_of: dict[int, list[BoxRow]] = {}
    for box in gone:
        boxes_of.setdefault(now[box.consignee_id].pk, []).append(box)
    reached = {row.pk: row for row in now.values()}.values()
    return [
        Reached(
            code=whom.code,
            name=whom.name,
            address="\n".join(ship_to(whom, home).below_name),
            contact=whom.contact,
            night_contact=whom.night_contact,
            points=tuple(sorted({box.point for box in boxes_of[whom.pk] if box.point})),
            boxes=tuple(boxes_of[whom.pk]),
            pieces=sum(box.pieces for box in boxes_of[whom.pk]),
        )
        for whom in sorted(reached, key=attrgetter("name", "code"))
    ]


def lot_to_filter_by(row: Model | None) -> str:
    """The lot by which the shipping log can be filtered for what was traced.

    Args:
        row: The thing that was traced.

    Returns:
        The number of the lot, or of the bag's lot; empty for anything else.
    """
    if isinstance(row, Bag):
        row = row.lot
    return row.number if isinstance(row, Lot) else ""


def bags_stopped(hold_id: int) -> list[Stopped]:
    """The bags that one hold stops: those that still hold something.

    Args:
        hold_id: The hold.

    Returns:
        One for each unit that occurs, by unit.
    """
    reach = reach_of(Hold.objects.filter(pk=hold_id))
    found = Bag.objects.filter(reach.of_bags, pieces__gt=0).values("lot__part__unit")
    sums = found.annotate(sum=Sum("pieces"), bags=Count("pk")).order_by(
        "lot__part__unit"
    )
    return [Stopped(row["lot__part__unit"], row["sum"], row["bags"]) for row in sums]


def targets_of(row: Model) -> list[Target]:
    """What a hold can be placed on from the page of a thing, the thing first.

    Args:
        row: A lot, bag, run, box or shipment.

    Returns:
        The targets; none for a shipment or pallet, whose boxes are held one by one.
    """
    if isinstance(row, Lot):
        found = [("lot", row.pk, f"this lot, {spaced(row.number)}")]
        revision = f"revision {row.revision.code} of {row.part.name}"
        found.append(("revision", row.revision_id, f"everything of {revision}"))
        if row.method_id is not None:
            words = f"everything made by method {row.method}"
            found.append(("method", row.method_id, words))
        targets = [Target(f"{kind}:{pk}", words) for kind, pk, words in found]
        return [
            *targets,
            Target(f"source:{row.source}", f"everything from {row.source}"),
        ]
    if isinstance(row, Bag):
        return [
            Target(f"bag:{row.pk}", f"this bag, {spaced(row.number)}"),
            Target(f"lot:{row.lot_id}", f"its whole lot, {spaced(row.lot.number)}"),
        ]
    if isinstance(row, Run):
        return [
            Target(f"run:{row.pk}", f"this run, {spaced(row.number)}"),
            Target(f"protocol:{row.protocol_id}", f"everything under {row.protocol}"),
        ]
    if isinstance(row, Box):
        return [Target(f"box:{row.pk}", f"this box, {spaced(str(row))}")]
    return []


def lots_by_source_number(text: str) -> list[Lot]:
    """Lots that carry a supplier's number, where several do.

    Args:
        text: The number as typed.

    Returns:
        At most ``MOST_CHOICES`` lots, newest first.
    """
    plain = text.strip()
    if not plain or not plain.isprintable():
        return []
    return list(
        Lot.objects.filter(source_number__iexact=plain).select_related("part")[
            :MOST_CHOICES
        ]
    )


def holds_on(row: Model | None, reach: Reach) -> list[Standing]:
    """The standing holds that reach a thing or, for a shipment or pallet, a box of it.

    Args:
        row: A lot, bag, run, box, pallet or shipment; None for nothing.
        reach: What ``told_with_cases`` reach.

    Returns:
        The holds, oldest first, each with its case.
    """
    if not isinstance(row, Shipment | Pallet):
        return shown_with_cases(standing_on(row, reach))
    on = row.shipment_boxes if isinstance(row, Shipment) else row.pallet_boxes
    boxes = on.filter(live=True).values_list("box", flat=True)
    return shown_with_cases(standing_on(row, reach, boxes=boxes))
