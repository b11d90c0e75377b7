"""Lots come in and are made, are checked, and go through disinfection runs."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Final

from django.db.models import Sum

from dispatch.demo import plan
from dispatch.demo.clock import Clock
from dispatch.demo.masterdata import Catalogue
from kitting.domain.stages import BagStage
from kitting.models import Bag, Lot, Run
from kitting.models.lots import LotStage
from kitting.services import lots, runs
from kitting.services.steps.materials import USABLE

POINTS: Final = (1, 2, 3)
SIDES: Final = ("top", "bottom")
IRRADIANCE_UW_CM2: Final = 4_200
SCATTER_UW_CM2: Final = 150
DARK_UW_CM2: Final = 2_300
"""What was left at one point when the lamps had gone."""

BELT: Final = runs.Belt(
    zone_um=500_000, belt_um_s=1_500, u_ppm=10_000, decline_ppm=15_000
)


@dataclass
class Floor:
    """The workshop while it is being built: its time, its luck, its master data."""

    clock: Clock
    luck: Random
    catalogue: Catalogue
    today: int = 0
    runs_done: int = 0
    blanks: list[str] = field(default_factory=list)
    """Bag numbers on blank labels, not used yet."""

    def wait_until(self, hour: int, minute: int = 0) -> None:
        """Let an hour of today come.

        Args:
            hour: Hour of the day.
            minute: Minute of the hour.
        """
        self.clock.wait_until(plan.day(self.today), hour, minute)


def lot_number(part: str, on: int) -> str:
    """The workshop's own lot number: part, month and day.

    Args:
        part: Code of the part.
        on: Working day.

    Returns:
        Such as ``HB-0105``.
    """
    return f"{part}-{plan.day(on):%m%d}"


# -- Taking in ----------------------------------------------------------------------


def take_in(floor: Floor, *, bought: bool) -> None:
    """Take in today's arrivals.

    Args:
        floor: The workshop.
        bought: What was bought, in the morning; else what was made here.
    """
    for arrival in plan.ARRIVALS:
        if arrival.on == floor.today and (arrival.part in plan.BOUGHT) is bought:
            new = _new_lot(floor, arrival)
            lots.take_in(lots=[new], sign=floor.clock.sign("checker", 180))


def _new_lot(floor: Floor, arrival: plan.Arrival) -> lots.NewLot:
    kind = plan.KINDS[arrival.part]
    found = floor.catalogue
    made_on = plan.day(arrival.on)
    use_by = made_on.replace(year=made_on.year + kind.years) if kind.years else None
    bag_pieces = kind.pieces if arrival.cut_from is None else plan.CUT_PIECES
    bought = arrival.part in plan.BOUGHT
    where = "SHELF-RAW" if bought and arrival.part != "MA" else "RACK-IN"
    bag = lots.NewBag(bag_pieces, kind.container, found.places[where].pk)
    revision = found.revisions[arrival.part, arrival.revision]
    method = _method(arrival, kind)
    return lots.NewLot(
        part_id=revision.part_id,
        revision_id=revision.pk,
        method_id=found.methods[method].pk if method else None,
        made_on=made_on,
        use_by=use_by,
        source="Trimming table" if arrival.cut_from is not None else kind.source,
        source_number=f"{floor.luck.randrange(10_000, 99_999)}" if bought else "",
        number=lot_number(arrival.part, arrival.on),
        bags=(bag,) * arrival.bags,
        made_from=_made_from(arrival, kind, bag_pieces * arrival.bags),
        close=True,
    )


def _method(arrival: plan.Arrival, kind: plan.Kind) -> str:
    if arrival.cut_from is not None:
        return "TRIM-S1"
    if kind.method == "PRINT-S7" and arrival.on >= plan.NEW_SETTINGS_ON:
        return "PRINT-S8"
    return kind.method


def _made_from(
    arrival: plan.Arrival, kind: plan.Kind, pieces: int
) -> tuple[tuple[int, int], ...]:
    """One lot of material, the oldest that is enough: another one is another lot."""
    if arrival.cut_from is not None:
        visors = Lot.objects.get(number=lot_number("VI", arrival.cut_from))
        return ((visors.pk, pieces),)
    if not kind.material:
        return ()
    wanted = pieces * kind.each
    enough = (
        Lot.objects.filter(part__code=kind.material, bags__stage__in=USABLE)
        .annotate(left=Sum("bags__pieces"))
        .filter(left__gte=wanted)
        .order_by("pk")
    )
    return ((enough[0].pk, wanted),)


def begin_open_lot(floor: Floor) -> None:
    """Begin a lot that grows: bags on blank labels, more of them to come."""
    given = lots.give_out_numbers(count=12, sign=floor.clock.sign("manager"))
    floor.blanks = list(given.numbers)
    arrival = plan.Arrival(floor.today, "HB", "D", 2)
    kind = plan.KINDS["HB"]
    pieces = kind.pieces
    sketch = _new_lot(floor, arrival)
    new = lots.NewLot(
        part_id=sketch.part_id,
        revision_id=sketch.revision_id,
        method_id=sketch.method_id,
        made_on=sketch.made_on,
        source="Print room, night shift",
        bags=_blank_bags(floor, [pieces, pieces - 4]),
        made_from=_made_from(arrival, kind, pieces * 6),
    )
    taken = lots.take_in(lots=[new], sign=floor.clock.sign("checker", 120))
    open_lot = Lot.objects.get(number=taken.lots[0])
    assert open_lot.stage == LotStage.OPEN  # noqa: S101


def add_to_open_lot(floor: Floor) -> None:
    """Bring one more bag of the lot that is still open."""
    lot = Lot.objects.get(stage=LotStage.OPEN)
    new = lots.NewLot(
        part_id=lot.part_id,
        revision_id=lot.revision_id,
        method_id=lot.method_id,
        made_on=lot.made_on,
        source=lot.source,
        bags=_blank_bags(floor, [117]),
        lot_id=lot.pk,
    )
    lots.take_in(lots=[new], sign=floor.clock.sign("checker", 60))


def _blank_bags(floor: Floor, counts: list[int]) -> tuple[lots.NewBag, ...]:
    rack = floor.catalogue.places["RACK-IN"].pk
    return tuple(
        lots.NewBag(count, "tote", rack, floor.blanks.pop(0)) for count in counts
    )


# -- Runs ---------------------------------------------------------------------------


def run_line(floor: Floor) -> None:
    """Clear what has been accepted, the scarcest part first, up to a line's load."""
    waiting = _for_the_line()
    if len(waiting) < plan.FEWEST_ON_LINE:
        return
    found = floor.catalogue
    opened = runs.open_run(
        line_id=found.places["LINE-1"].pk,
        protocol_id=found.protocols[-1].pk,
        meter_id=found.meters[0].pk,
        belt=BELT,
        readings=_readings(floor, dark=False),
        sign=floor.clock.sign("line", 300),
    )
    run = Run.objects.get(number=opened.run)
    for bag in waiting:
        sign = floor.clock.sign("line", 25)
        runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign)
    floor.clock.let_pass(run.exposure_ms * run.passes // 1000 + 1)
    for bag in waiting:
        sign = floor.clock.sign("line", 25)
        runs.take_off(run_id=run.pk, bag_id=bag.pk, sign=sign)
    dark = floor.runs_done == plan.FAILED_RUN
    readings = _readings(floor, dark=dark)
    runs.close_run(run_id=run.pk, readings=readings, sign=floor.clock.sign("line", 300))
    floor.runs_done += 1


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
