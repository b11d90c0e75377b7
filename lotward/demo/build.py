"""Builds the demo workshop, day by day, through the services."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from random import Random
from typing import Final
from zoneinfo import ZoneInfo

from dispatch.models import Shipment
from kitting.ledger import holds
from kitting.ledger.clock import now
from kitting.models import Bag, Box, JournalHead, Lot, Run
from lotward.demo import (
    benches,
    checks,
    evidence,
    following,
    lines,
    making,
    masterdata,
    plan,
    sending,
    storing,
)
from lotward.demo.clock import LEAVING, Clock, days_until, moment_of
from lotward.demo.making import Floor
from lotward.demo.people import make_people

SEED: Final = 1
FIRST_PACKING: Final = 1
"""Working day on which the first boxes are packed; the evening before, lots came in."""


@dataclass(frozen=True)
class Built:
    """What a build gave."""

    lots: int
    bags: int
    runs: int
    boxes: int
    shipments: int
    acts: int
    head: str
    """Hash of the journal's newest link: the same for the same build."""


def build(say: Callable[[str], object] = str, *, today: date | None = None) -> Built:
    """Fill a migrated, empty database with the demo workshop.

    Args:
        say: Is told of each day that is done; by default nobody hears it.
        today: The day that it is for the demo, whose clock then goes on from there; this
            moment where it is left out.

    Returns:
        The numbers of things.
    """
    data = masterdata.read()
    zone = ZoneInfo(data["workshop"]["time_zone"])
    here = now()
    there = here if today is None else moment_of(today, zone)
    days = days_until(there, zone)
    masterdata.found_workshop(data, there - here)
    begin = days.at(0, 6, 30)
    clock = Clock(people=make_people(begin), now=begin, days=days)
    # Seeded, and not a secret: a demo is the same wherever it is built.
    luck = Random(SEED)  # noqa: S311
    found = masterdata.load(masterdata.moved(data, days), clock)
    floor = Floor(clock=clock, luck=luck, catalogue=found)
    evidence.sign_protocols(clock)
    masterdata.release_methods(clock)
    lines.fit_lamps(floor)
    storing.label_the_places(floor)
    for number in range(plan.LAST + 1):
        floor.today = number
        _work(floor)
        say(f"{days.day(number)}: {Box.objects.count()} boxes")
    return summary()


def summary() -> Built:
    """Count what the database holds.

    Returns:
        The numbers of things.
    """
    head = JournalHead.objects.get()
    return Built(
        lots=Lot.objects.count(),
        bags=Bag.objects.count(),
        runs=Run.objects.count(),
        boxes=Box.objects.count(),
        shipments=Shipment.objects.count(),
        acts=head.seq,
        head=bytes(head.hash).hex(),
    )


def _work(floor: Floor) -> None:
    """One day, in the order in which its work is done; the newest may end early."""
    masterdata.begin_recipes(floor.catalogue, floor.clock, floor.day(floor.today))
    _morning(floor)
    if floor.begins(8, 20):
        _pack(floor, half=1)
    _disinfect(floor)
    evidence.count_and_sample(floor)
    if floor.begins(13, takes=20):
        _send(floor)
    if floor.today == plan.LAST and floor.begins(13, 20, takes=5):
        sending.allot(floor)
    if floor.begins(13, 30):
        _pack(floor, half=2)
    _stop(floor)
    if floor.today == plan.LAST:
        _leave(floor)
    else:
        _evening(floor)


def _morning(floor: Floor) -> None:
    if floor.begins(7):
        making.take_in(floor, bought=True)
        checks.check_lots(floor)
    if floor.begins(7, 30, takes=20):
        checks.settle_rejected(floor)
        storing.put_in_quarantine(floor)
        lines.look_after_lamps(floor)
    if floor.begins(7, 50, takes=10):
        sending.ask(floor)
        sending.hear(floor)
        following.listen(floor)
    if floor.begins(8, takes=15):
        if floor.today == plan.CANCEL_SHIPMENT_ON:
            sending.cancel_one(floor)
        _send(floor)


def _disinfect(floor: Floor) -> None:
    if floor.today == plan.HEAT_RUN_ON:
        lines.bake(floor)
    if 0 < floor.today <= plan.LAST_RUN_DAY:
        floor.begins(10, 30)
        lines.run_line(floor)
        storing.clear_the_line(floor)


def _evening(floor: Floor) -> None:
    floor.begins(16, 30)
    making.take_in(floor, bought=False)
    if floor.today == plan.CARRIERS_ON:
        storing.make_carriers(floor)
    if floor.today == plan.OPEN_LOT_ON:
        making.begin_open_lot(floor)
        masterdata.try_new_settings(floor.catalogue, floor.clock)


def _leave(floor: Floor) -> None:
    """What is being done at the moment at which the demo is shown."""
    floor.clock.wait_until(floor.clock.days.until - LEAVING)
    making.take_in(floor, bought=False)
    making.add_to_open_lot(floor)
    lines.begin_run(floor)
    benches.say_what_is_wanted(floor)
    benches.leave_work(floor)
    sending.leave_open(floor)


def _pack(floor: Floor, *, half: int) -> None:
    """As many boxes as keep the pace to the number wanted, by noon or by evening."""
    halves = 2 * (floor.today - FIRST_PACKING) + half
    if halves < 1:
        return
    spoilt = 3  # One cancelled and two that are left at the benches.
    days = plan.LAST - FIRST_PACKING + 1
    wanted = (plan.BOXES - spoilt) * halves // (2 * days)
    benches.pack(floor, wanted - Box.objects.exclude(serial=None).count())
    if half == 1:
        if floor.today == plan.CANCEL_BOX_ON:
            benches.cancel_one(floor)
        if floor.today == plan.VOID_ON:
            benches.void_one(floor)
    storing.shelve_boxes(floor)


def _stop(floor: Floor) -> None:
    """Try what a recall would find, and hold what a ward complains of."""
    if floor.today == plan.DRILL_ON:
        looked = _hold(floor, plan.LOOKED_LOT, plan.LOOKED_FOR)
        holds.lift_hold(
            hold_id=looked,
            reason=plan.LOOKED_OVER,
            sign=floor.clock.sign("manager", 1_500),
        )
        following.drill(floor)
    if floor.today == plan.HOLD_ON:
        _hold(floor, plan.HELD_LOT, plan.HOLD_REASON)


def _hold(floor: Floor, held: tuple[str, int], reason: str) -> int:
    lot = Lot.objects.get(number=floor.lot_number(*held))
    placed = holds.place_hold(
        target="lot",
        value=lot.pk,
        reason=reason,
        sign=floor.clock.sign("quality", 600),
    )
    return placed.hold_id


def _send(floor: Floor) -> None:
    """A shipment in the morning and one after noon, from the second packing day on."""
    if floor.today > FIRST_PACKING:
        sending.send(floor, keep=plan.KEPT.get(floor.today, plan.KEPT_OTHERWISE))
