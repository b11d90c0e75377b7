"""Ways of tampering with lots, bags and runs, for the proof to find.

Each changes rows as somebody with the database in hand could, guards away, and gives
the faults that must be found.
"""

from __future__ import annotations

from django.db.models import F

from kitting.models import (
    Bag,
    BoxLine,
    Count,
    Link,
    Lot,
    LotOrigin,
    Movement,
    OpenBag,
    Reading,
    Run,
    RunBag,
    RunVerdict,
)
from tests import factories
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def bag_pieces(history: History) -> list[Named]:
    row = history.visor_lot.bags.get()
    change(row, pieces=F("pieces") - 1)
    return [("bags", Bag, row.pk), ("lots", Lot, row.lot_id)]


@tamperer
def key_of_a_source(history: History) -> list[Named]:
    change(history.visor_lot, source_key="another bench")
    return [("lots", Lot, history.visor_lot.pk)]


@tamperer
def emptied_bag_stays_open_at_a_bench(history: History) -> list[Named]:
    row = OpenBag.objects.select_related("bag").get(bag__lot=history.visor_lot)
    change(row.bag, pieces=0, stage="used_up")
    return [("open bags", OpenBag, row.pk), ("bags", Bag, row.bag_id)]


@tamperer
def bag_is_open_as_another_part(history: History) -> list[Named]:
    row = OpenBag.objects.get(bag__lot=history.visor_lot)
    change(row, part=factories.make_part())
    return [("open bags", OpenBag, row.pk)]


@tamperer
def bag_stage(history: History) -> list[Named]:
    row = history.band_lot.bags.get(stage="in_run")
    change(row, stage="cleared")
    return [("bags", Bag, row.pk), ("clearing", Bag, row.pk), ("stays", Bag, row.pk)]


@tamperer
def bag_moved_to_another_lot(history: History) -> list[Named]:
    row = history.visor_lot.bags.get()
    change(row, lot=history.band_lot)
    return [("bags", Movement, row.movements.first().pk), ("lots", Lot, row.lot_id)]


@tamperer
def bag_out_of_the_blue(history: History) -> list[Named]:
    row = Bag.objects.create(number="B9", lot=history.visor_lot, pieces=5)
    return [("bags", Bag, row.pk), ("lots", Lot, row.lot_id)]


@tamperer
def bag_deleted(history: History) -> list[Named]:
    row = history.visor_lot.bags.get()
    remove(row)
    return [("bags", Bag, row.pk), ("lots", Lot, row.lot_id)]


@tamperer
def movement_of_another_kind(history: History) -> list[Named]:
    """The piece was packed; now it seems to have been a sample."""
    row = Movement.objects.filter(kind="packed").first()
    change(row, kind="sampled")
    return [
        ("bags", Movement, row.pk),
        ("box contents", BoxLine, row.box_id),
        ("lots", Lot, row.lot_id),
    ]


@tamperer
def movement_the_wrong_way(history: History) -> list[Named]:
    row = Movement.objects.filter(kind="made_into").get()
    change(row, kind="found")
    return [("bags", Movement, row.pk), ("materials", LotOrigin, None)]


@tamperer
def movement_to_a_stage_it_does_not_lead_to(history: History) -> list[Named]:
    row = Movement.objects.filter(bag__lot=history.visor_lot).order_by("nth").last()
    change(row, stage_after="accepted")
    change(row.bag, stage="accepted")
    return [("bags", Movement, row.pk)]


@tamperer
def bag_run_forgotten(history: History) -> list[Named]:
    row = Bag.objects.filter(cleared_run=history.released).earliest("pk")
    change(row, cleared_run=None)
    return [("clearing", Bag, row.pk)]


@tamperer
def origin_amount(history: History) -> list[Named]:
    row = LotOrigin.objects.get()
    change(row, amount=F("amount") - 100)
    return [("materials", LotOrigin, None), ("chain", Link, link_of(row))]


# -- Runs ---------------------------------------------------------------------------


@tamperer
def reading(history: History) -> list[Named]:
    row = Reading.objects.filter(run=history.failed, uw_cm2=10).get()
    change(row, uw_cm2=8_000)
    return [("chain", Link, link_of(row)), ("runs", Run, row.run_id)]


