"""Boxes are packed at the benches, put on a shelf, and sent; some are stopped by holds."""

from __future__ import annotations

import hashlib
from collections import deque
from dataclasses import dataclass, field
from typing import Final

from dispatch.models import ShipEvent, Shipment, ShipmentBox, ShipScan
from dispatch.shipments.services import Begun, Scanned, Sent
from dispatch.shipments.steps import searched
from kitting.domain import batch, gs1
from kitting.domain.numbers import Kind
from kitting.domain.prints import Again
from kitting.domain.stages import BoxStage, MovementKind, ShipmentStage
from kitting.labels.kinds import BOX
from kitting.ledger import bulk
from kitting.ledger.holds import Held, Lifted
from kitting.lots.steps.bags import Change, change
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxPut,
    BoxSize,
    Guarded,
    Hold,
    Lift,
    OpenBag,
    Print,
)
from kitting.packing.labels import BOXES
from kitting.packing.services.boxes import BoxMoved, Brought, ClosedBox, Started
from kitting.packing.steps import Filling, move_box
from kitting.places.services.places import Put
from kitting.printing.queries.stocks import of_kind
from kitting.printing.services.prints import Printed, what_was_sent
from kitting.printing.steps import RENDERER
from lotward.volume.founding import Founded
from lotward.volume.pen import Pen
from lotward.volume.stock import Stock

SHARES: Final = {6: 25, 24: 60, 60: 15}
"""How often a box of so many sets is asked for, of a hundred."""
LOADS: Final = (4, 16)
DRIVERS: Final = ("Driver 1", "Driver 2", "Driver 3")
"""Fewest and most boxes of a shipment."""
WAITING: Final = 60
"""Boxes that stay on the shelf."""
HELD_AT_LAST: Final = 3
OVER: Final = "Looked at again: nothing is wrong with it"
REASONS: Final = ("Brittle", "Out of size", "A ward complains", "Drill")


@dataclass(frozen=True)
class Packed:
    """A box that stands on the shelf."""

    box: Box
    lots: dict[int, str]
    """Those inside, with their numbers."""


