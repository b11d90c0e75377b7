"""Where a lot, bag, run, box or shipment went, and what is in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db.models import Q, Sum

from dispatch.models import Shipment, ShipmentBox
from dispatch.trace.balance import Balance, balance_of
from kitting.domain.errors import Missing
from kitting.domain.stages import GONE, IN_HOUSE, BoxStage
from kitting.ledger.clock import day_of
from kitting.ledger.reach import descendants
from kitting.models import Bag, Box, BoxLine, Lot, LotOrigin, Run, RunBag, Workshop
from kitting.web.scans import Found, read

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.db.models import Model


@dataclass(frozen=True)
class LotRow:
    """A lot that the trace touches."""

    number: str
    part: str
    revision: str
    made_on: date
    source: str
    role: str
    """traced, made from it, or went into it."""


@dataclass(frozen=True)
class BagRow:
    """A bag that the trace touches."""

    number: str
    lot: str
    stage: str
    pieces: int
    place: str


@dataclass(frozen=True)
class RunRow:
    """A run that the trace touches."""

    number: str
    stage: str
    protocol: str
    closed_on: date | None


@dataclass(frozen=True)
class BoxRow:
    """A box with pieces of the traced lots."""

    serial: str
    sscc: str
    stage: str
    pieces: int
    sets: int
    shipment: str
    consignee: str
    sent_on: date | None
    place: str = ""
    """Where it stands; empty for a box that is not here."""


@dataclass(frozen=True)
class ConsigneeRow:
    """A consignee that boxes with traced pieces were sent to."""

    name: str
    boxes: int
    pieces: int


@dataclass(frozen=True)
class Trace:
    """One trace; every list in a fixed order."""

    number: str
    kind: str
    lots: list[LotRow] = field(default_factory=list)
    bags: list[BagRow] = field(default_factory=list)
    runs: list[RunRow] = field(default_factory=list)
    boxes: list[BoxRow] = field(default_factory=list)
    consignees: list[ConsigneeRow] = field(default_factory=list)
    balance: Balance | None = None
    row: Model | None = None
    """The thing itself, for a page; not part of what is exported."""


@dataclass(frozen=True)
class _Scope:
    """Filters that select what a trace shows; each stands for a query of its own."""

    lines: Q
    lots: Q
    bags: Q
    runs: Q
    roles: dict[int, str] = field(default_factory=dict)


def find(text: str) -> Found:
    """Find what any typed or scanned text names, shipments included.

    Args:
        text: Any text.

    Returns:
        What was found.

    Raises:
        CodeError: If the text is no number or its check character is wrong.
        Missing: If nothing has that number.
    """
    found = read(text)
    if found.row is not None:
        return found
    shipment = Shipment.objects.filter(number=found.text).first()
    if shipment is None:
        raise Missing("nothing_has_number", read=found.text)
    return Found("shipment", shipment, found.text)


def trace(text: str) -> Trace:
    """Trace whatever a text names.

    Args:
        text: A lot, bag, run, box or shipment number, typed or scanned.

    Returns:
        The trace.

    Raises:
        CodeError: If the text is no number or its check character is wrong.
        Missing: If nothing has that number, or it is a place.
    """
    return trace_found(find(text))


def trace_found(found: Found) -> Trace:
    """Trace a thing that was found.

    Args:
        found: What ``find`` gave.

    Returns:
        The trace.

    Raises:
        Missing: If it is nothing that is traced, such as a place.
    """
    row = found.row
    balance = None
    if isinstance(row, Lot):
        scope, balance = _of_lot(row), balance_of(row)
    elif isinstance(row, Bag):
        scope, balance = _of_bag(row), balance_of(row.lot, row)
    elif isinstance(row, Run):
        scope = _of_run(row)
    elif isinstance(row, Box):
        scope = _of_boxes(Q(box=row.pk))
    elif isinstance(row, Shipment):
        on = row.shipment_boxes.filter(live=True).values("box")
        scope = _of_boxes(Q(box__in=on))
    else:
        raise Missing("not_traced", read=found.text)
    boxes = _boxes(scope.lines)
    return Trace(
        number=str(row),
        kind=found.kind,
        lots=_lots(scope),
        bags=_bags(scope.bags),
        runs=_runs(scope.runs),
        boxes=boxes,
        consignees=_consignees(boxes),
        balance=balance,
        row=row,
    )


def _of_lot(lot: Lot) -> _Scope:
    reached = descendants({lot.pk})
    parents = set(LotOrigin.objects.filter(lot=lot).values_list("from_lot", flat=True))
    roles = dict.fromkeys(parents, "went into it")
    roles |= dict.fromkeys(reached, "made from it")
    roles[lot.pk] = "traced"
    bags = Q(lot__in=reached)
    stays = RunBag.objects.filter(bag__lot__in=reached).values("run")
    lines = Q(lot__in=reached)
    return _Scope(
        lines=lines, lots=Q(pk__in=roles), bags=bags, runs=Q(pk__in=stays), roles=roles
    )


def _of_bag(bag: Bag) -> _Scope:
    stays = RunBag.objects.filter(bag=bag).values("run")
    return _Scope(
        lines=Q(bag=bag.pk),
        lots=Q(pk=bag.lot_id),
        bags=Q(pk=bag.pk),
        runs=Q(pk__in=stays),
    )


def _of_run(run: Run) -> _Scope:
    bags = RunBag.objects.filter(run=run).values("bag")
    lots = RunBag.objects.filter(run=run).values("bag__lot")
    return _Scope(
        lines=Q(run=run.pk),
        lots=Q(pk__in=lots),
        bags=Q(pk__in=bags),
        runs=Q(pk=run.pk),
    )


def _of_boxes(lines: Q) -> _Scope:
    inside = BoxLine.objects.filter(lines)
    return _Scope(
        lines=lines,
        lots=Q(pk__in=inside.values("lot")),
        bags=Q(pk__in=inside.values("bag")),
        runs=Q(pk__in=inside.filter(run__isnull=False).values("run")),
    )


def _lots(scope: _Scope) -> list[LotRow]:
    found = Lot.objects.filter(scope.lots).select_related("part", "revision")
    return [
        LotRow(
            number=lot.number,
            part=lot.part.name,
            revision=lot.revision.code,
            made_on=lot.made_on,
            source=lot.source,
            role=scope.roles.get(lot.pk, "traced"),
        )
        for lot in found.order_by("pk")
    ]


def _bags(where: Q) -> list[BagRow]:
    found = Bag.objects.filter(where).select_related("lot", "place").order_by("pk")
    return [
        BagRow(
            number=bag.number,
            lot=bag.lot.number,
            stage=bag.stage,
            pieces=bag.pieces,
            place=bag.place.name if bag.place else "",
        )
        for bag in found
    ]


def _runs(where: Q) -> list[RunRow]:
    workshop = Workshop.objects.get(pk=1)
    found = Run.objects.filter(where).select_related("protocol").order_by("pk")
    return [
        RunRow(
            number=run.number,
            stage=run.stage,
            protocol=str(run.protocol),
            closed_on=day_of(workshop, run.closed_at) if run.closed_at else None,
        )
        for run in found
    ]


def _boxes(where: Q) -> list[BoxRow]:
    """Boxes in one query, their live shipments in another; no list of ids between."""
    workshop = Workshop.objects.get(pk=1)
    lines = BoxLine.objects.filter(where)
    sums = (
        lines.values(
            "box_id",
            "box__number",
            "box__serial",
            "box__sscc",
            "box__stage",
            "box__size__sets",
            "box__place__name",
            "box__bench__place__name",
        )
        .annotate(held=Sum("pieces"))
        .order_by("box_id")
    )
    live = ShipmentBox.objects.filter(
        live=True, box__in=lines.values("box")
    ).values_list(
        "box_id", "shipment__number", "shipment__consignee__name", "shipment__sent_at"
    )
    gone = {box: (number, name, at) for box, number, name, at in live}
    rows = []
    for line in sums:
        number, consignee, sent_at = gone.get(line["box_id"], ("", "", None))
        rows.append(
            BoxRow(
                serial=line["box__serial"] or line["box__number"],
                sscc=line["box__sscc"] or "",
                stage=line["box__stage"],
                pieces=line["held"],
                sets=line["box__size__sets"],
                shipment=number,
                consignee=consignee,
                sent_on=day_of(workshop, sent_at) if sent_at else None,
                place=_place(line),
            )
        )
    return rows


def _place(line: Mapping[str, Any]) -> str:
    """Where a box stands: where it was put, else at its bench."""
    stage = BoxStage(line["box__stage"])
    if stage in IN_HOUSE:
        return line["box__place__name"] or line["box__bench__place__name"] or ""
    return (line["box__place__name"] or "") if stage == BoxStage.RETURNED else ""


def _consignees(boxes: list[BoxRow]) -> list[ConsigneeRow]:
    found: dict[str, list[int]] = {}
    for box in boxes:
        if BoxStage(box.stage) in GONE:
            found.setdefault(box.consignee, []).append(box.pieces)
    return [
        ConsigneeRow(name=name, boxes=len(pieces), pieces=sum(pieces))
        for name, pieces in sorted(found.items())
    ]


def as_json(found: Trace) -> dict[str, Any]:
    """A trace as the one object that ``trace --json`` prints.

    Args:
        found: The trace.

    Returns:
        Plain values; dates as YYYY-MM-DD.
    """

    def plain(row: Any, *names: str) -> dict[str, Any]:
        values = {name: getattr(row, name) for name in names}
        return {
            name: value.isoformat() if isinstance(value, date) else value
            for name, value in values.items()
        }

    return {
        "number": found.number,
        "kind": found.kind,
        "lots": [plain(row, *LotRow.__dataclass_fields__) for row in found.lots],
        "bags": [plain(row, *BagRow.__dataclass_fields__) for row in found.bags],
        "runs": [plain(row, *RunRow.__dataclass_fields__) for row in found.runs],
        "boxes": [plain(row, *BoxRow.__dataclass_fields__) for row in found.boxes],
        "consignees": [
            plain(row, *ConsigneeRow.__dataclass_fields__) for row in found.consignees
        ],
        "balance": None
        if found.balance is None
        else plain(found.balance, *Balance.__dataclass_fields__),
    }
