"""Ways of tampering with boxes and shipments, for the proof to find.

Each changes rows as somebody with the database in hand could, guards away, and gives
the faults that must be found.
"""

from __future__ import annotations

from datetime import timedelta

from django.db.models import F

from dispatch.models import (
    Pallet,
    PalletBox,
    PalletEvent,
    PalletScan,
    Receipt,
    ReceiptBox,
    Return,
    ShipEvent,
    ShipmentBox,
    ShipScan,
)
from kitting.models import (
    Box,
    BoxEvent,
    BoxHanded,
    BoxLine,
    BoxSize,
    Hold,
    Link,
    Lot,
    Movement,
    Print,
    RecipeLine,
)
from tests import factories
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def hold_said_to_have_stood_while_boxes_were_packed(history: History) -> list[Named]:
    """It is written into the act that first packed of the lot, so that is of its time."""
    first = Movement.objects.filter(lot=history.visor_lot, kind="packed").earliest("pk")
    Hold.objects.create(
        lot=history.visor_lot, reason="forged", operation=first.operation
    )
    found = [("box holds", Box, box.pk) for box in (history.sent, history.opened)]
    return [("chain", Link, link_of(first)), *found]


@tamperer
def line_pieces(history: History) -> list[Named]:
    row = BoxLine.objects.filter(box=history.sent).first()
    change(row, pieces=F("pieces") - 1)
    return [
        ("box contents", BoxLine, history.sent.pk),
        ("box recipes", Box, history.sent.pk),
        ("lots", Lot, row.lot_id),
    ]


@tamperer
def line_of_another_bag(history: History) -> list[Named]:
    row = BoxLine.objects.get(box=history.sent, lot=history.band_lot)
    change(row, bag=history.band_lot.bags.get(stage="in_run"))
    return [("box contents", BoxLine, history.sent.pk), ("clearing", BoxLine, row.pk)]


@tamperer
def line_deleted(history: History) -> list[Named]:
    row = BoxLine.objects.get(box=history.sent, lot=history.visor_lot)
    remove(row)
    return [
        ("box contents", BoxLine, history.sent.pk),
        ("box recipes", Box, history.sent.pk),
        ("lots", Lot, row.lot_id),
    ]


@tamperer
def line_of_a_failed_run(history: History) -> list[Named]:
    row = BoxLine.objects.get(box=history.sent, lot=history.band_lot)
    change(row, run=history.failed)
    return [("clearing", BoxLine, row.pk)]


@tamperer
def line_of_another_revision(history: History) -> list[Named]:
    other = history.band.part.revisions.create(code="B")
    change(history.band_lot, revision=other)
    return [("box recipes", Box, history.sent.pk)]


@tamperer
def recipe_changed_afterwards(history: History) -> list[Named]:
    row = RecipeLine.objects.filter(recipe=history.sent.recipe_id).first()
    change(row, pieces=2)
    return [("box recipes", Box, history.sent.pk)]


@tamperer
def pair_slipped_in_afterwards(history: History) -> list[Named]:
    """Both boxes hold a visor that now goes only with a headband that they have not."""
    recipe = history.sent.recipe
    other = factories.make_revision(history.band.part, "T")
    factories.substitute(recipe, history.band.part, other)
    factories.only_with(recipe, history.visor, other)
    return [("box recipes", Box, history.sent.pk)]


@tamperer
def size_changed_afterwards(history: History) -> list[Named]:
    change(BoxSize.objects.get(pk=history.size.pk), sets=5)
    return [
        ("box recipes", Box, history.sent.pk),
        ("shipment counters", "dispatch_shipment", history.gone.pk),
    ]


@tamperer
def box_carried_to_another_bench(history: History) -> list[Named]:
    """Its seal says where it was begun, and after a hand-over that says where it is."""
    other = factories.make_bench()
    change(history.opened, bench=other)
    handed = BoxHanded.objects.latest("pk")
    change(handed.box, bench=other)
    return [("box benches", Box, handed.box_id), ("seals", Box, history.opened.pk)]


@tamperer
def hand_over_deleted(history: History) -> list[Named]:
    row = BoxHanded.objects.latest("pk")
    remove(row)
    return [("box benches", Box, row.box_id), ("chain", Link, link_of(row))]


@tamperer
def hand_over_between_other_benches(history: History) -> list[Named]:
    row = BoxHanded.objects.latest("pk")
    change(row, before=history.bench)
    return [("box benches", BoxHanded, row.pk), ("chain", Link, link_of(row))]


