"""The lines: their lamps, runs on the belt by readings or dosimeters, and one by heat."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from django.db.models import Sum

from kitting.disinfection.services import lamps, runs
from kitting.disinfection.services.values import log_values
from kitting.disinfection.services.verdicts import close_run
from kitting.domain.entries import Belt
from kitting.domain.stages import BagStage
from kitting.models import Bag, Lamp, Meter, Protocol, Run
from kitting.places.services import places
from lotward.demo import plan
from lotward.demo.making import Floor

POINTS: Final = (1, 2, 3)
SIDES: Final = ("top", "bottom")
IRRADIANCE_UW_CM2: Final = 4_200
SCATTER_UW_CM2: Final = 150
DARK_UW_CM2: Final = 2_300
"""What was left at one point when the lamps had gone."""

BELT: Final = Belt(zone_um=500_000, belt_um_s=1_500, u_ppm=10_000, decline_ppm=15_000)
DOSIMETERS: Final = (
    ("top", 1_370_000, 100_000),
    ("top", 1_402_000, 100_000),
    ("bottom", 1_345_000, 100_000),
)
"""Side, dose in µJ/cm², and relative expanded uncertainty in ppm."""


# -- Lamps --------------------------------------------------------------------------


def fit_lamps(floor: Floor) -> None:
    """Record the lamps that burn on the lines, and their hours so far.

    Args:
        floor: The workshop.
    """
    for line, name, on, hours in plan.LAMPS:
        lamps.fit_lamp(
            line_id=floor.catalogue.places[line].pk,
            name=name,
            on=floor.clock.days.moved(on),
            rated_hours=plan.RATED_HOURS,
            sign=floor.clock.sign("quality", 30),
        )
        _read(floor, Lamp.objects.latest("pk"), hours)


def _read(floor: Floor, lamp: Lamp, hours: int) -> None:
    today = floor.day(floor.today)
    sign = floor.clock.sign("line", 20)
    lamps.read_hours(lamp_id=lamp.pk, on=today, hours=hours, sign=sign)


def look_after_lamps(floor: Floor) -> None:
    """Read the hours of the belt's lamps; after the failed run, two are new.

    Args:
        floor: The workshop.
    """
    burning = Lamp.objects.filter(line__code="LINE-1", taken_out_on=None)
    if floor.today == plan.NEW_LAMPS_ON:
        for lamp in burning.filter(name__in=plan.GONE_LAMPS):
            lamps.change_lamp(
                lamp_id=lamp.pk,
                on=floor.day(floor.today),
                rated_hours=plan.RATED_HOURS,
                sign=floor.clock.sign("quality", 240),
            )
    if floor.today == plan.LAMPS_READ_ON:
        for lamp in burning.order_by("pk"):
            last = lamp.hours.order_by("pk").last()
            _read(floor, lamp, (last.hours if last else 0) + plan.HOURS_SINCE)


# -- Runs on the belt ---------------------------------------------------------------


def run_line(floor: Floor) -> None:
    """Clear what has been accepted, the scarcest part first, up to a line's load.

    Args:
        floor: The workshop.
    """
    waiting = _for_the_line()
    if len(waiting) < plan.FEWEST_ON_LINE:
        return
    carried = floor.runs_done == plan.DOSIMETER_RUN
    dark = floor.runs_done == plan.FAILED_RUN
    run = _open_run(floor, waiting, carried=carried)
    # Drawn for the run by dosimeters too, so that the luck of later days stays the same.
    closing = _readings(floor, dark=dark)
    floor.clock.let_pass(run.exposure_ms * run.passes // 1000 + 1)
    for bag in waiting:
        sign = floor.clock.sign("line", 25)
        runs.take_off(run_id=run.pk, bag_id=bag.pk, sign=sign)
    close_run(
        run_id=run.pk,
        readings=() if carried else closing,
        dosimeters=DOSIMETERS if carried else (),
        sign=floor.clock.sign("line", 300),
    )
    floor.runs_done += 1


def begin_run(floor: Floor) -> None:
    """Open a run and put the first bags on; others wait that could go on as well.

    Args:
        floor: The workshop.
    """
    _open_run(floor, _for_the_line()[: plan.BEGUN_WITH], carried=False)


def _open_run(floor: Floor, bags: list[Bag], *, carried: bool) -> Run:
    found = floor.catalogue
    opening = _readings(floor, dark=False)
    opened = runs.open_run(
        line_id=found.places["LINE-1"].pk,
        protocol_id=found.protocols[-1].pk,
        meter_id=found.meters[0].pk,
        belt=BELT,
        readings=() if carried else opening,
        by_dosimeter=carried,
        sign=floor.clock.sign("line", 300),
    )
    run = Run.objects.get(number=opened.run)
    for bag in bags:
        sign = floor.clock.sign("line", 25)
        runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign)
    return run


def _for_the_line() -> list[Bag]:
    """Bags for one run, each of the part of which the fewest sets are cleared."""
    cleared = dict.fromkeys(plan.NEEDED, 0)
    have = Bag.objects.filter(stage=BagStage.CLEARED).values_list("lot__part__code")
    for code, pieces in have.annotate(Sum("pieces")):
        if code in cleared:
            cleared[code] = pieces
    accepted = Bag.objects.filter(
        stage=BagStage.ACCEPTED, lot__part__needs_clearing=True
    )
    waiting = list(accepted.select_related("lot__part").order_by("pk"))
    chosen: list[Bag] = []
    while waiting and len(chosen) < plan.MOST_ON_LINE:
        bag = min(waiting, key=lambda bag: _sets(cleared, bag.lot.part.code))
        waiting.remove(bag)
        chosen.append(bag)
        cleared[bag.lot.part.code] += bag.pieces
    return chosen


def _sets(cleared: dict[str, int], part: str) -> float:
    return cleared[part] / plan.NEEDED[part]


def _readings(floor: Floor, *, dark: bool) -> list[tuple[int, str, int]]:
    return [
        (
            point,
            side,
            DARK_UW_CM2
            if dark and (point, side) == (2, "bottom")
            else IRRADIANCE_UW_CM2
            + floor.luck.randint(-SCATTER_UW_CM2, SCATTER_UW_CM2),
        )
        for point in POINTS
        for side in SIDES
    ]


# -- A run by heat ------------------------------------------------------------------


def bake(floor: Floor) -> None:
    """Warm a tray of elastics for as long as their protocol asks, and shelve it.

    Args:
        floor: The workshop.
    """
    found, clock = floor.catalogue, floor.clock
    trays = Bag.objects.filter(stage=BagStage.ACCEPTED, lot__part__code="EL")
    tray = trays.order_by("pk")[0]
    opened = runs.open_run(
        line_id=found.places["LINE-3"].pk,
        protocol_id=Protocol.objects.get(code="WARM").pk,
        meter_id=_thermometer(floor).pk,
        belt=Belt(),
        readings=(),
        sign=clock.sign("line", 120),
    )
    run = Run.objects.get(number=opened.run)
    runs.put_on(run_id=run.pk, bag_id=tray.pk, sign=clock.sign("line", 30))
    begun = clock.now
    clock.let_pass(60 * plan.MINUTES_WARM)
    runs.take_off(run_id=run.pk, bag_id=tray.pk, sign=clock.sign("line", 30))
    logged = [
        (begun + timedelta(minutes=minute), millidegrees)
        for minute, millidegrees in plan.WARMTH
    ]
    log_values(run_id=run.pk, values=logged, sign=clock.sign("line", 90))
    close_run(run_id=run.pk, readings=(), sign=clock.sign("line", 60))
    shelf = found.places["SHELF-A"].pk
    places.put_bag(bag_id=tray.pk, place_id=shelf, sign=clock.sign("line", 20))


def _thermometer(floor: Floor) -> Meter:
    return next(m for m in floor.catalogue.meters if m.serial == plan.THERMOMETER)
