"""What the pages of boxes read: the table, its totals, and one box."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Count, Max, Min, OuterRef, Q, QuerySet, Subquery, Sum

from kitting.domain.stages import BoxStage
from kitting.ledger.covering import like_of
from kitting.ledger.reach import Reach, held_boxes
from kitting.models import AllowedMass, Box, BoxEvent, BoxHanded, BoxLine, Place, Print
from kitting.places.queries import place_of

# Shipments hang on a box from the other app; the name of the relation is all that is
# known of them here.
SHIPMENT = "shipment_boxes"

MOST_COPIES = 32_767
"""The largest copy that its column holds."""


READY = "ready"
"""The filter's word for ``ready_boxes``; no stage, as some labelled boxes are not."""


def ready_boxes(reach: Reach, today: date) -> QuerySet[Box]:
    """Boxes that may go: labelled, on no shipment, not held, not past their date.

    Every page that tells how many are ready asks here.

    Args:
        reach: What the standing holds reach.
        today: The workshop's day; what is past its use-by date may not go.

    Returns:
        The boxes.
    """
    in_time = Q(use_by__isnull=True) | Q(use_by__gte=today)
    labelled = Box.objects.filter(in_time, stage=BoxStage.LABELLED)
    return labelled.exclude(pk__in=held_boxes(reach))


def filtered_boxes(filters: Mapping[str, Any], ready: QuerySet[Box]) -> QuerySet[Box]:
    """Boxes as the filters choose them, newest first.

    Args:
        filters: Any of stage, size, since, until and batch, as ``BoxFilterForm`` gives
            them.
        ready: ``ready_boxes``, for whoever asks for these.

    Returns:
        Boxes with their size, product and bench, and ``shipment``: the number of the
        shipment they are in or left with.
    """
    stage = filters.get("stage")
    boxes = ready if stage == READY else Box.objects.all()
    if stage and stage != READY:
        boxes = boxes.filter(stage=stage)
    if size := filters.get("size"):
        boxes = boxes.filter(size=size)
    if since := filters.get("since"):
        boxes = boxes.filter(packed_on__gte=since)
    if until := filters.get("until"):
        boxes = boxes.filter(packed_on__lte=until)
    if batch := filters.get("batch"):
        boxes = boxes.filter(batch=batch)
    live = (
        Box.objects.filter(pk=OuterRef("pk"), **{f"{SHIPMENT}__live": True})
        .order_by()
        .values(f"{SHIPMENT}__shipment__number")[:1]
    )
    boxes = boxes.select_related("size__product", "bench", "recipe")
    return boxes.annotate(shipment=Subquery(live)).order_by("-pk")


@dataclass(frozen=True)
class BoxTotals:
    """What the filtered boxes come to."""

    boxes: int
    sets: int
    """Sets in closed boxes and later ones; open and voided boxes hold none to send."""
    first: date | None
    """First and last pack date among them."""
    last: date | None
    by_stage: dict[str, int]
    ready: int
    """Of those that are labelled, the ones that may go."""
    held: int
    """Of every stage."""


def totals_of(boxes: QuerySet[Box], ready: QuerySet[Box], reach: Reach) -> BoxTotals:
    """Sum up boxes.

    Args:
        boxes: Boxes as ``filtered_boxes`` gives them.
        ready: ``ready_boxes``.
        reach: What the standing holds reach.

    Returns:
        The totals.
    """
    rows = (
        boxes.order_by()
        .values("stage")
        .annotate(
            boxes=Count("pk"),
            sets=Sum("size__sets"),
            first=Min("packed_on"),
            last=Max("packed_on"),
        )
    )
    found = list(rows)
    firsts = [row["first"] for row in found if row["first"]]
    lasts = [row["last"] for row in found if row["last"]]
    return BoxTotals(
        boxes=sum(row["boxes"] for row in found),
        sets=sum(
            row["sets"] for row in found if row["stage"] not in {"open", "voided"}
        ),
        first=min(firsts, default=None),
        last=max(lasts, default=None),
        by_stage={row["stage"]: row["boxes"] for row in found},
        ready=boxes.filter(pk__in=ready.values("pk")).count(),
        held=boxes.filter(pk__in=held_boxes(reach)).count(),
    )


