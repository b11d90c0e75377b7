"""Tampering with recall drills: their lots, seeds, and what was located."""

from __future__ import annotations

from django.db.models import F

from dispatch.models import Consignee, Drill, DrillCall, DrillEnd, DrillList
from kitting.models import Link, Lot
from tests.commands.tampering.ways import Named, change, link_of, tamperer
from tests.ledgers import History


@tamperer
def drill_of_another_lot(history: History) -> list[Named]:
    row = Drill.objects.latest("pk")
    change(row, lot=Lot.objects.exclude(pk=row.lot_id).latest("pk"))
    return [("drills", Drill, row.pk), ("chain", Link, link_of(row))]


@tamperer
def drill_among_more_lots(history: History) -> list[Named]:
    row = Drill.objects.latest("pk")
    change(row, lots=F("lots") + 1)
    return [("drills", Drill, row.pk), ("chain", Link, link_of(row))]


@tamperer
def drill_that_located_less(history: History) -> list[Named]:
    row = DrillList.objects.get()
    change(row, located=F("located") - 1)
    return [("drill lists", DrillList, row.pk), ("chain", Link, link_of(row))]


@tamperer
def drill_of_more_pieces(history: History) -> list[Named]:
    row = DrillList.objects.get()
    change(row, pieces=F("pieces") + 1)
    return [("drill lists", DrillList, row.pk), ("chain", Link, link_of(row))]


@tamperer
def drill_that_found_more_boxes(history: History) -> list[Named]:
    row = DrillList.objects.get()
    change(row, boxes=F("boxes") + 1)
    return [("drill lists", DrillList, row.pk), ("chain", Link, link_of(row))]


@tamperer
def drill_that_called_before_its_list(history: History) -> list[Named]:
    row = DrillCall.objects.earliest("pk")
    change(row, operation=Drill.objects.latest("pk").operation)
    return [("drill calls", DrillCall, row.pk)]


@tamperer
def drill_that_called_after_its_end(history: History) -> list[Named]:
    row = DrillCall.objects.latest("pk")
    end = DrillEnd.objects.get(drill=row.drill_id)
    change(end, operation=DrillList.objects.get().operation)
    return [("drill calls", DrillCall, row.pk)]


@tamperer
def drill_that_called_somebody_else(history: History) -> list[Named]:
    row = DrillCall.objects.latest("pk")
    change(row, consignee=Consignee.objects.create(code="ELSE", name="Else"))
    return [("drill calls", DrillCall, row.pk), ("chain", Link, link_of(row))]


@tamperer
def drill_that_called_although_it_calls_nobody(history: History) -> list[Named]:
    row = DrillCall.objects.latest("pk")
    change(row.drill, calling=False)
    return [("drill calls", DrillCall, row.pk)]


@tamperer
def drill_that_was_listed_after_its_end(history: History) -> list[Named]:
    row = DrillList.objects.get()
    end = DrillEnd.objects.get(drill=row.drill_id)
    change(end, operation=row.drill.operation)
    return [("drills", DrillList, row.pk)]


@tamperer
def drill_that_began_while_another_ran(history: History) -> list[Named]:
    first = DrillEnd.objects.earliest("pk")
    change(first, operation=DrillList.objects.get().operation)
    return [("drills", Drill, Drill.objects.latest("pk").pk)]
