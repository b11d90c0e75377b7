"""Ways of tampering with the journal, for the proof to find.

Each changes rows as somebody with the database in hand could, guards away, and gives
the faults that must be found.
"""

from __future__ import annotations

from datetime import timedelta

from django.db.models import F

from kitting.models import (
    Bag,
    BoxLine,
    Check,
    Hold,
    JournalHead,
    Lift,
    Link,
    Movement,
    Operation,
)
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def movement_pieces(history: History) -> list[Named]:
    row = Movement.objects.filter(kind="packed").first()
    change(row, pieces=F("pieces") + 1, delta=F("delta") - 1, after=F("after") - 1)
    later = Movement.objects.get(bag=row.bag_id, nth=row.nth + 1)
    return [
        ("chain", Link, link_of(row)),
        ("bags", Movement, later.pk),
        ("box contents", BoxLine, row.box_id),
    ]


@tamperer
def movement_deleted(history: History) -> list[Named]:
    row = Movement.objects.filter(kind="placed").first()
    remove(row)
    later = Movement.objects.filter(bag=row.bag_id, nth__gt=row.nth).first()
    return [("chain", Link, link_of(row)), ("bags", Movement, later.pk)]


@tamperer
def movement_out_of_the_blue(history: History) -> list[Named]:
    row = Movement.objects.filter(bag__lot=history.visor_lot).order_by("nth").last()
    old = link_of(row)
    row.pk, row.nth, row.kind = None, row.nth + 1, "scrapped"
    row.delta, row.after, row.box = -row.pieces, row.after - row.pieces, None
    row.save(force_insert=True)
    return [("chain", Link, old), ("bags", Bag, row.bag_id)]


@tamperer
def lift_out_of_the_blue(history: History) -> list[Named]:
    old = Hold.objects.earliest("pk")
    hold = Hold.objects.create(
        lot=history.band_lot, reason="forged", operation=old.operation
    )
    Lift.objects.create(hold=hold, reason="forged", operation=old.operation)
    return [("chain", Link, link_of(old))]


@tamperer
def row_of_no_operation(history: History) -> list[Named]:
    row = Check.objects.first()
    change(row, operation_id=1)
    return [("guarded rows", Check, row.pk)]


@tamperer
def link_deleted(history: History) -> list[Named]:
    gone, after = Link.objects.order_by("seq")[9:11]
    remove(gone)
    return [("chain", Link, after.pk), ("operations", Operation, gone.operation_id)]


@tamperer
def links_swapped(history: History) -> list[Named]:
    one, two = Link.objects.order_by("seq")[9:11]
    change(one, seq=10_000)
    change(two, seq=one.seq)
    change(one, seq=two.seq)
    return [("chain", Link, one.pk), ("chain", Link, two.pk)]


@tamperer
def link_of_another_site(history: History) -> list[Named]:
    row = Link.objects.order_by("seq").last()
    change(row, site=2, seq=1)
    return [("operations", Link, row.pk), ("chain", JournalHead, None)]


@tamperer
def operation_time(history: History) -> list[Named]:
    row = history.gone.events.get(after="sent").operation
    change(row, at=F("at") + timedelta(microseconds=1))
    return [
        ("chain", Link, row.link.pk),
        ("shipment counters", "dispatch_shipment", history.gone.pk),
    ]


@tamperer
def operation_deleted(history: History) -> list[Named]:
    row = Operation.objects.get(name="place_hold")
    link, hold = row.link.pk, Hold.objects.earliest("pk")
    remove(row)
    return [("chain", Link, link), ("guarded rows", Hold, hold.pk)]


@tamperer
def hold_deleted(history: History) -> list[Named]:
    hold = Hold.objects.earliest("pk")
    remove(hold.lift)
    remove(hold)
    return [("chain", Link, link_of(hold)), ("chain", Link, link_of(hold.lift))]
