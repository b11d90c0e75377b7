"""Tampering with recall drills: their lots, seeds, and what was located."""

from __future__ import annotations

from django.db.models import F

from dispatch.models import Drill, DrillCall, DrillList
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
    return [("drills", DrillCall, row.pk)]
