"""Builds the demo workshop, day by day, through the services."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, time
from random import Random
from typing import Final

from dispatch.models import Shipment
from kitting.ledger import holds
from kitting.models import Bag, Box, JournalHead, Lot, Run
from lotward.demo import (
    benches,
    checks,
    evidence,
    labels,
    lines,
    making,
    masterdata,
    plan,
    sending,
    storing,
)
from lotward.demo.clock import Clock
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


def build(say: Callable[[str], object] = str) -> Built:
    """Fill a migrated, empty database with the demo workshop.

    Args:
        say: Is told of each day that is done; by default nobody hears it.

    Returns:
        The numbers of things.
    """
    data = masterdata.read()
    masterdata.found_workshop(data)
    start = datetime.combine(plan.FIRST_DAY, time(7), tzinfo=UTC)
    clock = Clock(people=make_people(), now=start)
    # Seeded, and not a secret: a demo is the same wherever it is built.
    luck = Random(SEED)  # noqa: S311
    floor = Floor(clock=clock, luck=luck, catalogue=masterdata.load(data, clock))
    evidence.sign_protocols(clock)
    lines.fit_lamps(floor)
    labels.label_the_places(floor)
    for today in range(plan.LAST + 1):
        floor.today = today
        _work(floor)
        say(f"{plan.day(today):%Y-%m-%d}: {Box.objects.count()} boxes")
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
    """One day, in the order in which its work is done."""
    today, last = floor.today, plan.LAST
    masterdata.put_recipes_in_force(floor.catalogue, plan.day(today))
    floor.wait_until(7, 30)
    making.take_in(floor, bought=True)
    floor.wait_until(8)
    checks.check_lots(floor)
    checks.settle_rejected(floor)
    lines.look_after_lamps(floor)
    if today == plan.HEAT_RUN_ON:
        lines.bake(floor)
    floor.wait_until(9)
    if 0 < today <= plan.LAST_RUN_DAY:
        lines.run_line(floor)
        storing.clear_the_line(floor)
    floor.wait_until(11)
    _pack(floor)
    storing.shelve_boxes(floor)
    if today == plan.HOLD_ON:
        _hold(floor)
    evidence.count_and_sample(floor)
    floor.wait_until(15)
    _send(floor)
    floor.wait_until(17)
    making.take_in(floor, bought=False)
    if today == plan.CARRIERS_ON:
        storing.make_carriers(floor)
    if today == plan.OPEN_LOT_ON:
        making.begin_open_lot(floor)
    if today == last:
        making.add_to_open_lot(floor)


def _pack(floor: Floor) -> None:
    """As many boxes as keep the pace to the number wanted."""
    if floor.today < FIRST_PACKING:
        return
    days = plan.LAST - FIRST_PACKING + 1
    spoilt = 3  # One cancelled and two that are left at the benches.
    wanted = (plan.BOXES - spoilt) * (floor.today - FIRST_PACKING + 1) // days
    benches.pack(floor, wanted - Box.objects.exclude(serial=None).count())
    if floor.today == 4:
        benches.cancel_one(floor)
    if floor.today == 8:
        benches.void_one(floor)
    if floor.today == plan.LAST:
        benches.leave_work(floor)


def _hold(floor: Floor) -> None:
    held = plan.HELD_LOT
    lot = Lot.objects.get(number=making.lot_number(held.part, held.on))
    holds.place_hold(
        target="lot",
        value=lot.pk,
        reason=plan.HOLD_REASON,
        sign=floor.clock.sign("quality", 600),
    )


def _send(floor: Floor) -> None:
    """Two or three shipments a day, from the second packing day on."""
    first = FIRST_PACKING + 1
    if floor.today < first:
        return
    if floor.today == 9:
        sending.cancel_one(floor)
    days = plan.LAST - first + 1
    done = Shipment.objects.count()
    apart = 2  # One cancelled, one left open.
    wanted = (plan.SHIPMENTS - apart) * (floor.today - first + 1) // days
    last = floor.today == plan.LAST
    cancelled = 1 if floor.today >= 9 else 0
    sending.send(floor, wanted - (done - cancelled), keep=12 if last else 2)
    if last:
        sending.leave_open(floor)