@tamperer
def box_handed_over_when_it_was_closed(history: History) -> list[Named]:
    last = history.sent.events.get(after="sent").operation
    row = BoxHanded.objects.create(
        box=history.sent,
        before=history.bench,
        bench=history.bench,
        operation=last,
    )
    return [("box benches", BoxHanded, row.pk), ("chain", Link, last.link.pk)]


@tamperer
def box_stage(history: History) -> list[Named]:
    change(history.sent, stage="labelled")
    return [
        ("box stages", Box, history.sent.pk),
        ("shipment boxes", Box, history.sent.pk),
    ]


@tamperer
def box_voided_in_silence(history: History) -> list[Named]:
    change(history.labelled, stage="voided")
    return [
        ("box stages", Box, history.labelled.pk),
        ("box contents", BoxLine, history.labelled.pk),
        ("lots", Lot, history.band_lot.pk),
    ]


@tamperer
def box_event_out_of_the_blue(history: History) -> list[Named]:
    last = history.sent.events.order_by("nth").last()
    row = BoxEvent.objects.create(
        box=history.sent,
        nth=last.nth + 1,
        before="sent",
        after="labelled",
        operation=last.operation,
    )
    return [
        ("box stages", BoxEvent, row.pk),
        ("box stages", Box, history.sent.pk),
        ("chain", Link, link_of(last)),
    ]


@tamperer
def box_event_deleted(history: History) -> list[Named]:
    row = history.sent.events.get(after="labelled")
    remove(row)
    return [
        ("box stages", Box, history.sent.pk),
        ("box identities", Box, history.sent.pk),
    ]


@tamperer
def box_serial(history: History) -> list[Named]:
    serial = str(history.sent.serial)
    change(history.sent, serial=serial[:-1] + ("A" if serial[-1] != "A" else "B"))
    return [("box identities", Box, history.sent.pk)]


@tamperer
def box_serials_swapped(history: History) -> list[Named]:
    one, two = history.sent, history.labelled
    change(one, serial=None, stage="voided")
    change(two, serial=one.serial)
    change(one, serial=two.serial, stage=one.stage)
    return [("box identities", Box, one.pk), ("box identities", Box, two.pk)]


@tamperer
def box_closed_to_another_outcome(history: History) -> list[Named]:
    row = history.sent.events.get(after="closed").operation.link
    change(row, outcome="{}")
    return [("chain", Link, row.pk), ("box identities", Box, history.sent.pk)]


@tamperer
def box_batch(history: History) -> list[Named]:
    change(history.sent, batch="today's")
    return [("box identities", Box, history.sent.pk)]


@tamperer
def box_without_a_date(history: History) -> list[Named]:
    change(history.voided, packed_on=None)
    return [("box identities", Box, history.voided.pk)]


@tamperer
def box_overfilled(history: History) -> list[Named]:
    row = history.opened.lines.first()
    change(row, pieces=7)
    return [("box recipes", Box, history.opened.pk), ("lots", Lot, row.lot_id)]


@tamperer
def recipe_without_the_part(history: History) -> list[Named]:
    remove(RecipeLine.objects.filter(recipe=history.sent.recipe_id).first())
    return [("box recipes", Box, history.sent.pk)]


@tamperer
def box_sscc(history: History) -> list[Named]:
    digits = str(history.sent.sscc)
    change(history.sent, sscc=f"{digits[:-1]}{(int(digits[-1]) + 1) % 10}")
    return [("box identities", Box, history.sent.pk)]


@tamperer
def box_number(history: History) -> list[Named]:
    change(history.opened, number=history.opened.number[:-2] + "00")
    return [("box numbers", Box, history.opened.pk)]


@tamperer
def box_use_by(history: History) -> list[Named]:
    assert history.sent.use_by is not None
    change(history.sent, use_by=history.sent.use_by + timedelta(days=1))
    return [("box identities", Box, history.sent.pk)]


@tamperer
def box_packed_earlier(history: History) -> list[Named]:
    assert history.sent.packed_on is not None
    change(history.sent, packed_on=history.sent.packed_on - timedelta(days=2))
    return [("box identities", Box, history.sent.pk)]


@tamperer
def print_deleted(history: History) -> list[Named]:
    row = Print.objects.get(box=history.sent)
    remove(row)
    return [
        ("chain", Link, link_of(row)),
        ("box identities", Box, history.sent.pk),
    ]


@tamperer
def shipment_stage(history: History) -> list[Named]:
    change(history.gone, stage="delivered")
    return [
        ("shipment stages", "dispatch_shipment", history.gone.pk),
        ("receipts", "dispatch_shipment", history.gone.pk),
    ]


@tamperer
def received_box(history: History) -> list[Named]:
    row = ReceiptBox.objects.filter(found="damaged").latest("pk")
    change(row.box, stage="sent")
    return [("received boxes", Box, row.box_id)]


