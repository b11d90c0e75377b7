"""Ways of tampering with what clears bags, for the proof to find.

Each changes rows as somebody with the database in hand could, guards away, and gives
the faults that must be found.
"""

from __future__ import annotations

from datetime import timedelta

from django.db.models import F

from kitting.models import Dosimeter, Link, Run, RunBag, RunValue
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def dosimeter_dose(history: History) -> list[Named]:
    row = Dosimeter.objects.get(run=history.released)
    change(row, uj_cm2=110_000)
    return [("chain", Link, link_of(row)), ("runs", Run, row.run_id)]


@tamperer
def dosimeter_deleted(history: History) -> list[Named]:
    row = Dosimeter.objects.get(run=history.released)
    remove(row)
    return [("chain", Link, link_of(row))]


@tamperer
def uncertainty_of_a_run(history: History) -> list[Named]:
    change(history.released, rel_u_ppm=10_000)
    return [("runs", Run, history.released.pk)]


@tamperer
def decline_of_a_run(history: History) -> list[Named]:
    change(history.released, decline_ppm=100_000)
    return [("runs", Run, history.released.pk)]


@tamperer
def belt_uncertainty_of_a_run(history: History) -> list[Named]:
    change(history.released, belt_u_ppm=100_000)
    return [("runs", Run, history.released.pk)]


@tamperer
def cold_value_in_a_released_run(history: History) -> list[Named]:
    run = Run.objects.get(protocol__method="heat")
    row = run.values.get(at=run.opened_at + timedelta(minutes=30))
    change(row, value=69_000)
    return [("chain", Link, link_of(row)), ("runs", Run, row.run_id)]


@tamperer
def log_of_a_released_run_deleted(history: History) -> list[Named]:
    rows = list(RunValue.objects.filter(run__protocol__method="heat"))
    for row in rows:
        remove(row)
    return [("runs", Run, rows[0].run_id)]


@tamperer
def stay_that_was_too_short(history: History) -> list[Named]:
    row = RunBag.objects.get(run=history.released)
    change(row, off_at=F("on_at"))
    return [("stays", RunBag, row.pk)]


@tamperer
def stay_that_began_earlier(history: History) -> list[Named]:
    row = RunBag.objects.get(run=history.failed)
    change(row, on_at=row.on_at - timedelta(hours=1))
    return [("stays", RunBag, row.pk)]
