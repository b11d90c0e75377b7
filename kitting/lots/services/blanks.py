"""Giving out numbers for blank bag labels."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain import numbers
from kitting.domain.errors import Refused
from kitting.ledger.counters import take
from kitting.ledger.operations import Act, Sign, perform

MOST_NUMBERS = 500
"""How many blank bag numbers are given out at once."""


@dataclass(frozen=True)
class GivenOut:
    """Numbers for blank labels, in order."""

    numbers: list[str]


def give_out_numbers(*, count: int, sign: Sign) -> GivenOut:
    """Give out bag numbers for blank labels; they come to life when first scanned.

    Args:
        count: How many, 1 to ``MOST_NUMBERS``.
        sign: Who, when and the operation key.

    Returns:
        The numbers.

    Raises:
        Refused: ``count_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> GivenOut:
        if not 1 <= count <= MOST_NUMBERS:
            raise Refused("count_out_of_range", read=count, most=MOST_NUMBERS)
        return GivenOut(take(act.workshop.site, numbers.Kind.BAG, count))

    return perform("give_out_numbers", work, GivenOut, sign, count=count)