@tamperer
def run_verdict(history: History) -> list[Named]:
    row = RunVerdict.objects.get(run=history.failed)
    change(row, passed=True)
    return [("chain", Link, link_of(row)), ("runs", Run, row.run_id)]


@tamperer
def run_stage(history: History) -> list[Named]:
    change(history.failed, stage="released")
    return [("runs", Run, history.failed.pk)]


@tamperer
def run_time(history: History) -> list[Named]:
    change(history.released, exposure_ms=F("exposure_ms") + 1)
    return [("runs", Run, history.released.pk)]


@tamperer
def run_belt(history: History) -> list[Named]:
    change(history.released, zone_um=1_000_000, belt_um_s=100_000)
    return [("runs", Run, history.released.pk)]


@tamperer
def run_closed_at(history: History) -> list[Named]:
    change(history.released, closed_at=None)
    return [("runs", Run, history.released.pk)]


@tamperer
def closing_reading_deleted(history: History) -> list[Named]:
    row = Reading.objects.filter(run=history.released, moment="closing").first()
    remove(row)
    return [("runs", Run, row.run_id), ("chain", Link, link_of(row))]


@tamperer
def verdict_deleted(history: History) -> list[Named]:
    row = RunVerdict.objects.get(run=history.released)
    remove(row)
    return [("runs", Run, row.run_id), ("chain", Link, link_of(row))]


@tamperer
def run_reopened(history: History) -> list[Named]:
    change(history.failed, stage="open", line=history.bench.place)
    return [("runs", Run, history.failed.pk)]


@tamperer
def stay_deleted(history: History) -> list[Named]:
    row = RunBag.objects.get(run=history.released, original=None)
    remove(row)
    line = BoxLine.objects.get(box=history.sent, bag=row.bag_id)
    return [("clearing", Bag, row.bag_id), ("clearing", BoxLine, line.pk)]


@tamperer
def stay_in_a_closed_run(history: History) -> list[Named]:
    row = RunBag.objects.get(run=history.failed, original=None)
    change(row, live=True)
    return [("stays", RunBag, row.pk), ("stays", Bag, row.bag_id)]


@tamperer
def stay_ended_early(history: History) -> list[Named]:
    row = RunBag.objects.get(live=True)
    change(row, live=False)
    return [("stays", RunBag, row.pk), ("stays", Bag, row.bag_id)]


@tamperer
def more_came_in_than_was_repacked(history: History) -> list[Named]:
    row = Movement.objects.filter(kind="repacked", delta__gt=0).latest("pk")
    change(row, pieces=row.pieces + 1, delta=row.delta + 1, after=row.after + 1)
    change(row.bag, pieces=F("pieces") + 1)
    return [("repacked", Movement, None), ("lots", Lot, row.lot_id)]


@tamperer
def repacked_under_another_run(history: History) -> list[Named]:
    row = Movement.objects.filter(kind="repacked", delta__lt=0).latest("pk")
    change(row, run=history.failed)
    return [("repacked", Movement, None), ("chain", Link, link_of(row))]


@tamperer
def bag_whose_pieces_were_never_in_the_run(history: History) -> list[Named]:
    bag = history.visor_lot.bags.get()
    stay = RunBag.objects.get(run=history.released, original=None)
    row = RunBag.objects.create(
        run=history.released,
        bag=bag,
        on_at=stay.on_at,
        off_at=stay.off_at,
        live=False,
        original=stay.bag,
    )
    return [("stays", RunBag, row.pk), ("stays", Bag, bag.pk)]


@tamperer
def found_in_a_cleared_bag_on_nobodys_word(history: History) -> list[Named]:
    row = Count.objects.get(confirmed_by__isnull=False)
    change(row, confirmed_by=None)
    moved = Movement.objects.get(operation=row.operation_id, kind="found")
    return [("found", Movement, moved.pk), ("chain", Link, link_of(row))]


@tamperer
def cancelled_lot_that_stands_again(history: History) -> list[Named]:
    row = Lot.objects.get(stage="cancelled")
    change(row, stage="closed")
    moved = row.movements.get(kind="cancelled")
    return [("cancelled lots", Movement, moved.pk)]


@tamperer
def cancelled_lot_that_holds_pieces(history: History) -> list[Named]:
    row = Lot.objects.get(stage="cancelled")
    change(row.bags.get(), pieces=5, stage="cleared")
    return [("cancelled lots", Lot, row.pk), ("lots", Lot, row.pk)]
