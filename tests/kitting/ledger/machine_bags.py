"""Acts of the random ledger on what is in bags: counted, sampled, scrapped, sorted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from kitting.checking.services import rejected
from kitting.domain.stages import BagStage
from kitting.lots.services import counts, samples, scrap
from kitting.lots.services.cancelling import cancel_lot
from kitting.lots.services.repack import repack
from kitting.models import Bag, Lot, User

pick = st.integers(min_value=0, max_value=10_000)
again = st.booleans()


class Bags:
    """Mixed into the machine, which does the acts and compares."""

    act: Callable[..., None]
    one_of: Callable[..., int | None]
    other: User

    # One rule for all: the more rules there are, the less far each history gets.
    @rule(at=pick, by=st.sampled_from([-99, -3, -2, 0, 3]), twice=again)
    def count_or_take(self, at: int, by: int, twice: bool) -> None:
        if (pk := self.one_of(Bag, at)) is None:
            return
        values: dict[str, Any] = {"bag_id": pk, "twice": twice}
        if by == -2:
            values |= {"what_for": "Swab", "sent_to": "Laboratory"}
            self.act(samples.send_to_test, pieces=-by, **values)
            return
        if by == -3:
            self.act(scrap.scrap, pieces=-by, reason="Dropped", **values)
            return
        self.act(
            counts.count_again,
            counted=max(0, Bag.objects.get(pk=pk).pieces + by),
            counted_by="hand",
            reason="Counted again",
            found=("scrapped", "kept")[at % 2],
            checker_id=self.other.pk,
            **values,
        )

    @rule(at=pick, of=pick, pieces=st.integers(1, 5), join=again, twice=again)
    def repack(self, at: int, of: int, pieces: int, join: bool, twice: bool) -> None:
        """Into new bags of any kind, or to a bag of the same lot."""
        bag_id = self.one_of(Bag, at, pieces__gt=0)
        if bag_id is None:
            return
        values: dict[str, Any] = {"bag_id": bag_id, "pieces": pieces, "twice": twice}
        if join:
            lot = Bag.objects.get(pk=bag_id).lot_id
            other = self.one_of(Bag, of, lot=lot, pieces__gt=0)
            values["into"] = Bag.objects.get(pk=other).number
        else:
            values |= {"bags": 1 + of % 2, "again": of % 5 == 0}
            values["container"] = ("tote", "film pack")[of % 3 == 0]
        self.act(repack, **values)

    @rule(at=pick, twice=again)
    def cancel_lot(self, at: int, twice: bool) -> None:
        lookup = {"verdict": "", "stage__in": ["open", "closed"]}
        if (pk := self.one_of(Lot, at, **lookup)) is not None:
            self.act(cancel_lot, lot_id=pk, reason="Entered twice", twice=twice)

    @rule(at=pick, bad=st.integers(0, 14), twice=again)
    def sort_rejected(self, at: int, bad: int, twice: bool) -> None:
        if (pk := self.one_of(Bag, at, stage=BagStage.REJECTED)) is not None:
            good = Bag.objects.get(pk=pk).pieces - bad
            values: dict[str, Any] = {"good": good, "unlisted": bad, "reason": "Bent"}
            self.act(rejected.sort_bag, bag_id=pk, **values, twice=twice)

    @rule(at=pick, end=st.integers(0, 2), whole=again, twice=again)
    def end_rejected(self, at: int, end: int, whole: bool, twice: bool) -> None:
        if (pk := self.one_of(Bag, at, stage=BagStage.REJECTED)) is not None:
            call = (
                rejected.send_back,
                rejected.accept_under_concession,
                rejected.scrap_rejected,
            )[end]
            lot_id = Bag.objects.get(pk=pk).lot_id
            bags = [] if whole else [pk]
            values: dict[str, Any] = {"bag_ids": bags, "reason": "Damaged"}
            self.act(call, lot_id=lot_id, **values, twice=twice)
