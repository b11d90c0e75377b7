"""A small workshop's history, every row of it made through the services."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from typing import Any

from dispatch.models import Shipment
from kitting.checking.services import checks, rejected
from kitting.disinfection.services import runs
from kitting.disinfection.services.meters import record_calibration
from kitting.disinfection.services.verdicts import close_run, stop_line
from kitting.domain.entries import Belt
from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.domain.stages import BagStage
from kitting.ledger import gaps, holds
from kitting.ledger.operations import Act, perform
from kitting.lots.services import lots
from kitting.lots.services.cancelling import cancel_lot
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxSize,
    Carrier,
    DefectKind,
    Guarded,
    Lot,
    Meter,
    Method,
    Part,
    Place,
    Print,
    Protocol,
    Resumption,
    Revision,
    Run,
    Tablet,
    Workshop,
)
from kitting.models.catalogue import Per, PlaceKind, Unit
from kitting.models.runs import Side
from kitting.packing.queries.undo import acts_at
from kitting.packing.queries.weighing import moves_of
from kitting.packing.services import boxes, scales, tablets, voiding
from kitting.packing.services.shift import begin_shift
from kitting.packing.services.undo import undo
from kitting.packing.services.weighing import allow_mass
from kitting.places.services import carriers, places
from kitting.printing.services.prints import print_labels
from kitting.products.queries.methods import mark_of
from kitting.products.services import methods
from tests import factories, printers
from tests.factories import sign, sign_by_another
from tests.kitting.ledger import (
    ledger_cases,
    ledger_evidence,
    ledger_inspection,
    ledger_runs,
    ledger_shipments,
)

OPENING = [(1, Side.TOP, 9_000), (2, Side.TOP, 8_000)]
CLOSING = [(1, Side.TOP, 8_800), (2, Side.TOP, 7_900)]
DARK = [(1, Side.TOP, 8_800), (2, Side.TOP, 10)]
BELT = Belt(exposure_ms=20_000)
DOSIMETERS = [(Side.TOP, 170_000, 100_000)]
REQUIRED_UJ_CM2 = 100_000
SCALE = {"scale_step_mg": 1_000, "scale_u_mg": 500, "scale_most_mg": 15_000_000}


@dataclass
class History:
    """What a test may point at."""

    band: Revision
    visor: Revision
    size: BoxSize
    bench: Bench
    protocol: Protocol
    retired: Protocol
    meter: Meter
    line: Place
    band_lot: Lot
    visor_lot: Lot
    released: Run
    failed: Run
    sent: Box
    labelled: Box
    voided: Box
    opened: Box
    gone: Shipment
    waiting: Shipment


@dataclass(frozen=True)
class Passed:
    """Numbers that were passed over."""

    skipped: dict[str, list[int]]


def pass_over() -> None:
    """Pass over numbers of carriers, as a restore does; nothing is restored."""

    def work(act: Act) -> Passed:
        return Passed(gaps.skip(act, {"carrier": 500}))

    perform("pass_over", work, Passed, sign())


@dataclass(frozen=True)
class Printed:
    """A label that was printed."""

    of: str


def print_label(of: Box | Bag) -> None:
    """Log the print of a label; no label is drawn."""

    def work(act: Act) -> Printed:
        digest = hashlib.sha256(str(of).encode()).digest()
        row = Print(
            box=of if isinstance(of, Box) else None,
            bag=of if isinstance(of, Bag) else None,
            kind="box" if isinstance(of, Box) else "bag",
            number=str(of),
            copy=of.prints.count() + 1,
            nth=1,
            paper="100000x150000 margin 0 at 8/1000",
            data_sha=digest,
            pdf_sha=digest,
            renderer="test",
        )
        act.write(row)
        return Printed(of=str(of))

    perform("print_label", work, Printed, sign(), of=str(of))


def make_line() -> tuple[Place, Meter]:
    line = factories.make_place(PlaceKind.LINE)
    meter = Meter.objects.create(serial=factories.unique("UV"), name="Radiometer")
    record_calibration(
        meter_id=meter.pk,
        on=date(2026, 1, 1),
        due=date(2027, 1, 1),
        rel_u_ppm=80_000,
        sign=sign(),
    )
    return line, meter


def run_bags(
    line: Place, protocol: Protocol, meter: Meter, bags: list[Bag], closing: list[Any]
) -> Run:
    """A run from opening to verdict."""
    opened = runs.open_run(
        line_id=line.pk,
        protocol_id=protocol.pk,
        meter_id=meter.pk,
        belt=BELT,
        readings=OPENING,
        sign=sign(),
    )
    run = Run.objects.get(number=opened.run)
    factories.expose(run, *bags)
    close_run(run_id=run.pk, readings=closing, dosimeters=DOSIMETERS, sign=sign())
    run.refresh_from_db()
    return run


def pack(bench: Bench, size: BoxSize, *, label: bool = True) -> Box:
    """A box filled from the bench's open bags, closed, and labelled if asked."""
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    boxes.close_box(box_id=started.box_id, sign=sign())
    box = Box.objects.get(pk=started.box_id)
    print_label(box)
    if label:
        boxes.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    box.refresh_from_db()
    return box


