"""Acts of the random ledger once boxes have left: received, passed on, back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from dispatch.domain.receipts import BoxSaid, Found, Said
from dispatch.models import Consignee, Shipment, ShipmentBox
from dispatch.receipts.services import deliveries, passing, returns
from kitting.domain.stages import GONE, GONE_SHIPMENTS
from kitting.models import Box, Place

pick = st.integers(min_value=0, max_value=10_000)
again = st.booleans()


class Receipts:
    """Mixed into the machine, which does the acts and compares."""

    act: Callable[..., None]
    one_of: Callable[..., int | None]
    places: Sequence[Place]
    consignees: Sequence[Consignee]
    moment: datetime

    @rule(at=pick, box=pick, found=st.sampled_from([*Found, None]), twice=again)
    def receive(self, at: int, box: int, found: Found | None, twice: bool) -> None:
        """Record a delivery; of one that is on record correct it, or settle it."""
        gone = {"stage__in": GONE_SHIPMENTS}
        if (pk := self.one_of(Shipment, at, **gone)) is None:
            return
        shipment = Shipment.objects.get(pk=pk)
        newest = shipment.receipts.values_list("pk", flat=True).last()
        if newest is not None and box % 3 == 0:
            settled = {"seen": newest, "note": "Asked"}
            settle = deliveries.settle_delivery
            self.act(settle, shipment_id=pk, twice=twice, **settled)
            return
        odd = self.one_of(Box, box, shipment_boxes__shipment=pk)
        told = [BoxSaid(odd, found)] if found and odd else []
        there = shipment.boxes - (found == Found.ABSENT)
        assert shipment.sent_at is not None
        said = Said("Goods in", shipment.sent_at, there, of_boxes=tuple(told))
        if newest is None:
            values: dict[str, Any] = {}
            call: Callable[..., Any] = deliveries.record_delivery
        else:
            values = {"seen": newest, "reason": "Misread"}
            call = deliveries.correct_delivery
        self.act(call, shipment_id=pk, said=said, twice=twice, **values)

    @rule(at=pick, sets=st.sampled_from([1, 2, 6]), opened=again, twice=again)
    def come_back(self, at: int, sets: int, opened: bool, twice: bool) -> None:
        if (pk := self.one_of(Box, at, stage__in=tuple(GONE))) is not None:
            what = {"sets": sets, "opened": opened, "note": "Not wanted"}
            place = self.places[3].pk
            act = returns.record_return
            self.act(act, box_id=pk, place_id=place, twice=twice, **what)

    @rule(at=pick, to=pick, twice=again)
    def pass_on(self, at: int, to: int, twice: bool) -> None:
        if (pk := self.one_of(Box, at, stage__in=tuple(GONE))) is not None:
            load = ShipmentBox.objects.get(box=pk, live=True)
            whom = {"consignee_id": self.consignees[to % 2].pk, "point": ""}
            told = {"told_by": "Store", "on": self.moment.date(), "note": ""}
            where = {"shipment_id": load.shipment_id, "box_ids": [pk]}
            self.act(passing.pass_on, **where, **whom, **told, twice=twice)
