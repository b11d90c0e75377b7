"""Ways of tampering with where things stand, for the proof to find."""

from __future__ import annotations

from kitting.models import (
    Bag,
    Box,
    BoxPut,
    Carrier,
    Hold,
    Link,
    Movement,
    OpenBag,
    Operation,
)
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def box_put_somewhere_without_one(history: History) -> list[Named]:
    change(history.voided, place=history.line)
    return [("box places", Box, history.voided.pk)]


@tamperer
def put_at_another_place(history: History) -> list[Named]:
    row = BoxPut.objects.get(box=history.labelled)
    change(row, place=history.line)
    return [("box places", Box, row.box_id), ("chain", Link, link_of(row))]


@tamperer
def put_deleted(history: History) -> list[Named]:
    row = BoxPut.objects.get(box=history.labelled)
    remove(row)
    return [("box places", Box, row.box_id), ("chain", Link, link_of(row))]


@tamperer
def carrier_moved_without_its_bags(history: History) -> list[Named]:
    row = Carrier.objects.get()
    change(row, place=history.bench.place)
    return [("carriers", Bag, row.bags.get().pk)]


@tamperer
def empty_bag_on_a_carrier(history: History) -> list[Named]:
    row = Bag.objects.filter(stage="used_up").first()
    assert row is not None
    change(row, carrier=Carrier.objects.get())
    return [("carriers", Bag, row.pk)]


@tamperer
def open_bag_on_a_carrier(history: History) -> list[Named]:
    row = OpenBag.objects.first()
    assert row is not None
    change(row.bag, carrier=Carrier.objects.get())
    return [("carriers", Bag, row.bag_id)]


@tamperer
def bag_hung_on_a_carrier_by_sql(history: History) -> list[Named]:
    """It stands where the carrier does, is full, and open at no bench."""
    carrier = Carrier.objects.get()
    loose = Bag.objects.filter(carrier=None, pieces__gt=0, open_at=None)
    row = loose.exclude(stage="in_run").first()
    assert row is not None
    change(row, carrier=carrier, place=carrier.place_id)
    return [("carriers", Bag, row.pk)]


@tamperer
def bag_on_another_carrier(history: History) -> list[Named]:
    row = Bag.objects.get(carrier__isnull=False)
    other = Carrier.objects.get()
    other.pk, other.number = None, "C-OTHER"
    other.save(force_insert=True)
    change(row, carrier=other)
    return [("carriers", Bag, row.pk)]


@tamperer
def rejected_bag_put_on_a_shelf(history: History) -> list[Named]:
    row = Movement.objects.get(kind="placed", stage_after="rejected")
    change(row, place=history.line)
    return [("quarantine", Movement, row.pk), ("chain", Link, link_of(row))]


@tamperer
def held_bag_put_on_a_shelf(history: History) -> list[Named]:
    hold = Hold.objects.get(reason="Damp")
    row = Movement.objects.get(kind="placed", bag=hold.bag_id)
    earlier = Operation.objects.filter(pk__lt=row.operation_id).latest("pk")
    change(hold, operation=earlier)
    change(row, place=history.line)
    return [("quarantine", Movement, row.pk), ("chain", Link, link_of(row))]