def _take_in_all() -> tuple[Revision, Revision, Lot, Lot]:
    filament = factories.make_revision(
        factories.make_part(unit=Unit.GRAM, needs_check=False, needs_clearing=False)
    )
    spools = factories.make_lot(filament, bags=(lots.NewBag(pieces=1000),))
    band = factories.make_revision(factories.make_part(open_hours=24))
    visor = factories.make_revision(
        factories.make_part(needs_check=False, needs_clearing=False)
    )
    band_lot = factories.make_lot(
        band,
        bags=(lots.NewBag(pieces=40), lots.NewBag(pieces=20)),
        made_from=((spools.pk, 700),),
        use_by=date(2027, 1, 14),
    )
    visor_lot = factories.make_lot(visor, bags=(lots.NewBag(pieces=60),))
    return band, visor, factories.accept(band_lot), visor_lot


def _reject_one(band: Revision) -> None:
    """A rejected lot: one bag sorted, one sent back, one accepted, one left.

    And a source that was reduced.
    """
    ledger_inspection.reduce_one()
    kind = DefectKind.objects.create(code=factories.unique("DF"), name="Scratched")
    lot = factories.make_lot(band, bags=(lots.NewBag(pieces=25),) * 4)
    checks.give_verdict(
        lot_id=lot.pk,
        accept=False,
        defects=[(kind.pk, 6)],
        found=3,
        reason="warped",
        sign=sign(),
    )
    first, second, third, _left = lot.bags.order_by("pk")
    rejected.sort_bag(bag_id=first.pk, good=23, defects=[(kind.pk, 2)], sign=sign())
    away, kept = [second.pk], [third.pk]
    rejected.send_back(lot_id=lot.pk, bag_ids=away, reason="warped", sign=sign())
    rejected.accept_under_concession(
        lot_id=lot.pk, bag_ids=kept, reason="Looks", sign=sign()
    )


@dataclass(frozen=True)
class Written:
    """Rows that were written without a service of their own."""

    rows: int


def write_plainly(lot: Lot) -> None:
    """One row of each guarded table that the services above do not fill."""
    first: list[Guarded] = [
        Resumption(part=lot.part, source=lot.source, reason="New blade"),
    ]

    def work(act: Act) -> Written:
        act.write(*first)
        return Written(rows=len(first))

    perform("write_plainly", work, Written, sign())


