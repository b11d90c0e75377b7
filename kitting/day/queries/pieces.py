"""The day: what was packed, what waits, what is held, what is ready to go."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from django.db.models import Count, Q, QuerySet, Sum, Value

from kitting.domain.stages import IN_HOUSE, BagStage, BoxStage, RunStage
from kitting.ledger.reach import Reach, held_boxes
from kitting.lots.queries.lots import held_lots, waiting_for_a_check
from kitting.models import Bag, Box, BoxEvent, Hold, Lot, Operation, Part, Run
from kitting.models.lots import LotStage
from kitting.packing.queries.boxes import ready_boxes

SHOWN = (
    BagStage.ARRIVED,
    BagStage.ACCEPTED,
    BagStage.IN_RUN,
    BagStage.EXPOSED,
    BagStage.CLEARED,
    BagStage.REJECTED,
)
"""Stages of bags with pieces in them, in the order of the line."""


class Told(StrEnum):
    """What a sentence of the day says of boxes."""

    PACKED = "packed"
    NONE_PACKED = "none packed"
    OPEN = "open"
    CLOSED = "closed"
    READY = "ready"
    NONE_READY = "none ready"
    LOADED = "loaded"
    SENT = "sent"
    NONE_SENT = "none sent"


PACKED = IN_HOUSE - {BoxStage.OPEN}


@dataclass(frozen=True)
class Boxes:
    """A number of boxes and the sets in them."""

    boxes: int = 0
    sets: int = 0


@dataclass(frozen=True)
class PartLine:
    """Pieces of one part in its bags, by stage."""

    part: Part
    """With what a page says of it alone."""
    stages: tuple[int, ...]
    """In the order of ``SHOWN``."""
    held: int
    """Of all these, pieces that a hold stops."""

    @property
    def total(self) -> int:
        """Pieces in all stages."""
        return sum(self.stages)


@dataclass(frozen=True)
class Day:
    """Every figure of the page."""

    today: date
    packed: Boxes
    open: Boxes
    closed: Boxes
    """Closed, and the label not yet scanned on them."""
    ready: Boxes
    loaded: Boxes
    sent: Boxes
    lots_waiting: int
    lots_open: int
    runs_open: int
    uncleared: int
    """Pieces that are accepted or on the line and need disinfection."""
    holds: int
    held_lots: int
    held_boxes: int
    parts: list[PartLine] = field(default_factory=list)
    """Parts that are counted in pieces and of which there are any, by name."""
    materials: list[PartLine] = field(default_factory=list)
    """Materials, in grams or millimetres."""

    @property
    def packing(self) -> list[tuple[Told, Boxes]]:
        """What is told of the boxes at the benches."""
        packed = Told.PACKED if self.packed.boxes else Told.NONE_PACKED
        rest = [(Told.OPEN, self.open), (Told.CLOSED, self.closed)]
        return [(packed, self.packed), *((told, of) for told, of in rest if of.boxes)]

    @property
    def going_out(self) -> list[tuple[Told, Boxes]]:
        """What is told of the boxes that go out."""
        loaded = [(Told.LOADED, self.loaded)] if self.loaded.boxes else []
        return [
            (Told.READY if self.ready.boxes else Told.NONE_READY, self.ready),
            *loaded,
            (Told.SENT if self.sent.boxes else Told.NONE_SENT, self.sent),
        ]


def the_day(today: date, since: datetime, reach: Reach) -> Day:
    """Read the figures of the day.

    Args:
        today: The workshop's day.
        since: Its first moment.
        reach: What the standing holds reach.

    Returns:
        The figures.
    """
    boxes = Box.objects.all()
    acts = Operation.objects.filter(at__gte=since)
    sent = BoxEvent.objects.filter(operation__in=acts.values("pk"), after=BoxStage.SENT)
    found = _counted(
        packed=boxes.exclude(stage=BoxStage.VOIDED).filter(packed_on=today),
        open=boxes.filter(stage=BoxStage.OPEN),
        closed=boxes.filter(stage=BoxStage.CLOSED),
        ready=ready_boxes(reach, today),
        loaded=boxes.filter(stage=BoxStage.LOADED),
        sent=boxes.filter(pk__in=sent.values("box")),
        held=boxes.filter(pk__in=held_boxes(reach), stage__in=PACKED),
        lots_waiting=Lot.objects.filter(waiting_for_a_check()),
        lots_open=Lot.objects.filter(stage=LotStage.OPEN),
        lots_held=Lot.objects.filter(pk__in=held_lots(reach)),
        runs_open=Run.objects.filter(stage=RunStage.OPEN),
        holds=Hold.objects.filter(lift__isnull=True),
    )
    lines = part_lines(reach)
    pieces = [line for line in lines if line.part.unit == "piece"]
    return Day(
        today=today,
        packed=found["packed"],
        open=found["open"],
        closed=found["closed"],
        ready=found["ready"],
        loaded=found["loaded"],
        sent=found["sent"],
        lots_waiting=found["lots_waiting"].boxes,
        lots_open=found["lots_open"].boxes,
        runs_open=found["runs_open"].boxes,
        uncleared=sum(
            sum(line.stages[1:4]) for line in pieces if line.part.needs_clearing
        ),
        holds=found["holds"].boxes,
        held_lots=found["lots_held"].boxes,
        held_boxes=found["held"].boxes,
        parts=pieces,
        materials=[line for line in lines if line.part.unit != "piece"],
    )


def _counted(**which: QuerySet[Any]) -> dict[str, Boxes]:
    """Count rows of many tables in one question; of boxes also the sets in them."""
    counts = [
        rows.order_by()
        .values_list(Value(name))
        .annotate(
            rows=Count("pk"),
            sets=Sum("size__sets" if rows.model is Box else Value(0), default=0),
        )
        for name, rows in which.items()
    ]
    found = counts[0].union(*counts[1:], all=True)
    return {name: Boxes() for name in which} | {
        name: Boxes(rows, sets) for name, rows, sets in found
    }


def part_lines(reach: Reach) -> list[PartLine]:
    """Pieces of each part by stage, parts without any left out.

    Args:
        reach: What the standing holds reach.

    Returns:
        A line for each part, by name.
    """
    stops = Q(lot__in=reach.lots) | Q(pk__in=reach.bags) | Q(cleared_run__in=reach.runs)
    bags = Bag.objects.filter(stage__in=SHOWN).order_by()
    sums: dict[int, dict[str, int]] = {}
    held: dict[int, int] = {}
    parts: dict[int, Part] = {}
    of = ("code", "name", "unit", "needs_clearing")
    rows = bags.values_list(
        "lot__part", *(f"lot__part__{name}" for name in of), "stage"
    )
    for pk, *said, stage, pieces, stopped in rows.annotate(
        sum=Sum("pieces"), stopped=Sum("pieces", filter=stops, default=0)
    ):
        parts[pk] = Part(pk=pk, **dict(zip(of, said, strict=True)))
        sums.setdefault(pk, {})[stage] = pieces
        held[pk] = held.get(pk, 0) + stopped
    return [
        PartLine(
            part=part,
            stages=tuple(sums[part.pk].get(stage, 0) for stage in SHOWN),
            held=held.get(part.pk, 0),
        )
        for part in sorted(parts.values(), key=lambda part: part.name)
    ]
