"""Acts of the random ledger that count bags again and send pieces to tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from kitting.lots.services import counts, samples
from kitting.models import Bag

pick = st.integers(min_value=0, max_value=10_000)


class Counting:
    """Mixed into the machine, which does the acts and compares."""

    act: Callable[..., None]
    one_of: Callable[..., int | None]

    # One rule for both: the more rules there are, the less far each history gets.
    @rule(at=pick, by=st.sampled_from([-99, -2, 0, 3]), twice=st.booleans())
    def count_or_sample(self, at: int, by: int, twice: bool) -> None:
        if (pk := self.one_of(Bag, at)) is None:
            return
        values: dict[str, Any] = {"bag_id": pk, "twice": twice}
        if by == -2:
            values |= {"what_for": "Swab", "sent_to": "Laboratory"}
            self.act(samples.send_to_test, pieces=-by, **values)
            return
        self.act(
            counts.count_again,
            counted=max(0, Bag.objects.get(pk=pk).pieces + by),
            counted_by="hand",
            reason="Counted again",
            **values,
        )
