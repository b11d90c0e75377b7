"""Acts of the random ledger at the dock: asked for, promised, loaded, sent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from dispatch.allotment.queries.proposals import facts_of, first_day
from dispatch.allotment.services import allot, release_promise
from dispatch.domain.needs import Asked
from dispatch.domain.proposal import Chosen
from dispatch.models import (
    Allotment,
    Consignee,
    Pallet,
    PalletBox,
    Promise,
    PromiseRelease,
    Request,
    Shipment,
    ShipmentBox,
)
from dispatch.pallets import services as pallets
from dispatch.requests.queries.promises import open_promises
from dispatch.requests.queries.requests import ready_by_size
from dispatch.requests.services import cancel_request, take_request
from dispatch.shipments import services
from kitting.domain.stages import BoxStage
from kitting.ledger.clock import start_of
from kitting.ledger.reach import standing_reach
from kitting.models import Box, BoxSize, Workshop
from tests import factories

pick = st.integers(min_value=0, max_value=10_000)
again = st.booleans()
doing = st.sampled_from(["ask", "ask", "allot", "allot", "release", "cancel"])
at_a_pallet = st.sampled_from(
    ["begin", *["stack"] * 4, *["load"] * 2, "unload", "break up"]
)
WINDOW = 7


class Dispatch:
    """Mixed into the machine, which does the acts and compares."""

    act: Callable[..., None]
    one_of: Callable[..., int | None]
    consignees: Sequence[Consignee]
    sizes: Sequence[BoxSize]

    @rule(at=pick, twice=again)
    def begin(self, at: int, twice: bool) -> None:
        whom = self.consignees[at % 2].pk
        self.act(services.begin_shipment, consignee_id=whom, reference="", twice=twice)

    @rule(at=pick, box=pick, twice=again)
    def load(self, at: int, box: int, twice: bool) -> None:
        shipment_id = self.one_of(Shipment, at, stage="open")
        wanted = [BoxStage.LABELLED, BoxStage.LOADED]
        box_id = self.one_of(Box, box, stage__in=wanted)
        if shipment_id is None or box_id is None:
            return
        row = Box.objects.select_related("size").get(pk=box_id)
        on = {"shipment_id": shipment_id, "box_id": box_id, "twice": twice}
        if row.stage == BoxStage.LOADED:
            self.act(services.take_off_box, **on)
            return
        free = self._free(row.size)
        self.act(services.load_box, **on)
        put_on = ShipmentBox.objects.filter(box=row, live=True, promise=None)
        if put_on.exists():
            assert free > 0, "It was promised to another."

    def _free(self, size: BoxSize) -> int:
        """Ready boxes of a size beyond what is promised."""
        ready = ready_by_size(size.product_id, standing_reach(), factories.TODAY)
        promised = open_promises([size.product_id]).total()
        return ready.get(size.sets, 0) - promised[size.sets]

    @rule(at=pick, of=pick, does=at_a_pallet, twice=again)
    def stack(self, at: int, of: int, does: str, twice: bool) -> None:
        pallet = self.one_of(Pallet, at, stage="open")
        if does == "begin" or pallet is None:
            self.act(pallets.begin_pallet, twice=twice)
        elif does == "break up":
            values = {"pallet_id": pallet, "reason": "It leans"}
            self.act(pallets.break_up_pallet, **values, twice=twice)
        elif does in ("load", "unload"):
            call = {"load": services.load_pallet, "unload": services.take_off_pallet}
            if (pk := self.one_of(Shipment, of, stage="open")) is not None:
                self.act(call[does], shipment_id=pk, pallet_id=pallet, twice=twice)
        else:
            stands = PalletBox.objects.filter(live=True).values("box")
            box = self.one_of(Box, of, stage=BoxStage.LABELLED)
            if box is not None:
                on = stands.filter(box=box).exists()
                call = pallets.unstack_box if on else pallets.stack_box
                self.act(call, pallet_id=pallet, box_id=box, twice=twice)

    @rule(at=pick, off=st.sampled_from([False, False, True]), twice=again)
    def send(self, at: int, off: bool, twice: bool) -> None:
        if (pk := self.one_of(Shipment, at, stage="open")) is None:
            return
        if off:
            values = {"shipment_id": pk, "reason": "Road closed"}
            self.act(services.cancel_shipment, **values, twice=twice)
        else:
            unlabelled = {"unlabelled": "by hand", "driver": "Driver 2"}
            self.act(services.send_shipment, shipment_id=pk, twice=twice, **unlabelled)

    # -- asked for and promised ------------------------------------------------------

    @rule(what=doing, at=pick, some=st.integers(1, 9), twice=again)
    def allot_or_ask(self, what: str, at: int, some: int, twice: bool) -> None:
        if what == "allot":
            self._allot(some % 3, twice=twice)
        elif what == "ask":
            self._ask(at, some, twice=twice)
        elif what == "release":
            if (pk := self.one_of(Allotment, at)) is not None:
                number = Allotment.objects.get(pk=pk).number
                values = {"number": number, "reason": "Again"}
                self.act(release_promise, **values, twice=twice)
        elif (pk := self.one_of(Request, at, stage="open")) is not None:
            number = Request.objects.get(pk=pk).number
            self.act(cancel_request, number=number, reason="Enough", twice=twice)

    def _ask(self, at: int, sets: int, *, twice: bool) -> None:
        self.act(
            take_request,
            consignee_id=self.consignees[at % 2].pk,
            product_id=self.sizes[0].product_id,
            asked=Asked(sets=sets, tier=at % 2 + 1, way="mail"),
            twice=twice,
        )

    def _allot(self, packing: int, *, twice: bool) -> None:
        product = self.sizes[0].product_id
        workshop = Workshop.objects.get(pk=1)
        since = start_of(workshop, first_day(WINDOW, factories.TODAY))
        seen = facts_of(product, since, factories.TODAY, standing_reach())
        self.act(
            allot,
            product_id=product,
            chosen=Chosen(WINDOW, {self.sizes[0].pk: packing}),
            beyond=seen.beyond,
            seen=seen.mark,
            twice=twice,
        )

    def promises_are_kept_for_whom_they_were_made(self) -> None:
        made: Counter[int] = Counter(dict(Promise.objects.values_list("pk", "boxes")))
        for pk, boxes in PromiseRelease.objects.values_list("promise", "boxes"):
            made[pk] -= boxes
        loads: Any = ShipmentBox.objects.filter(live=True).exclude(promise=None)
        for load in loads.select_related("promise__line__request", "shipment", "box"):
            made[load.promise_id] -= 1
            request = load.promise.line.request
            assert request.pk == load.request_id
            assert request.consignee_id == load.shipment.consignee_id
            assert load.promise.size_id == load.box.size_id
        assert min(made.values(), default=0) >= 0
        lacks = {row.pk: row.sets for row in Request.objects.filter(stage="open")}
        for request, sets in ShipmentBox.objects.filter(
            live=True, back=False, request__in=lacks
        ).values_list("request", "box__size__sets"):
            lacks[request] -= sets
        for row in open_promises([self.sizes[0].product_id]).rows:
            assert row.boxes <= made[row.promise]
            assert (row.boxes - 1) * row.sets < lacks[row.request_id]
