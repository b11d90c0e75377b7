"""Acts of the random ledger that count bags again and send pieces to tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from kitting.models import Bag
from kitting.services import counts, samples

pick = st.integers(min_value=0, max_value=10_000)


class Counting:
    """Mixed into the machine, which does the acts and compares."""

    act: Callable[..., None]
    one_of: Callable[..., int | None]

    @rule(at=pick, by=st.sampled_from([-2, -1, 0, 1, 3, -99]), twice=st.booleans())
    def count_again(self, at: int, by: int, twice: bool) -> None:
        if (pk := self.one_of(Bag, at)) is not None:
            values: dict[str, Any] = {
                "bag_id": pk,
                "counted": max(0, Bag.objects.get(pk=pk).pieces + by),
                "counted_by": "hand",
                "reason": "Counted again",
            }
            self.act(counts.count_again, **values, twice=twice)

    @rule(at=pick, n=st.integers(1, 5), twice=st.booleans())
    def send_to_test(self, at: int, n: int, twice: bool) -> None:
        if (pk := self.one_of(Bag, at)) is not None:
            values = {"bag_id": pk, "what_for": "Swab", "sent_to": "Laboratory"}
            self.act(samples.send_to_test, pieces=n, **values, twice=twice)
