"""A database full of boxes, written in bulk past the services but not past the guards.

Each lot balances to the piece and each box holds what its recipe asks for; the acts
have no link, so ``prove`` would rightly refuse the journal. It is thrown away after the
run. Most boxes were sent, over many days; the newest stand on an open shipment or wait
to go, and some holds stand, the newest on boxes that wait.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import timedelta

from django.db import connection, transaction
from django.utils import timezone

from benchmarks.measure import Row, seconds
from dispatch.models import Consignee, ShipEvent, Shipment, ShipmentBox, ShipScan
from kitting.domain.numbers import Kind
from kitting.domain.stages import BoxStage, MovementKind, ShipmentStage
from kitting.ledger import bulk, holds, planner
from kitting.ledger.counters import take, take_numbers
from kitting.models import (
    Bag,
    Box,
    BoxEvent,
    BoxLine,
    BoxSize,
    Lot,
    Movement,
    Operation,
    Recipe,
    User,
    Workshop,
)
from kitting.models.catalogue import Per
from tests import factories

PARTS = 5
SETS = 24
BOXES_OF_A_LOT = 250
BOXES_OF_A_BAG = 25
BOXES_OF_A_SHIPMENT = 10
CONSIGNEES = 12
DAYS = 120
WAITING = 50
"""The newest boxes, which wait to go; so many before them as a shipment takes are on one
that is open."""
HOLDS = 4

STEPS = ("open", "closed", "labelled", "loaded", "sent")


@dataclass(frozen=True)
class Filled:
    """What was filled, and how long that took."""

    boxes: int
    lot: Lot
    """One whose pieces went into ``BOXES_OF_A_LOT`` boxes."""
    rows: list[Row]


class Filling:
    """What all batches share."""

    def __init__(self) -> None:
        Workshop.objects.update(gs1_prefix="9521234", name="Harrow Lane Workshop")
        free = {"needs_check": False, "needs_clearing": False}
        lines = [
            (factories.make_revision(factories.make_part(**free)), 1, Per.SET)
            for _ in range(PARTS)
        ]
        self.recipe: Recipe = factories.make_recipe(lines)
        self.size: BoxSize = factories.make_size(self.recipe, SETS)
        self.revisions = [revision for revision, _, _ in lines]
        self.whom: list[Consignee] = [
            factories.make_consignee() for _ in range(CONSIGNEES)
        ]
        self.by: User = factories.make_person()
        self.now = timezone.now()

    def batch(self, nth: int, boxes: int, *, ago: float, newest: bool) -> None:
        """One lot of each part, and the boxes that use it up, so many days ago."""
        self.now = timezone.now() - timedelta(days=ago)
        with transaction.atomic(), bulk.undisturbed():
            made = self._boxes(boxes)
            act, *acts = self._acts(boxes + 1)
            waiting = min(WAITING, boxes // 2) if newest else 0
            sent = boxes - waiting - (BOXES_OF_A_SHIPMENT if waiting == WAITING else 0)
            stages = ["sent"] * sent + ["loaded"] * (boxes - waiting - sent)
            stages += ["labelled"] * waiting
            for box, stage, own in zip(made, stages, acts, strict=True):
                box.stage, box.act = BoxStage(stage), own
            for revision in self.revisions:
                self._lot(act, revision, made)
            self._identity(made)
            self._events(made)
            loaded = made[sent : boxes - waiting]
            if sent:
                self._ship(act, made[:sent], nth, ShipmentStage.SENT)
            if loaded:
                self._ship(act, loaded, nth, ShipmentStage.OPEN)

    def _acts(self, count: int) -> list[Operation]:
        """One act for the lots, and one for all that was done with each box."""
        made = [
            Operation(
                site=1,
                key=uuid.uuid4().bytes,
                name="fill",
                mark=bytes(32),
                by=self.by,
                by_name=str(self.by),
                at=self.now - timedelta(seconds=count - nth),
            )
            for nth in range(count)
        ]
        bulk.insert(made)
        return made

    def _boxes(self, count: int) -> list[Box]:
        made = [
            Box(number=number, recipe=self.recipe, size=self.size)
            for number in take(1, Kind.BOX, count)
        ]
        bulk.insert(made)
        return made

    def _lot(self, act: Operation, revision: object, boxes: list[Box]) -> None:
        lot = Lot(
            number=take(1, Kind.LOT)[0],
            source="Print bench",
            source_key="print bench",
            part=revision.part,  # type: ignore[attr-defined]
            revision=revision,  # type: ignore[misc]
            made_on=self.now.date(),
            stage="closed",
        )
        lot.save(force_insert=True)
        shares = [
            boxes[at : at + BOXES_OF_A_BAG]
            for at in range(0, len(boxes), BOXES_OF_A_BAG)
        ]
        bags = [
            Bag(number=n, lot=lot, stage="used_up", pieces=0, moves=len(share) + 1)
            for n, share in zip(take(1, Kind.BAG, len(shares)), shares, strict=True)
        ]
        bulk.insert(bags)
        lines, moves = [], []
        for bag, share in zip(bags, shares, strict=True):
            moves += _moves(act, bag, share)
            lines += [BoxLine(box=box, bag=bag, lot=lot, pieces=SETS) for box in share]
        bulk.insert(lines)
        bulk.insert(moves)

    def _identity(self, boxes: list[Box]) -> None:
        serials = take(1, Kind.SERIAL, len(boxes))
        day = self.now.date()
        sscc = take_numbers(1, "sscc", len(boxes))
        values = [
            (
                *(serial, f"39521234{number:010}"[:18], day, self.now),
                *(f"1-FS-{day:%y%j}-1", box.stage, STEPS.index(box.stage) + 1, box.pk),
            )
            for serial, number, box in zip(serials, sscc, boxes, strict=True)
        ]
        with connection.cursor() as cursor:
            cursor.executemany(
                "UPDATE kitting_box SET serial = %s, sscc = %s, packed_on = %s,"
                " closed_at = %s, batch = %s, stage = %s, events_seen = %s"
                " WHERE id = %s",
                [tuple(map(_plain, row)) for row in values],
            )

    def _events(self, boxes: list[Box]) -> None:
        bulk.insert(
            [
                BoxEvent(
                    operation=box.act,
                    box=box,
                    nth=nth,
                    before=STEPS[nth - 2] if nth > 1 else "",
                    after=BoxStage(after),
                )
                for box in boxes
                for nth, after in enumerate(STEPS[: STEPS.index(box.stage) + 1], 1)
            ]
        )

    def _ship(
        self, act: Operation, boxes: list[Box], nth: int, stage: ShipmentStage
    ) -> None:
        gone = stage == ShipmentStage.SENT
        starts = range(0, len(boxes), BOXES_OF_A_SHIPMENT)
        loads = [boxes[at : at + BOXES_OF_A_SHIPMENT] for at in starts]
        made = [
            Shipment(
                number=number,
                consignee=self.whom[(nth + at) % CONSIGNEES],
                stage=stage,
                events_seen=1 + gone,
                sent_at=act.at if gone else None,
                sent_by=act.by_name if gone else "",
                boxes=len(load) * gone,
                sets=len(load) * SETS * gone,
                search=number.lower(),
            )
            for at, (number, load) in enumerate(
                zip(take(1, Kind.SHIPMENT, len(loads)), loads, strict=True)
            )
        ]
        bulk.insert(made)
        pairs = [
            (one, box) for one, load in zip(made, loads, strict=True) for box in load
        ]
        bulk.insert([ShipmentBox(shipment=one, box=box) for one, box in pairs])
        bulk.insert(
            [
                ShipScan(operation=box.act, shipment=one, box=box, on=True)
                for one, box in pairs
            ]
        )
        stages = (("", ShipmentStage.OPEN), ("open", ShipmentStage.SENT))
        bulk.insert(
            [
                ShipEvent(
                    operation=act, shipment=one, nth=n, before=before, after=after
                )
                for one in made
                for n, (before, after) in enumerate(stages[: 1 + gone], start=1)
            ]
        )


def _plain(value: object) -> object:
    return value if isinstance(value, int) else str(value)


def _moves(act: Operation, bag: Bag, boxes: list[Box]) -> list[Movement]:
    left = SETS * len(boxes)
    shared = {"bag": bag, "lot": bag.lot}
    moves = [
        Movement(
            **shared,
            operation=act,
            nth=1,
            kind=MovementKind.RECEIVED,
            pieces=left,
            delta=left,
            after=left,
            stage_after="cleared",
        )
    ]
    for nth, box in enumerate(boxes, start=2):
        left -= SETS
        moves.append(
            Movement(
                **shared,
                operation=box.act,
                nth=nth,
                box=box,
                kind=MovementKind.PACKED,
                pieces=SETS,
                delta=-SETS,
                after=left,
                stage_before="cleared",
                stage_after="cleared" if left else "used_up",
            )
        )
    return moves


def hold_some() -> None:
    """Hold the bag that the newest boxes were packed from, and lots of long ago."""
    targets = [("bag", Bag.objects.latest("pk").pk)]
    lots = Lot.objects.order_by("pk").values_list("pk", flat=True)
    targets += [("lot", pk) for pk in lots[:HOLDS]]
    for target, value in targets[:HOLDS]:
        sign = factories.sign(now=timezone.now())
        holds.place_hold(target=target, value=value, reason="Brittle", sign=sign)


def fill(*, boxes: int) -> Filled:
    """Fill the database with so many boxes."""
    filling = Filling()
    starts = range(0, boxes, BOXES_OF_A_LOT)

    def work() -> None:
        for nth, start in enumerate(starts):
            left = boxes - start
            filling.batch(
                nth,
                min(BOXES_OF_A_LOT, left),
                ago=DAYS * (1 - (nth + 1) / len(starts)),
                newest=left <= BOXES_OF_A_LOT,
            )
        hold_some()
        planner.refresh()

    taken = seconds(work)
    middle = Lot.objects.order_by("pk")[PARTS * (len(starts) // 2)]
    per_second = f"{boxes / taken:,.0f} boxes a second"
    return Filled(
        boxes,
        middle,
        [Row(f"filling with {boxes:,} boxes", f"{taken:,.1f} s", per_second)],
    )
