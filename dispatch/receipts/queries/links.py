"""What a consignee reads of the boxes that it got, and what nobody measured of them.

No word here is stronger than what is on record: a figure stands with what it was
measured with, and what was not measured is said.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from dispatch.models import Shipment
from kitting.disinfection.queries.doses import held, in_mj, told_mj
from kitting.ledger.clock import day_of
from kitting.ledger.covering import like_of
from kitting.ledger.reach import holds_on_boxes, standing_reach
from kitting.models import (
    Box,
    BoxLine,
    Calibration,
    Check,
    Disposition,
    Evidence,
    Lot,
    MeterFault,
    Run,
    Sample,
    Workshop,
)
from kitting.models.runs import UVC, Side


@dataclass(frozen=True)
class Inside:
    """Pieces of one lot in a box."""

    part: str
    revision: str
    lot: str
    pieces: int
    run: str
    """Empty for what was not disinfected."""
    like: str
    """The revision that was measured in place of this one; empty where it was itself."""


@dataclass(frozen=True)
class BoxShown:
    """A box as its receiver finds it."""

    pk: int
    serial: str
    product: str
    sets: int
    packed_on: date | None
    use_by: date | None
    inside: tuple[Inside, ...]
    stopped: bool
    """Whether a hold reaches it."""


@dataclass(frozen=True)
class CheckShown:
    """An incoming check of a lot."""

    looked: int | None
    """Pieces that were looked at; None where that is not on record."""
    found: int
    accepted: bool
    defects: str
    """Kinds of defect with their pieces; empty where none are told apart."""


@dataclass(frozen=True)
class SampleShown:
    """Pieces of a lot that went to a test."""

    pieces: int
    what_for: str
    sent_to: str
    result: str
    """Empty while nothing came back."""


@dataclass(frozen=True)
class LotShown:
    """A lot in the boxes, and how it was looked at."""

    part: str
    number: str
    checks: tuple[CheckShown, ...]
    """None: nobody checked it."""
    conceded: bool
    """Whether it was accepted although the check rejected it."""
    samples: tuple[SampleShown, ...]


@dataclass(frozen=True)
class SideShown:
    """What a run gave on one side."""

    side: str
    required: Decimal
    """In mJ/cm², as the lower bound."""
    low: Decimal
    """The lower bound at the weakest point."""


@dataclass(frozen=True)
class RunShown:
    """A run by which something in the boxes was disinfected."""

    number: str
    process: str
    words: str
    """As its protocol lets it be called on labels; empty where it has no words."""
    closed_on: date | None
    sides: tuple[SideShown, ...]
    bare: tuple[str, ...]
    """Sides of which no dose is required."""
    by_dosimeter: bool
    held_s: int | None
    """For heat and liquids: for how long without a break."""
    required_s: int | None
    meter: str
    calibrated_on: date | None
    due: date | None
    u_percent: Decimal | None
    """Expanded uncertainty, k = 2."""
    faulty: bool
    """Whether the meter was found to read wrong afterwards."""
    evidence: tuple[Evidence, ...] = field(default=())


@dataclass(frozen=True)
class Shown:
    """All that a consignee reads of a shipment."""

    boxes: tuple[BoxShown, ...]
    lots: tuple[LotShown, ...]
    runs: tuple[RunShown, ...]
    cautions: tuple[str, ...]
    by_light: bool
    """Whether a dose of UV-C is told."""
    like: tuple[tuple[str, str, str], ...]
    """Part, revision, and the one that was measured in its place."""
    unchecked: tuple[str, ...]
    """Parts of which a lot was not checked."""
    bare: tuple[str, ...]
    """Parts of which something was not disinfected."""


def shown_of(shipment: Shipment, workshop: Workshop) -> Shown:
    """Read what a consignee is told of the boxes of a shipment.

    Args:
        shipment: The shipment; it has left.
        workshop: The workshop, for its days.

    Returns:
        All of it, the boxes by serial.
    """
    live = shipment.shipment_boxes.filter(live=True).values("box")
    boxes = list(
        Box.objects.filter(pk__in=live)
        .select_related("size__product")
        .order_by("serial")
    )
    ids = [box.pk for box in boxes]
    lines: list[BoxLine] = list(
        BoxLine.objects.filter(box__in=ids)
        .annotate(like=like_of("run", "bag"))
        .select_related("lot__part", "lot__revision", "run")
        .order_by("lot__part__name", "lot__number", "pk")
    )
    stopped = holds_on_boxes(ids, standing_reach())
    inside: dict[int, list[Inside]] = {}
    for line in lines:
        inside.setdefault(line.box_id, []).append(_inside(line))
    lots = _lots({line.lot_id for line in lines})
    runs = _runs({line.run_id for line in lines if line.run_id}, workshop)
    each_inside = [one for some in inside.values() for one in some]
    products = {box.size.product for box in boxes}
    cautions = {
        caution: None
        for product in sorted(products, key=lambda one: one.code)
        for caution in product.caution_lines(demo=workshop.demo)
    }
    return Shown(
        boxes=tuple(
            BoxShown(
                pk=box.pk,
                serial=str(box),
                product=box.size.product.name,
                sets=box.size.sets,
                packed_on=box.packed_on,
                use_by=box.use_by,
                inside=tuple(inside.get(box.pk, ())),
                stopped=box.pk in stopped,
            )
            for box in boxes
        ),
        lots=lots,
        runs=runs,
        cautions=tuple(cautions),
        by_light=any(run.sides for run in runs),
        like=tuple(
            sorted({(o.part, o.revision, o.like) for o in each_inside if o.like})
        ),
        unchecked=_parts(lot.part for lot in lots if not lot.checks),
        bare=_parts(one.part for one in each_inside if not one.run),
    )


def _parts(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(set(names)))


def _inside(line: BoxLine) -> Inside:
    return Inside(
        part=line.lot.part.name,
        revision=line.lot.revision.code,
        lot=line.lot.number,
        pieces=line.pieces,
        run=line.run.number if line.run else "",
        like=getattr(line, "like", None) or "",
    )


def _lots(ids: Collection[int]) -> tuple[LotShown, ...]:
    lots = Lot.objects.filter(pk__in=ids).select_related("part")
    checks: dict[int, list[CheckShown]] = {}
    made = Check.objects.filter(lot__in=ids).order_by("pk")
    for row in made.prefetch_related("classes", "defects__kind"):
        checks.setdefault(row.lot_id, []).append(_check(row))
    samples: dict[int, list[SampleShown]] = {}
    sent = Sample.objects.filter(bag__lot__in=ids).select_related("bag", "result")
    for sample in sent.order_by("pk"):
        samples.setdefault(sample.bag.lot_id, []).append(_sample(sample))
    conceded = set(
        Disposition.objects.filter(lot__in=ids, fate="concession").values_list(
            "lot", flat=True
        )
    )
    return tuple(
        LotShown(
            part=lot.part.name,
            number=lot.number,
            checks=tuple(checks.get(lot.pk, ())),
            conceded=lot.pk in conceded,
            samples=tuple(samples.get(lot.pk, ())),
        )
        for lot in lots.order_by("part__name", "number")
    )


def _check(row: Check) -> CheckShown:
    looked = row.looked or row.sample_size
    if looked is None:
        looked = max((each.sample_size for each in row.classes.all()), default=None)
    return CheckShown(
        looked=looked,
        found=row.found,
        accepted=row.verdict == "accepted",
        defects=", ".join(f"{one.kind} {one.pieces}" for one in row.defects.all()),
    )


def _sample(row: Sample) -> SampleShown:
    result = getattr(row, "result", None)
    return SampleShown(
        pieces=row.pieces,
        what_for=row.what_for,
        sent_to=row.sent_to,
        result=result.result if result else "",
    )


def _runs(ids: Collection[int], workshop: Workshop) -> tuple[RunShown, ...]:
    runs = list(
        Run.objects.filter(pk__in=ids)
        .select_related("protocol", "meter")
        .prefetch_related(
            "verdicts", "dosimeters", "values", "protocol__evidence_rows__evidence"
        )
        .order_by("number")
    )
    meters = {run.meter_id for run in runs}
    calibrations = list(Calibration.objects.filter(meter__in=meters))
    faults = list(MeterFault.objects.filter(meter__in=meters))
    return tuple(_run(run, calibrations, faults, workshop) for run in runs)


def _run(
    run: Run,
    calibrations: Iterable[Calibration],
    faults: Iterable[MeterFault],
    workshop: Workshop,
) -> RunShown:
    day = day_of(workshop, run.opened_at)
    mine = [row for row in calibrations if row.meter_id == run.meter_id]
    made = [row for row in mine if row.on <= day]
    newest = max(made, key=lambda row: (row.on, row.pk), default=None)
    protocol, required = run.protocol, run.protocol.required()
    by_light = protocol.process in UVC
    hold = held(run)
    return RunShown(
        number=run.number,
        process=protocol.process,
        words=protocol.label_words,
        closed_on=day_of(workshop, run.closed_at) if run.closed_at else None,
        sides=tuple(
            SideShown(
                row.side, in_mj(row.required_uj_cm2), told_mj(run, row, row.low_uj_cm2)
            )
            for row in sorted(run.verdicts.all(), key=lambda row: row.side != Side.TOP)
        ),
        bare=tuple(
            str(side) for side in Side if by_light and str(side) not in required
        ),
        by_dosimeter=bool(run.dosimeters.all()),
        held_s=hold.hold.seconds if hold else None,
        required_s=hold.required_s if hold else None,
        meter=str(run.meter),
        calibrated_on=newest.on if newest else None,
        due=newest.due if newest else None,
        u_percent=Decimal(run.rel_u_ppm).scaleb(-4).normalize(),
        faulty=any(
            _spoils(fault, newest, mine)
            for fault in faults
            if fault.meter_id == run.meter_id
        ),
        evidence=tuple(
            sorted(
                (row.evidence for row in protocol.evidence_rows.all()),
                key=lambda row: row.code,
            )
        ),
    )


def _spoils(
    fault: MeterFault, used: Calibration | None, every: Iterable[Calibration]
) -> bool:
    """Whether a fault was found before the meter was calibrated once more."""
    if used is None:
        return True
    return fault.found_on >= used.on and not any(
        used.on < row.on <= fault.found_on for row in every
    )