@tamperer
def box_that_came_back_serves_again(_history: History) -> list[Named]:
    row = ShipmentBox.objects.get(back=True)
    change(row, back=False)
    return [("returns", ShipmentBox, row.pk)]


@tamperer
def returned_box(_history: History) -> list[Named]:
    row = ShipmentBox.objects.get(back=True)
    remove(Return.objects.filter(box=row.box).latest("pk"))
    return [("returns", Box, row.box_id)]


@tamperer
def box_with_somebody_else(_history: History) -> list[Named]:
    row = ShipmentBox.objects.get(passed__isnull=False)
    change(row, passed=None)
    return [("boxes passed on", ShipmentBox, row.pk)]


@tamperer
def received_otherwise(history: History) -> list[Named]:
    row = Receipt.objects.latest("pk")
    change(row, differs=False)
    return [("receipts", Receipt, row.pk), ("chain", Link, link_of(row))]


@tamperer
def shipment_event(history: History) -> list[Named]:
    row = ShipEvent.objects.get(shipment=history.gone, after="sent")
    change(row, before="cancelled")
    return [("shipment stages", ShipEvent, row.pk), ("chain", Link, link_of(row))]


@tamperer
def shipment_box_taken_off(history: History) -> list[Named]:
    row = ShipmentBox.objects.get(box=history.sent)
    change(row, live=False)
    return [
        ("shipment scans", ShipmentBox, row.pk),
        ("shipment boxes", Box, history.sent.pk),
        ("shipment counters", "dispatch_shipment", history.gone.pk),
    ]


@tamperer
def shipment_scan_deleted(history: History) -> list[Named]:
    row = ShipScan.objects.get(shipment=history.gone)
    remove(row)
    on = ShipmentBox.objects.get(box=history.sent)
    return [("shipment scans", ShipmentBox, on.pk), ("chain", Link, link_of(row))]


@tamperer
def shipment_scans_out_of_turn(history: History) -> list[Named]:
    row = ShipScan.objects.filter(shipment=history.waiting, on=False).get()
    change(row, on=True)
    return [("shipment scans", ShipScan, None)]


@tamperer
def pallet_box_taken_off(history: History) -> list[Named]:
    row = PalletBox.objects.get(box=history.labelled, live=True)
    change(row, live=False)
    load = ShipmentBox.objects.get(box=history.labelled, live=True)
    return [("pallet scans", PalletBox, row.pk), ("pallets", ShipmentBox, load.pk)]


@tamperer
def pallet_scan_deleted(history: History) -> list[Named]:
    on = PalletBox.objects.get(box=history.labelled, live=True)
    row = PalletScan.objects.get(pallet=on.pallet)
    remove(row)
    return [("pallet scans", PalletBox, on.pk), ("chain", Link, link_of(row))]


@tamperer
def pallet_said_to_be_broken_up(history: History) -> list[Named]:
    on = PalletBox.objects.get(box=history.labelled, live=True)
    change(on.pallet, stage="broken_up")
    return [
        ("pallet stages", Pallet, on.pallet_id),
        ("pallet stages", PalletBox, on.pk),
    ]


@tamperer
def pallet_event(history: History) -> list[Named]:
    row = PalletEvent.objects.get(after="broken_up")
    change(row, before="")
    return [("pallet stages", PalletEvent, row.pk), ("chain", Link, link_of(row))]


@tamperer
def pallet_with_the_sscc_of_a_box(history: History) -> list[Named]:
    row = Pallet.objects.latest("pk")
    change(row, sscc=history.sent.sscc)
    return [("pallet numbers", Pallet, row.pk), ("seals", Pallet, row.pk)]


@tamperer
def pallet_with_a_number_of_a_shipment(history: History) -> list[Named]:
    row = Pallet.objects.latest("pk")
    change(row, number=history.gone.number, sscc="952123400000000001")
    return [("pallet numbers", Pallet, row.pk), ("seals", Pallet, row.pk)]


@tamperer
def box_on_a_pallet_said_to_go_by_itself(history: History) -> list[Named]:
    row = ShipmentBox.objects.get(box=history.labelled, live=True)
    on = PalletBox.objects.get(box=history.labelled, live=True)
    change(row, pallet=None)
    return [("shipment scans", ShipmentBox, row.pk), ("pallets", PalletBox, on.pk)]


@tamperer
def box_voided_with_its_label_at_large(history: History) -> list[Named]:
    event = history.voided.events.get(after="voided")
    change(event, label=None)
    return [("voided labels", BoxEvent, event.pk), ("chain", Link, link_of(event))]
