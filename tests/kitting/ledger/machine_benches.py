"""Acts of the random ledger at benches: boxes filled, counted, stopped, given up."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from kitting.domain.commands import end_of
from kitting.domain.prints import DESTROYED
from kitting.domain.stages import BagStage, BoxStage
from kitting.ledger import holds
from kitting.models import Bag, Bench, Box, BoxLine, BoxSize, Hold, OpenBag, Place, User
from kitting.packing.queries.undo import acts_at
from kitting.packing.services import (
    aside,
    boxes,
    hand_over,
    miscounts,
    undo,
    voiding,
)
from kitting.packing.services.labels import print_box_label
from kitting.places.services import places

pick = st.integers(min_value=0, max_value=10_000)
again = st.booleans()


class Benches:
    """Mixed into the machine, which does the acts and compares."""

    act: Callable[..., None]
    one_of: Callable[..., int | None]
    benches: Sequence[Bench]
    sizes: Sequence[BoxSize]
    places: Sequence[Place]
    other: User

    @rule(at=pick, bag=pick, twice=again)
    def bring_bag(self, at: int, bag: int, twice: bool) -> None:
        bag_id = self.one_of(Bag, bag, stage=BagStage.CLEARED)
        if bag_id is None:
            bag_id = self.one_of(Bag, bag)
        if bag_id is not None:
            bench = self.benches[at % 2].pk
            self.act(boxes.bring_bag, bench_id=bench, bag_id=bag_id, twice=twice)

    @rule(at=pick, size=pick, twice=again)
    def start_box(self, at: int, size: int, twice: bool) -> None:
        bench, size_id = self.benches[at % 2].pk, self.sizes[size % 2].pk
        self.act(boxes.start_box, bench_id=bench, size_id=size_id, twice=twice)

    @rule(at=pick, twice=again)
    def close_box(self, at: int, twice: bool) -> None:
        if (pk := self.one_of(Box, at, stage=BoxStage.OPEN)) is not None:
            self.act(boxes.close_box, box_id=pk, twice=twice)

    @rule(at=pick, twice=again)
    def label(self, at: int, twice: bool) -> None:
        if (pk := self.one_of(Box, at, stage=BoxStage.CLOSED)) is not None:
            box = Box.objects.get(pk=pk)
            self.act(print_box_label, box_id=pk, twice=False)
            read = str(box.serial)
            self.act(boxes.see_label, box_id=pk, read=read, twice=twice)

    # One rule for all: the more rules there are, the less far each history gets.
    @rule(at=pick, how=st.integers(0, 4), twice=again)
    def go_wrong(self, at: int, how: int, twice: bool) -> None:
        ways = (self.give_up, self.miscount, self.stop_box, self.undo, self.hand_over)
        ways[how](at, twice)

    def undo(self, at: int, twice: bool) -> None:
        """The last acts at a bench, one after the other, as far as that can be undone."""
        bench = self.benches[at % 2].pk
        for _ in range(1 + at % 3):
            if (last := acts_at(bench).last) is not None:
                of = {"bench_id": bench, "act_id": last.pk}
                self.act(undo.undo, **of, twice=twice)

    def hand_over(self, at: int, twice: bool) -> None:
        """An open box to another bench, which may have one, too."""
        box = Box.objects.filter(pk=self.one_of(Box, at, stage=BoxStage.OPEN)).first()
        if box is not None:
            to = self.benches[at % 3].pk
            of = {"bench_id": box.bench_id, "box_id": box.pk, "to_id": to}
            self.act(hand_over.hand_over, **of, twice=twice)

    def give_up(self, at: int, twice: bool) -> None:
        if (pk := self.one_of(Box, at)) is not None:
            box, what = Box.objects.get(pk=pk), {"box_id": pk, "reason": "Crushed"}
            if box.stage == BoxStage.OPEN:
                line = box.lines.select_related("lot").first()
                parts = [line.lot.part_id] if line is not None and at % 3 == 0 else []
                what |= {"damaged": parts, "apart": at % 2 == 0}
                self.act(voiding.cancel_box, **what, twice=twice)
            else:
                label = str(box.serial) if at % 2 else DESTROYED
                self.act(voiding.void_box, **what, label=label, twice=twice)

    def miscount(self, at: int, twice: bool) -> None:
        """A bag at a bench, open there or used up into its box."""
        bench = self.benches[at % 2]
        used_up = BoxLine.objects.filter(box__bench=bench, box__stage=BoxStage.OPEN)
        here = OpenBag.objects.filter(bench=bench)
        bags = sorted(
            {
                *used_up.values_list("bag", flat=True),
                *here.values_list("bag", flat=True),
            }
        )
        if not bags:
            return
        of = {"bench_id": bench.pk, "bag_id": bags[at % len(bags)], "twice": twice}
        self.act(miscounts.scrap_bad, end=end_of("Dropped"), **of)
        self.act(miscounts.find_pieces, pieces=at % 4, **of)
        self.act(miscounts.miss_pieces, inside=at % 3, **of)

    def stop_box(self, at: int, twice: bool) -> None:
        """Hold a bag in an open box and take it out, or the box: away, and back."""
        box = Box.objects.filter(pk=self.one_of(Box, at, stage=BoxStage.OPEN)).first()
        line = box.lines.first() if box is not None else None
        if box is None or line is None:
            return
        whole = at % 2 == 0
        target, value = ("box", box.pk) if whole else ("bag", line.bag_id)
        why: dict[str, Any] = {"reason": "Crack", "twice": False}
        self.act(holds.place_hold, target=target, value=value, **why)
        if not whole:
            self.act(voiding.take_out, box_id=box.pk, twice=twice)
        else:
            cage = self.places[-1].pk
            self.act(places.put_box, box_id=box.pk, place_id=cage, twice=False)
        held = Hold.objects.filter(**{target: value}, lift__isnull=True)
        for pk in held.values_list("pk", flat=True):
            self.act(holds.lift_hold, hold_id=pk, by=self.other, **why)
        if whole:
            bench = box.bench_id
            self.act(aside.bring_box, bench_id=bench, box_id=box.pk, twice=twice)
