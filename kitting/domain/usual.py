"""How many pieces a bag of a part usually holds, and which counts are far from that.

A slip of the finger leaves a digit out or types one too many: the count is a tenth, or
ten times as much. Half a bag, a rest and a larger container are everyday.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median_low
from typing import Final

FEWEST: Final = 3
"""Bags from which on there is something usual."""
TIMES_MORE: Final = 5
PARTS_LESS: Final = 10


def usual(counts: Sequence[int]) -> int | None:
    """Give what a bag usually holds: half of the bags hold no more.

    Args:
        counts: Pieces in each of the last bags, as they came in.

    Returns:
        The median; None from fewer than ``FEWEST`` bags.

    >>> usual([100, 100, 18]), usual([100, 100])
    (100, None)
    """
    return median_low(counts) if len(counts) >= FEWEST else None


def is_far(pieces: int, common: int | None) -> bool:
    """Tell whether a count is to be asked about.

    Args:
        pieces: The count, at least 1.
        common: What a bag usually holds; None if nobody knows.

    Returns:
        Whether it is five times as much or more, or a tenth or less.

    >>> is_far(1_000, 100), is_far(10, 100), is_far(18, 100)
    (True, True, False)
    """
    if common is None:
        return False
    return pieces >= TIMES_MORE * common or pieces * PARTS_LESS <= common
