"""Taking times, and the table that is printed."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    what: str
    measured: str
    beside: str = ""
    """What it was measured against in the same run."""
    ratio: str = ""
    limit: str = ""


def seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def medians(works: Sequence[Callable[[], object]], times: int) -> list[float]:
    """Median times in seconds; the works take turns, so that a busy minute hits all."""
    taken = [[seconds(work) for work in works] for _ in range(times)]
    return [statistics.median(column) for column in zip(*taken, strict=True)]


def ms(value: float) -> str:
    return f"{value * 1000:,.1f} ms"


def spread_out(rows: list[Row]) -> str:
    """Set the rows in columns."""
    cells = [("what", "measured", "measured beside it", "ratio", "limit")]
    cells += [(r.what, r.measured, r.beside, r.ratio, r.limit) for r in rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    lines = [
        "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True))
        for row in cells
    ]
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(line.rstrip() for line in lines)
