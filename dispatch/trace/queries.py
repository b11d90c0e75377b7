"""Where a lot, bag, run, box or shipment went, and what is in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import (
    Exists,
    FilteredRelation,
    Model,
    OuterRef,
    Q,
    Sum,
)

from dispatch.domain.trace import Balance
from dispatch.models import Allotment, Case, Complaint, Pallet, Request, Shipment
from dispatch.trace.balance import balance_of, balances_of
from dispatch.trace.scopes import Scope, roots_of, scope_of
from kitting.domain.errors import Missing
from kitting.domain.numbers import Kind, looks_like
from kitting.domain.stages import GONE, HERE, IN_HOUSE, BoxStage
from kitting.ledger.covering import like_of
from kitting.ledger.reach import Reach, holds_on_boxes, reach_of
from kitting.models import Bag, BoxLine, Lot, Run, Workshop
from kitting.packing.queries.miscounts import said_at_benches
from kitting.web.scans import Found, nothing_has, read


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
    held: bool = False
    """Whether it holds pieces that a hold stops; for a page."""
    like: str = ""
    """The revision like which it went on in the run that cleared it."""
    miscounted: bool = False
    """Whether a bench said that its count was wrong; for a page."""


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
    point: str = ""
    """The delivery point or ward that it went to, where that is known."""
    consignee_id: int = 0
    """For a page, as is what follows."""
    held: bool = False
    """Whether it is here and a hold stops it."""
    own: int = 0
    """Pieces of what was traced itself, without what was made from it."""
    passed_by: str = ""
    """The consignee that passed it on to who has it now; empty if none did."""
    short: int | None = None
    """Sets that were counted in it where it was received short."""


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
    derived: list[tuple[str, Balance]] = field(default_factory=list)
    """Of each lot that was made from a traced one: its number and its balance; where
    others are traced along, of each of them as well."""
    row: Model | None = None
    """The thing itself, for a page; not part of what is exported."""

    @property
    def balances(self) -> list[tuple[str, Balance]]:
        """Its own balance, if it has one, and those of what was made from it."""
        own = [(self.number, self.balance)] if self.balance else []
        return [*own, *self.derived]

    @property
    def missing(self) -> list[tuple[str, Balance]]:
        """What pieces are missing of, by its number, with its balance."""
        return [each for each in self.balances if each[1].missing]

    @property
    def adds_up(self) -> bool:
        """Whether no balance has a difference."""
        return not any(balance.difference for _number, balance in self.balances)


def find(text: str) -> Found:
    """Find what any typed or scanned text names, requests and shipments included.

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
    kinds: dict[Kind | None, type[Model]] = {
        Kind.REQUEST: Request,
        Kind.ALLOTMENT: Allotment,
        Kind.PALLET: Pallet,
        Kind.CASE: Case,
        Kind.COMPLAINT: Complaint,
    }
    model = kinds.get(looks_like(found.text), Shipment)
    row = model._default_manager.filter(number=found.text).first()
    if row is None:
        raise nothing_has(found.text)
    return Found(model._meta.model_name or "", row, found.text)


def trace(text: str) -> Trace:
    """Trace whatever a text names.

    Args:
        text: A lot, bag, run, box, pallet or shipment number, typed or scanned.

    Returns:
        The trace.

    Raises:
        CodeError: If the text is no number or its check character is wrong.
        Missing: If nothing has that number, or it is a place.
    """
    return trace_found(find(text))


def trace_found(
    found: Found,
    *,
    reach: Reach | None = None,
    zone: tzinfo | None = None,
    alike: str = "",
) -> Trace:
    """Trace a thing that was found.

    Args:
        found: What ``find`` gave.
        alike: In what other lots are like this one that are traced along, if any are:
            one of ``siblings.ALIKE``.
        reach: What is held, with what ``roots_of`` the thing reach; left out where
            nobody asks.
        zone: The workshop's time zone, where it is read already.

    Returns:
        The trace.

    Raises:
        Missing: If it is nothing that is traced, such as a place or a request.
    """
    row = found.row
    roots = roots_of(row, alike)
    if reach is None:
        reach = reach_of((), roots)
    scope = scope_of(row, roots[1], reach.beside)
    if scope is None or row is None:
        raise Missing("not_traced", read=found.text)
    zone = zone or ZoneInfo(Workshop.objects.get(pk=1).time_zone)
    boxes = _boxes(scope, reach, zone)
    lots = list(
        Lot.objects.filter(scope.lots).select_related("part", "revision").order_by("pk")
    )
    bags: list[Bag] = list(
        Bag.objects.filter(scope.bags)
        .annotate(
            like=like_of("cleared_run", "pk"),
            miscounted=Exists(said_at_benches().filter(bag=OuterRef("pk"))),
        )
        .select_related("lot", "place")
        .order_by("pk")
    )
    roles = scope.roles or {bag.lot_id: "traced" for bag in bags}
    beside = {"made from it", "traced"} if alike else {"made from it"}
    made = [lot for lot in lots if roles.get(lot.pk) in beside]
    return Trace(
        number=str(row),
        kind=found.kind,
        lots=_lots(lots, roles),
        bags=[_bag(bag, reach) for bag in bags],
        runs=_runs(scope.runs, zone),
        boxes=boxes,
        consignees=_consignees(boxes),
        balance=None if alike else _balance(row, bags, boxes),
        derived=[
            (lot.number, its) for lot, its in zip(made, balances_of(made), strict=True)
        ],
        row=row,
    )


