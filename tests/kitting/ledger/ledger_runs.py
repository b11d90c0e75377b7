"""Meters, lamps and a run by heat for a history, every row through the services."""

from __future__ import annotations

from datetime import date, timedelta

from kitting.disinfection.services import lamps, meters, runs
from kitting.disinfection.services.values import Logged, log_values
from kitting.disinfection.services.verdicts import Judged, close_run
from kitting.domain.entries import Belt
from kitting.models import Bag, Lamp, Meter, Run
from kitting.models.catalogue import PlaceKind
from kitting.models.runs import Process
from tests import factories
from tests.factories import NOW, TODAY, sign

# Heat for face shields: 70 °C for half an hour. Common practice in 2020, no advice.
HOLD_S = 1_800
LEAST_MC = 70_000


def make_heat_protocol(*revisions, **changes):
    """A protocol by dry heat: 70 °C without a break for half an hour."""
    values = {
        "process": Process.HEAT,
        "name": "Oven",
        "required_top_uj_cm2": 0,
        "hold_s": HOLD_S,
        "min_value": LEAST_MC,
        **changes,
    }
    return factories.make_protocol(*revisions, **values)


def make_thermometer(rel_u_ppm: int = 10_000) -> Meter:
    return factories.make_meter(rel_u_ppm=rel_u_ppm)


def open_oven(protocol, meter: Meter | None = None, **changes) -> Run:
    """A run by heat on a new line, opened at four o'clock."""
    values = {
        "line_id": factories.make_place(PlaceKind.LINE).pk,
        "protocol_id": protocol.pk,
        "meter_id": (meter or make_thermometer()).pk,
        "belt": Belt(),
        "readings": [],
        "sign": sign(),
        **changes,
    }
    return Run.objects.get(number=runs.open_run(**values).run)


def log(run: Run, *values: tuple[int, int], **changes) -> Logged:
    """Log values: minutes after opening, thousandths of a degree."""
    changes.setdefault("now", NOW + timedelta(hours=3))
    samples = [(run.opened_at + timedelta(minutes=at), mc) for at, mc in values]
    return log_values(run_id=run.pk, values=samples, sign=sign(**changes))


def warm(minutes: int = 60, mc: int = 72_000) -> list[tuple[int, int]]:
    """A value every five minutes."""
    return [(at, mc) for at in range(0, minutes + 1, 5)]


def close(run: Run, **changes) -> Judged:
    changes.setdefault("now", NOW + timedelta(hours=3))
    judged = close_run(run_id=run.pk, readings=[], sign=sign(**changes))
    run.refresh_from_db()
    return judged


def bake(*bags: Bag, since: int = 0, until: int = 60) -> Run:
    """A run by heat that is released, with bags in it from minute to minute."""
    run = open_oven(make_heat_protocol(*{bag.lot.revision for bag in bags}))
    for bag in bags:
        on = run.opened_at + timedelta(minutes=since)
        runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign(now=on))
        off = run.opened_at + timedelta(minutes=until)
        runs.take_off(run_id=run.pk, bag_id=bag.pk, sign=sign(now=off))
    log(run, *warm())
    close(run)
    return run


def stay_cold() -> Run:
    """A run by heat that fails: its oven never got warm enough."""
    run = open_oven(make_heat_protocol())
    log(run, *warm(mc=60_000))
    close(run)
    return run


def dip() -> Run:
    """A run by liquid that is released: strong enough at both ends."""
    protocol = make_heat_protocol(process="liquid", hold_s=600, min_value=1_000)
    run = open_oven(protocol)
    log(run, (0, 1_200), (12, 1_100))
    close(run)
    return run


def measure_all() -> None:
    """Runs by heat and liquid, a lamp with its hours, and a meter that was found wrong."""
    lot = factories.accept(factories.make_lot(factories.make_revision()))
    bake(lot.bags.get())
    stay_cold()
    dip()
    line = factories.make_place(PlaceKind.LINE)
    lamps.fit_lamp(
        line_id=line.pk,
        name="Lamp 1",
        on=date(2026, 1, 2),
        rated_hours=9_000,
        sign=sign(),
    )
    lamp = Lamp.objects.get(line=line)
    lamps.read_hours(lamp_id=lamp.pk, on=TODAY, hours=120, sign=sign())
    wrong = factories.make_meter()
    meters.find_wrong(
        meter_id=wrong.pk,
        found_on=TODAY,
        good_id=None,
        reason="Window cracked",
        sign=sign(),
    )