def make_history() -> History:
    """One of everything: a rejected lot, a failed run, a hold, boxes in many stages."""
    Workshop.objects.update(gs1_prefix="9521234")
    band, visor, band_lot, visor_lot = _take_in_all()
    _reject_one(band)
    line, meter = make_line()
    protocol = factories.make_protocol(band, required_top_uj_cm2=REQUIRED_UJ_CM2)
    first, second = band_lot.bags.order_by("pk")
    print_label(first)
    failed = run_bags(line, protocol, meter, [first], DARK)
    released = run_bags(line, protocol, meter, [first], CLOSING)
    _stop_one(line, protocol, meter, second)
    ledger_runs.measure_all()
    recipe = factories.make_recipe([(band, 1, Per.SET), (visor, 1, Per.SET)])
    size = factories.make_size(recipe, sets=6)
    bench = factories.make_bench()
    for bag in (first, visor_lot.bags.get()):
        boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    sent, labelled = (pack(bench, size) for _ in range(2))
    voided = _weigh_one(bench, size)
    back = {"label": str(voided.serial), "reason": "crushed"}
    voiding.void_box(box_id=voided.pk, **back, sign=sign())
    _call_one_off(bench, size)
    _undo_one(bench, first)
    opened = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    _drill()
    gone, waiting = ledger_shipments.ship(sent, labelled)
    _put_away(labelled)
    write_plainly(band_lot)
    ledger_evidence.count_and_sample(first)
    ledger_evidence.repack_some(first)
    ledger_evidence.find_some(first)
    cancel_lot(lot_id=factories.make_lot(visor).pk, reason="twice", sign=sign())
    ledger_evidence.cover_and_withdraw(band, protocol)
    retired = ledger_evidence.sign_and_retire(band)
    _try_settings(visor)
    _tie(factories.make_bench())
    _end(visor, sent, voided)
    factories.seal_set_up()
    for box in (sent, labelled, voided):
        box.refresh_from_db()
    return History(
        band=band,
        visor=visor,
        size=size,
        bench=bench,
        protocol=protocol,
        retired=retired,
        meter=meter,
        line=line,
        band_lot=band_lot,
        visor_lot=visor_lot,
        released=released,
        failed=failed,
        sent=sent,
        labelled=labelled,
        voided=voided,
        opened=Box.objects.get(pk=opened.box_id),
        gone=gone,
        waiting=waiting,
    )


def _end(visor: Revision, sent: Box, voided: Box) -> None:
    """A bag that was set back, and cases on what nothing else is done with."""
    ledger_evidence.set_one_back(visor)
    ledger_cases.recall_some(sent, voided, factories.make_lot(visor))


def _stop_one(line: Place, protocol: Protocol, meter: Meter, bag: Bag) -> None:
    """A run whose line stopped with a bag on it, which is on again."""
    opened = runs.open_run(
        line_id=line.pk,
        protocol_id=protocol.pk,
        meter_id=meter.pk,
        belt=BELT,
        readings=OPENING,
        sign=sign(),
    )
    run = Run.objects.get(number=opened.run).pk
    runs.put_on(run_id=run, bag_id=bag.pk, sign=sign())
    stop_line(run_id=run, reason="the belt jammed", sign=sign())
    runs.put_on(run_id=run, bag_id=bag.pk, sign=sign())


def _try_settings(revision: Revision) -> None:
    """A lot made with a method that was released, and one on trial after it."""
    said = {"machine_group": "Knives", "part_ids": [revision.part_id]}
    for version in ("1", "2"):
        added = methods.add_method(settings_version=version, **said, sign=sign())
        method = Method.objects.get(code=added.code)
        factories.make_lot(revision, method_id=method.pk)
        if version == "1":
            seen, other = mark_of(method), sign_by_another()
            methods.release_method(code=method.code, seen=seen, sign=other)


def _drill() -> None:
    values = {"target": "source", "value": "Print bench", "reason": "a drill"}
    held = holds.place_hold(**values, sign=sign())
    holds.lift_hold(
        hold_id=held.hold_id, reason="the drill is over", sign=sign_by_another()
    )
    pass_over()