def _balance(row: Model, bags: list[Bag], boxes: list[BoxRow]) -> Balance | None:
    in_stage: dict[str, int] = {}
    for box in boxes:
        in_stage[box.stage] = in_stage.get(box.stage, 0) + box.own
    if isinstance(row, Bag):
        return balance_of(row.lot, row, in_stage=in_stage)
    if isinstance(row, Lot):
        own = [bag for bag in bags if bag.lot_id == row.pk]
        return balance_of(row, bags=own, in_stage=in_stage)
    return None


def _lots(lots: list[Lot], roles: Mapping[int, str]) -> list[LotRow]:
    return [
        LotRow(
            number=lot.number,
            part=lot.part.name,
            revision=lot.revision.code,
            made_on=lot.made_on,
            source=lot.source,
            role=roles.get(lot.pk, "went into it"),
        )
        for lot in lots
    ]


def _bag(bag: Bag, reach: Reach) -> BagRow:
    return BagRow(
        number=bag.number,
        lot=bag.lot.number,
        stage=bag.stage,
        pieces=bag.pieces,
        place=bag.place.name if bag.place else "",
        held=bool(bag.pieces) and reach.bag(bag),
        like=getattr(bag, "like", None) or "",
        miscounted=getattr(bag, "miscounted", False),
    )


def _runs(where: Q, zone: tzinfo) -> list[RunRow]:
    found = Run.objects.filter(where).select_related("protocol").order_by("pk")
    return [
        RunRow(
            number=run.number,
            stage=run.stage,
            protocol=str(run.protocol),
            closed_on=_day(run.closed_at, zone),
        )
        for run in found
    ]


def _boxes(scope: Scope, reach: Reach, zone: tzinfo) -> list[BoxRow]:
    """Boxes, each with its live shipment, in one query; no list of ids between."""
    who = ("point", "consignee_id", "consignee__name")
    rows = list(
        BoxLine.objects.filter(scope.lines)
        .annotate(
            load=FilteredRelation(
                "box__shipment_boxes", condition=Q(box__shipment_boxes__live=True)
            )
        )
        .values(
            *("box_id", "box__number", "box__serial", "box__sscc", "box__stage"),
            *("box__size__sets", "box__place__name", "box__bench__place__name"),
            *(f"load__shipment__{name}" for name in ("number", "sent_at", *who)),
            *(f"load__passed__{name}" for name in ("giver__name", *who)),
        )
        .annotate(held=Sum("pieces"), own=Sum("pieces", filter=scope.own, default=0))
        .order_by("box_id")
    )
    here = [row["box_id"] for row in rows if row["box__stage"] in IN_HOUSE]
    stopped = holds_on_boxes(here, reach)
    return [
        BoxRow(
            serial=row["box__serial"] or row["box__number"],
            sscc=row["box__sscc"] or "",
            stage=row["box__stage"],
            pieces=row["held"],
            sets=row["box__size__sets"],
            shipment=row["load__shipment__number"] or "",
            consignee=_now(row, "consignee__name") or "",
            sent_on=_day(row["load__shipment__sent_at"], zone),
            place=place_of(row),
            point=_now(row, "point") or "",
            consignee_id=_now(row, "consignee_id") or 0,
            held=row["box_id"] in stopped,
            own=row["own"],
            passed_by=row["load__passed__giver__name"] or "",
        )
        for row in rows
    ]


def _now(row: Mapping[str, Any], name: str) -> Any:
    """Who has a box now: to whom it was passed on, else to whom it was sent."""
    passed = row["load__passed__consignee_id"] is not None
    return row[f"load__{'passed' if passed else 'shipment'}__{name}"]


def _day(at: datetime | None, zone: tzinfo) -> date | None:
    return at.astimezone(zone).date() if at else None


def place_of(row: Mapping[str, Any]) -> str:
    """Say where a box stands: where it was put, else at its bench.

    Args:
        row: Its stage, and the names of its place and of that of its bench.

    Returns:
        The name of the place; empty for a box that is not here.
    """
    stage = BoxStage(row["box__stage"])
    if stage in IN_HOUSE:
        return row["box__place__name"] or row["box__bench__place__name"] or ""
    return (row["box__place__name"] or "") if stage in HERE else ""


def _consignees(boxes: list[BoxRow]) -> list[ConsigneeRow]:
    found: dict[str, list[int]] = {}
    for box in boxes:
        if BoxStage(box.stage) in GONE:
            found.setdefault(box.consignee, []).append(box.pieces)
    return [
        ConsigneeRow(name=name, boxes=len(pieces), pieces=sum(pieces))
        for name, pieces in sorted(found.items())
    ]
