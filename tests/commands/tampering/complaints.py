"""Tampering with complaints: their numbers and days, and what they are about."""

from __future__ import annotations

from datetime import timedelta

from dispatch.models import Complaint
from kitting.models import Link
from tests.commands.tampering.ways import Named, change, link_of, tamperer
from tests.ledgers import History


def _of_box() -> Complaint:
    return Complaint.objects.get(box__isnull=False)


@tamperer
def complaint_about_another_box(history: History) -> list[Named]:
    row = _of_box()
    change(row, box=history.labelled)
    return [("complaints", Complaint, row.pk), ("chain", Link, link_of(row))]


@tamperer
def complaint_about_a_box_without_a_serial(history: History) -> list[Named]:
    row = _of_box()
    change(row, box=history.opened)
    return [("complaints", Complaint, row.pk)]


@tamperer
def complaint_about_another_lot(history: History) -> list[Named]:
    row = Complaint.objects.get(lot__isnull=False)
    change(row, lot=history.band_lot)
    return [("complaints", Complaint, row.pk), ("chain", Link, link_of(row))]


@tamperer
def complaint_received_tomorrow(history: History) -> list[Named]:
    row = _of_box()
    change(row, received_on=row.received_on + timedelta(days=1))
    return [("complaints", Complaint, row.pk), ("chain", Link, link_of(row))]


@tamperer
def complaint_with_a_number_of_a_case(history: History) -> list[Named]:
    row = _of_box()
    change(row, number=history.gone.number)
    return [("complaints", Complaint, row.pk), ("chain", Link, link_of(row))]