def _put_away(box: Box) -> None:
    """A box on a shelf; in quarantine a carrier with a rejected bag, and one held."""
    shelf = factories.make_place()
    quarantine = factories.make_place(PlaceKind.QUARANTINE)
    made = carriers.make_carrier(name="Pole", sign=sign())
    carrier = Carrier.objects.get(number=made.carrier)
    bag = Bag.objects.filter(stage=BagStage.REJECTED).latest("pk")
    carriers.load_bag(carrier_id=carrier.pk, bag_id=bag.pk, sign=sign())
    carriers.put_carrier(carrier_id=carrier.pk, place_id=quarantine.pk, sign=sign())
    free = factories.make_bag(pieces=5)
    places.put_bag(bag_id=free.pk, place_id=quarantine.pk, why="Damp", sign=sign())
    places.put_box(box_id=box.pk, place_id=shelf.pk, sign=sign())
    _queue_two(shelf)


def _queue_two(shelf: Place) -> None:
    """A place's label printed three times: two for a printer that is never asked."""
    printers.make_printer("ipp://printer.example/ipp/print", printers.BAG_ROLL)
    for reason, printer in (("", "P1"), ("Faded", ""), ("Torn", "P1")):
        print_labels(
            kind="place",
            numbers=[shelf.code],
            again=Again(reason, DESTROYED if reason else ""),
            onto=Onto(printer=printer),
            sign=sign(),
        )


def _weigh_one(bench: Bench, size: BoxSize) -> Box:
    """A box that was weighed; later ones of its size are not."""
    Part.objects.filter(unit=Unit.PIECE).update(mass_mg=10_000, spread_mg=100)
    carton = factories.make_part(name="Carton", mass_mg=80_000)
    Bench.objects.filter(pk=bench.pk).update(**SCALE)
    of = BoxSize.objects.filter(pk=size.pk)
    of.update(weigh=True, carton=carton)
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    box = Box.objects.get(pk=started.box_id)
    mass = (2 * size.sets * 10 + 80 + 10) * 1_000
    allow_mass(
        box_id=box.pk,
        mass_mg=mass,
        reason="A thicker carton",
        seen=moves_of(box),
        sign=sign_by_another(),
    )
    boxes.close_box(box_id=box.pk, mass_mg=mass, sign=sign())
    box.refresh_from_db()
    print_label(box)
    boxes.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    of.update(weigh=False)
    size.refresh_from_db()
    box.refresh_from_db()
    return box


def _call_one_off(bench: Bench, size: BoxSize) -> None:
    """A box that was handed over to another bench, and back, and cancelled."""
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    ledger_evidence.hand_over_and_back(started.box_id, bench)
    voiding.cancel_box(box_id=started.box_id, reason="wrong size", sign=sign())


def _undo_one(bench: Bench, bag: Bag) -> None:
    """A bag that is open there is scanned once more, and that is undone."""
    of = {"bench_id": bench.pk}
    boxes.bring_bag(**of, bag_id=bag.pk, sign=sign(**of))
    scanned = acts_at(bench.pk).last
    assert scanned is not None
    undo(**of, act_id=scanned.pk, sign=sign(**of))


def _tie(bench: Bench) -> None:
    """A bench with a tablet, a code that waits for another one, and a scale that sends."""
    first = sign()
    tablets.give_code(bench_id=bench.pk, sign=first)
    tablets.tie_tablet(code=tablets.code_of(first.key), sign=sign())
    tablets.give_code(bench_id=bench.pk, sign=sign())
    Bench.objects.filter(pk=bench.pk).update(**SCALE)
    scales.give_token(bench_id=bench.pk, sign=sign())
    token = Tablet.objects.get(bench=bench).token_sha256
    here = sign(bench_id=bench.pk, tablet=token)
    begin_shift(bench_id=bench.pk, said="YYY", sign=here)