@dataclass
class Floor:
    """The benches, the shelf of boxes, and the holds that stand."""

    pen: Pen
    house: Founded
    stock: Stock
    open_bags: dict[tuple[int, str], Bag] = field(default_factory=dict)
    """By bench and part."""
    shelf: deque[Packed] = field(default_factory=deque)
    holds: dict[int, Hold] = field(default_factory=dict)
    """Those that stand, by lot."""
    paper: str = field(default_factory=lambda: of_kind(BOX).text)

    # -- At a bench ----------------------------------------------------------------

    def pack(self, bench: Bench) -> None:
        """Pack a box, label it and put it on the shelf."""
        box, lots = self.close(bench)
        self.print_label(box, bench)
        self._see_label(box, bench)
        self._put(box)
        self.shelf.append(Packed(box, lots))

    def start(self, bench: Bench, size: BoxSize | None = None) -> tuple[Box, Filling]:
        """Start a box; it fills at once from the bench's open bags."""
        pen, house = self.pen, self.house
        pen.begins()
        size = size or self._drawn()
        box = pen.made(
            bulk.fresh(Box, recipe=house.recipe, size=size, bench=bench, stage="")
        )
        event = move_box(box, BoxStage.OPEN)
        (box.number,), counter = pen.numbers(Kind.BOX)
        filling = Filling(box, size.sets, house.pinned, [])
        taken, empty = 0, []
        for line in house.pinned.lines:
            bag = self.open_bags.get((bench.id, line.part.code))
            if bag is None:
                continue
            taken += filling.take(bag)
            pen.changed(bag)
            if not bag.pieces:
                empty.append(bag.number)
                self._used_up(bag, bench)
        outcome = Started(box.id, box.number, taken, ", ".join(empty))
        by, rows = house.people["packer"], [event, *filling.events]
        touched = [box, counter]
        sent = {"bench": bench.id, "size": size.id}
        pen.act("start_box", by, outcome, rows, touched, bench, sent)
        return box, filling

    def _drawn(self) -> BoxSize:
        weights = [SHARES[size.sets] for size in self.house.sizes]
        return self.pen.luck.choices(self.house.sizes, weights)[0]

    def close(self, bench: Bench) -> tuple[Box, dict[int, str]]:
        """Start a box, bring what it lacks, and close it."""
        box, filling = self.start(bench)
        for line in self.house.pinned.lines:
            while filling.missing(line):
                self._bring(bench, filling, line.part.code)
        for row in filling.in_box:
            self.pen.made(row)
        lots = {row.lot_id: row.bag.lot.number for row in filling.in_box}
        for lot in lots:
            self.stock.where[lot].here += 1
        for bag in {row.bag_id: row.bag for row in filling.in_box}.values():
            if not bag.pieces:
                self.stock.used_up(bag)
        self._close(box, filling, bench)
        return box, lots

    def _bring(self, bench: Bench, filling: Filling, part: str) -> None:
        pen, house = self.pen, self.house
        bag = self.stock.take(part)
        bag.opened_at = pen.begins()
        moved = Change(MovementKind.PLACED, bag.pieces, place_id=bench.place_id)
        before = len(filling.events)
        rows: list[Guarded] = [change(bag, moved)]
        taken = filling.take(bag)
        rows += filling.events[before:]
        pen.changed(bag)
        self.open_bags[bench.id, part] = bag
        if not bag.pieces:
            self._used_up(bag, bench)
        name = bag.lot.part.name
        outcome = Brought(bag.number, name, taken, emptied=not bag.pieces)
        sent = {"bench": bench.id, "bag": bag.id}
        by = house.people["packer"]
        pen.act("bring_bag", by, outcome, rows, [bag], bench, sent)

    def _used_up(self, bag: Bag, bench: Bench) -> None:
        del self.open_bags[bench.id, bag.lot.part.code]

    def _close(self, box: Box, filling: Filling, bench: Bench) -> None:
        pen, house = self.pen, self.house
        event = move_box(box, BoxStage.CLOSED)
        dates = [row.lot.use_by for row in filling.in_box if row.lot.use_by]
        box.use_by = min(dates, default=None)
        box.packed_on, box.closed_at = self.pen.today, pen.begins()
        recipe = house.recipe
        box.batch = batch.kit_batch(
            pen.site, recipe.product.code, self.pen.today, recipe.version
        )
        (box.serial,), serials = pen.numbers(Kind.SERIAL)
        reference, references = pen.sscc_reference()
        box.sscc = gs1.sscc(house.gs1_prefix, reference)
        outcome = ClosedBox(box.id, box.serial, box.sscc, box.batch)
        touched = [box, serials, references]
        by, sent = house.people["packer"], {"box": box.id}
        pen.act("close_box", by, outcome, [event], touched, bench, sent)

    def print_label(self, box: Box, bench: Bench) -> None:
        """Log the print of a closed box's label; nothing is drawn."""
        self.pen.begins()
        serial = str(box.serial)
        sha = hashlib.sha256(serial.encode()).digest()
        row = bulk.fresh(
            Print,
            box=box,
            kind=BOXES.name,
            number=serial,
            copy=1,
            nth=1,
            data_sha=sha,
            pdf_sha=sha,
            renderer=RENDERER,
            paper=self.paper,
        )
        outcome = Printed(box=serial, copy=1, pdf_sha=sha.hex())
        by, sent = (
            self.house.people["packer"],
            {"box": box.id, **what_was_sent(Again(), None)},
        )
        self.pen.act("print_box_label", by, outcome, [row], (), bench, sent)

    def _see_label(self, box: Box, bench: Bench) -> None:
        event = move_box(box, BoxStage.LABELLED)
        box.label_seen_at = self.pen.begins()
        outcome = BoxMoved(box=str(box), stage=str(box.stage))
        by, sent = self.house.people["packer"], {"box": box.id, "read": box.sscc}
        self.pen.act("see_label", by, outcome, [event], (), bench, sent)

    def _put(self, box: Box) -> None:
        self.pen.begins()
        place = self.house.places["SHELF-B"]
        box.place = place
        outcome = Put(thing=str(box), place=place.code, moved=True)
        by, sent = self.house.people["packer"], {"box": box.id, "place": place.id}
        row = bulk.fresh(BoxPut, box=box, place=place)
        self.pen.act("put_box", by, outcome, [row], (), None, sent)

    # -- Sending -------------------------------------------------------------------

    def send_some(self) -> None:
        """Send a shipment of the oldest boxes that no hold stops, if there are enough."""
        boxes = self.pen.luck.randint(*LOADS)
        if len(self.shelf) >= WAITING + boxes:
            shipment, loaded = self.load(boxes)
            self._send(shipment, loaded)

    def load(self, boxes: int) -> tuple[Shipment, list[Packed]]:
        """Begin a shipment to somebody and load the oldest boxes that may leave."""
        held = self.holds.keys()
        free = [each for each in self.shelf if not each.lots.keys() & held][:boxes]
        shipment = self._begin()
        for count, each in enumerate(free, start=1):
            self._load(shipment, each.box, count)
            self.shelf.remove(each)
        return shipment, free

    def _begin(self) -> Shipment:
        pen, clerk = self.pen, self.house.people["clerk"]
        pen.begins()
        consignee = pen.luck.choice(self.house.consignees)
        (number,), counter = pen.numbers(Kind.SHIPMENT)
        shipment = bulk.fresh(
            Shipment, number=number, consignee=consignee, events_seen=1
        )
        shipment.search = searched(shipment)
        pen.made(shipment)
        event = bulk.fresh(
            ShipEvent, shipment=shipment, nth=1, after=ShipmentStage.OPEN
        )
        outcome = Begun(shipment_id=shipment.id, shipment=number)
        touched = [shipment, counter]
        sent = {"consignee": consignee.id, "reference": ""}
        pen.act("begin_shipment", clerk, outcome, [event], touched, None, sent)
        return shipment

    def _load(self, shipment: Shipment, box: Box, count: int) -> None:
        pen, clerk = self.pen, self.house.people["clerk"]
        pen.begins()
        event = move_box(box, BoxStage.LOADED, f"onto {shipment.number}")
        pen.changed(box)
        pen.made(bulk.fresh(ShipmentBox, shipment=shipment, box=box))
        rows = [event, bulk.fresh(ShipScan, shipment=shipment, box=box, on=True)]
        outcome = Scanned(shipment=shipment.number, box=str(box), boxes=count)
        sent = {"shipment": shipment.id, "box": box.id}
        pen.act("load_box", clerk, outcome, rows, (), None, sent)

    def _send(self, shipment: Shipment, loaded: list[Packed]) -> None:
        pen, clerk = self.pen, self.house.people["clerk"]
        shipment.sent_at, shipment.sent_by = pen.begins(), str(clerk)
        shipment.stage, shipment.events_seen = ShipmentStage.SENT, 2
        shipment.boxes = len(loaded)
        shipment.sets = sum(each.box.size.sets for each in loaded)
        event = bulk.fresh(
            ShipEvent,
            shipment=shipment,
            nth=2,
            before=ShipmentStage.OPEN,
            after=shipment.stage,
        )
        shipment.driver = pen.luck.choice(DRIVERS)
        shipment.search = searched(shipment)
        pen.changed(shipment)
        said = f"in {shipment.number}"
        events = [move_box(each.box, BoxStage.SENT, said) for each in loaded]
        for each in loaded:
            for lot in each.lots.keys() & self.stock.where.keys():
                self.stock.where[lot].here -= 1
                self.stock.where[lot].gone += 1
        lots = {lot for each in loaded for lot in each.lots.values()}
        shipment.lots = " ".join(sorted(lots))
        products = {each.box.size.product.code for each in loaded}
        shipment.products = " ".join(sorted(products))
        outcome = Sent(shipment.number, shipment.stage, shipment.boxes, shipment.sets)
        sent = {"shipment": shipment.id, "driver": shipment.driver}
        rows = [event, *events]
        pen.act("send_shipment", clerk, outcome, rows, [shipment], None, sent)

    # -- Holds ---------------------------------------------------------------------

    def hold(self) -> None:
        """Hold one of the lots that were used up last, if there is one."""
        free = [lot for lot in self.stock.empty if lot not in self.holds]
        if not free:
            return
        lot = self.pen.luck.choice(free)
        reason = self.pen.luck.choice(REASONS)
        self.pen.begins()
        hold = bulk.fresh(Hold, lot_id=lot, reason=reason)
        where, quality = self.stock.where[lot], self.house.people["quality"]
        sent = {"target": "lot", "value": lot, "reason": reason}
        # The outcome names the hold, so it has its id before the act is written.
        outcome = Held(self.pen.numbered(hold), where.here, where.gone)
        self.pen.act("place_hold", quality, outcome, [hold], (), None, sent)
        self.holds[lot] = hold

    def lift(self) -> None:
        """Lift the hold that stands longest; somebody else does it."""
        lot = next(iter(self.holds), None)
        if lot is None:
            return
        self.pen.begins()
        hold = self.holds.pop(lot)
        sent = {"hold": hold.id, "reason": OVER}
        deputy, outcome = self.house.people["deputy"], Lifted(hold_id=hold.id)
        row = bulk.fresh(Lift, hold=hold, reason=OVER)
        self.pen.act("lift_hold", deputy, outcome, [row], (), None, sent)

    # -- The end -------------------------------------------------------------------

    def leave_work(self) -> None:
        """Leave work as it is in the middle of a day: on every bench, belt and dock."""
        first, second, *_ = self.house.benches
        self.stock.leave_work()
        self.load(LOADS[0])
        box, _lots = self.close(second)
        self.print_label(box, second)
        _box, filling = self.start(first)
        for row in filling.in_box:
            self.pen.made(row)
        for (bench, _part), bag in self.open_bags.items():
            self.pen.made(
                bulk.fresh(OpenBag, bench_id=bench, part=bag.lot.part, bag=bag)
            )
        for _ in range(HELD_AT_LAST):
            self.hold()
