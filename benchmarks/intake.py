"""Taking in a large file, and how long it keeps everybody else from writing."""

from __future__ import annotations

import time
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from benchmarks.measure import Row, seconds
from kitting.lots.services import files
from tests import factories

HEAD = "lot;part;revision;made on;source;bags;pieces per bag;close"


class Held:
    """Notes how long a transaction lasts, from its first statement to its commit."""

    def __init__(self) -> None:
        self.spans: list[float] = []
        self.began: float | None = None
        self.asked = 0.0
        """Of all spans, the time in which the database worked."""

    def __call__(
        self, execute: Any, sql: str, params: Any, many: bool, context: Any
    ) -> Any:
        if self.began is None and connection.in_atomic_block:
            self.began = time.perf_counter()
            transaction.on_commit(self._committed)
        began = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            if self.began is not None:
                self.asked += time.perf_counter() - began

    def _committed(self) -> None:
        assert self.began is not None
        self.spans.append(time.perf_counter() - self.began)
        self.began = None


def rows(count: int) -> list[Row]:
    """A file of so many rows, each a lot of two bags."""
    revision = factories.make_revision(factories.make_part(), "C")
    day = timezone.now().date()
    lines = [
        f"HB-{n};{revision.part.code};C;{day};Print bench;2;100;yes"
        for n in range(1, count + 1)
    ]
    data = "\r\n".join([HEAD, *lines]).encode()
    held = Held()
    with connection.execute_wrapper(held):
        whole = seconds(
            lambda: files.take_in_file(
                data=data, date_order=None, sign=factories.sign(now=timezone.now())
            )
        )
    return [
        Row(
            f"intake of {count:,} rows",
            f"{whole:,.1f} s",
            f"write lock held {max(held.spans):,.2f} s",
            f"{max(held.spans) / whole:.0%} of it",
            "< 30 s, lock ≤ 2 s",
        ),
        Row(
            "  of it, the write lock",
            f"{sum(held.spans):,.2f} s",
            f"its statements alone {held.asked:,.2f} s",
            f"{sum(held.spans) / held.asked:.2f} ×",
        ),
    ]