@dataclass(frozen=True)
class BoxPage:
    """What the page of one box shows beside the box itself."""

    lines: list[BoxLine]
    events: list[BoxEvent | BoxHanded]
    """Its stages, and benches that it was handed over to, newest first."""
    prints: list[Print]
    shipment: str
    held: bool
    held_lines: set[int] = field(default_factory=set)
    """Ids of the lines that are held by their lot, bag or run."""
    place: Place | None = None
    """Where it stands; None for one that stands nowhere here."""
    allowed: list[AllowedMass] = field(default_factory=list)
    """At which masses outside of its window somebody let it close, newest first."""
    window: tuple[int, int] | None = None
    """Lowest and highest mass in mg of a complete one, as it was closed."""

    @property
    def pieces(self) -> int:
        """Pieces in the box."""
        return sum(line.pieces for line in self.lines)

    @property
    def lots(self) -> int:
        """Lots in the box."""
        return len({line.lot_id for line in self.lines})


def box_of_number(number: str) -> Box | None:
    """Find a box by the serial on its label, its SSCC or its number at the bench.

    Args:
        number: As it is stored.

    Returns:
        The box with its size, product, recipe and bench, or None.
    """
    boxes = Box.objects.select_related(
        "size__product", "recipe", "bench__place", "place"
    )
    for name in ("serial", "number", "sscc"):
        found = boxes.filter(**{name: number}).first()
        if found is not None:
            return found
    return None


def box_page(box: Box, reach: Reach) -> BoxPage:
    """Read what the page of a box shows.

    Args:
        box: The box.
        reach: What the standing holds reach.

    Returns:
        The page.
    """
    lines: list[BoxLine] = list(
        BoxLine.objects.filter(box=box)
        .annotate(like=like_of("run", "bag"))
        .select_related("lot__part", "lot__revision", "bag__place", "run__protocol")
        .order_by("lot__part__name", "lot__number", "pk")
    )
    held_lines = {line.pk for line in lines if reach.line(line)}
    shipment = (
        Box.objects.filter(pk=box.pk, **{f"{SHIPMENT}__live": True})
        .values_list(f"{SHIPMENT}__shipment__number", flat=True)
        .first()
    )
    return BoxPage(
        lines=lines,
        events=_events(box),
        prints=list(box.prints.select_related("operation").order_by("-copy")),
        shipment=shipment or "",
        held=box.pk in reach.boxes or bool(held_lines),
        held_lines=held_lines,
        place=place_of(box),
        allowed=_allowed(box) if box.size.weigh or box.mass_mg else [],
        window=_window(box) if box.mass_mg else None,
    )


def _allowed(box: Box) -> list[AllowedMass]:
    return list(box.allowed_masses.select_related("operation").order_by("-pk"))


def _window(box: Box) -> tuple[int, int]:
    """What the act kept that closed it: masses and scale may be others by now."""
    closed = BoxEvent.objects.filter(box=box, after=BoxStage.CLOSED)
    outcome = closed.values_list("operation__link__outcome", flat=True).get()
    said = json.loads(outcome)
    return said["low_mg"], said["high_mg"]


def _events(box: Box) -> list[BoxEvent | BoxHanded]:
    stages = box.events.select_related("operation")
    handed = box.handed.select_related("operation", "before", "bench")
    found: list[BoxEvent | BoxHanded] = [*stages, *handed]
    return sorted(found, key=lambda each: each.operation_id, reverse=True)


def newest_print(box_id: int) -> Print | None:
    """The newest print of a box's label.

    Args:
        box_id: The box.

    Returns:
        The print as logged, or None if there was none.
    """
    return Print.objects.filter(box=box_id).order_by("-copy").first()


def was_first_print(box_id: int, key: UUID) -> bool:
    """Tell whether the first print of a label was logged under a key.

    Args:
        box_id: The box.
        key: An operation key.

    Returns:
        True if it was.
    """
    first = Print.objects.filter(box=box_id, copy=1, operation__key=key.bytes)
    return first.exists()


def logged_print(box_id: int, copy: int) -> Print | None:
    """One print of a box's label.

    Args:
        box_id: The box.
        copy: Which one, any whole number.

    Returns:
        The print as logged, or None.
    """
    if not 0 < copy <= MOST_COPIES:
        return None
    return Print.objects.filter(box=box_id, copy=copy).first()
