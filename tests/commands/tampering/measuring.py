"""Ways of tampering with what clears bags, for the proof to find.

Each changes rows as somebody with the database in hand could, guards away, and gives
the faults that must be found.
"""

from __future__ import annotations

import json
from datetime import timedelta

from django.db.models import F

from kitting.models import Dosimeter, Link, Protocol, Run, RunBag, RunValue
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def dosimeter_dose(history: History) -> list[Named]:
    row = Dosimeter.objects.get(run=history.released)
    change(row, uj_cm2=110_000)
    return [("chain", Link, link_of(row)), ("runs", Run, row.run_id)]


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
    run = Run.objects.get(protocol__process="heat", stage="released")
    row = run.values.get(at=run.opened_at + timedelta(minutes=30))
    change(row, value=69_000)
    return [("chain", Link, link_of(row)), ("runs", Run, row.run_id)]


@tamperer
def log_of_a_released_run_deleted(history: History) -> list[Named]:
    run = Run.objects.get(protocol__process="heat", stage="released")
    rows = list(RunValue.objects.filter(run=run))
    for row in rows:
        remove(row)
    return [("runs", Run, rows[0].run_id)]


@tamperer
def stay_that_was_too_short(history: History) -> list[Named]:
    row = RunBag.objects.get(run=history.released, original=None)
    change(row, off_at=F("on_at"))
    return [("stays", RunBag, row.pk)]


@tamperer
def stay_that_began_earlier(history: History) -> list[Named]:
    row = RunBag.objects.get(run=history.failed, original=None)
    change(row, on_at=row.on_at - timedelta(hours=1))
    return [("stays", RunBag, row.pk)]


@tamperer
def failed_heat_run_released(history: History) -> list[Named]:
    run = Run.objects.get(protocol__process="heat", stage="failed")
    change(run, stage="released")
    return [("runs", Run, run.pk)]


@tamperer
def released_heat_run_failed(history: History) -> list[Named]:
    run = Run.objects.get(protocol__process="heat", stage="released")
    change(run, stage="failed")
    return [("runs", Run, run.pk)]


@tamperer
def released_liquid_run_failed(history: History) -> list[Named]:
    run = Run.objects.get(protocol__process="liquid")
    change(run, stage="failed")
    return [("runs", Run, run.pk)]


@tamperer
def run_given_up_by_sql(history: History) -> list[Named]:
    """As if the lamps had gone out, with readings and verdicts taken away."""
    run = history.released
    for row in [*run.readings.filter(moment="closing"), *run.verdicts.all()]:
        remove(row)
    change(run, stage="failed")
    return [("runs", Run, run.pk)]


@tamperer
def run_opened_again(history: History) -> list[Named]:
    run = Run.objects.get(protocol__process="heat", stage="failed")
    change(run, stage="open", closed_at=None)
    return [("runs", Run, run.pk)]


@tamperer
def run_closed_later(history: History) -> list[Named]:
    run = history.failed
    assert run.closed_at is not None
    change(run, closed_at=run.closed_at + timedelta(days=1))
    return [("runs", Run, run.pk)]


@tamperer
def run_that_acts_ended_twice(history: History) -> list[Named]:
    ended = Link.objects.filter(operation__name="close_run").order_by("pk")
    first, *_others, last = ended
    one, two = (json.loads(link.outcome)["run"] for link in (first, last))
    change(last, outcome=last.outcome.replace(two, one))
    return [("chain", Link, last.pk), ("runs", Link, last.pk)]


@tamperer
def run_that_no_act_ended(history: History) -> list[Named]:
    run = Run.objects.get(stage="open")
    change(run, stage="failed", closed_at=run.opened_at)
    return [("runs", Run, run.pk)]


@tamperer
def closing_that_tells_nothing(history: History) -> list[Named]:
    row = history.released.verdicts.get().operation.link
    change(row, outcome="so it is")
    return [("chain", Link, row.pk), ("runs", Run, history.released.pk)]


@tamperer
def heat_protocol_without_a_minimum(history: History) -> list[Named]:
    run = Run.objects.get(protocol__process="heat", stage="released")
    change(run.protocol, required_top_uj_cm2=1, min_value=0)
    return [
        ("runs", Run, run.pk),
        ("stays", Run, run.pk),
        ("signatures", Protocol, run.protocol_id),
    ]


@tamperer
def bag_that_was_in_the_oven_too_short(history: History) -> list[Named]:
    """It came off after half an hour of which the first minutes were not warm."""
    row = RunBag.objects.get(run__protocol__process="heat", run__stage="released")
    for value in row.run.values.filter(at__lt=row.on_at + timedelta(minutes=20)):
        change(value, value=20_000)
    for value in row.run.values.filter(at__gt=row.on_at + timedelta(minutes=40)):
        change(value, value=20_000)
    return [("stays", RunBag, row.pk), ("runs", Run, row.run_id)]
