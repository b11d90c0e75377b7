"""Yield: what a material gives at most, and what was made of it.

A rate says that an amount of a material gives at most so many pieces, such as 9 pieces
from 2 sheets. Materials that went into one lot are all needed for each of its pieces,
so the scarcest of them is the limit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal


@dataclass(frozen=True)
class Rate:
    """At most so many pieces from an amount of a material; both at least 1."""

    pieces: int
    amount: int
    """In the material's own unit: pieces, grams or mm."""

    def most(self, amount: int) -> int:
        """The most whole pieces that an amount gives.

        Args:
            amount: In the material's unit, 0 or more.

        Returns:
            Rounded down: a piece is whole or it is none.

        >>> Rate(pieces=9, amount=2).most(3)
        13
        """
        return amount * self.pieces // self.amount


@dataclass(frozen=True)
class Used:
    """How much of one material went into a lot, from whatever lots of it."""

    material: str
    """Its name."""
    unit: str
    amount: int
    rate: Rate | None = None
    """None where nobody has said what it gives."""

    @property
    def most(self) -> int | None:
        """The most pieces that it gives; None where nobody has said."""
        return None if self.rate is None else self.rate.most(self.amount)


@dataclass(frozen=True)
class Yielded:
    """What was made, and what was possible."""

    pieces: int
    """Pieces received."""
    limit: Used | None
    """The scarcest of the materials with a known rate; None without any."""

    @property
    def possible(self) -> int | None:
        """The most pieces that were possible; None where no rate is known."""
        return None if self.limit is None else self.limit.most

    @property
    def is_impossible(self) -> bool:
        """Whether there are more pieces than the material can have given."""
        return self.possible is not None and self.pieces > self.possible

    @property
    def per_mille(self) -> int | None:
        """Pieces received of those possible, in thousandths, rounded to the nearest.

        None where no rate is known or not one piece was possible.
        """
        if not self.possible:
            return None
        share = Decimal(1000 * self.pieces) / self.possible
        return int(share.quantize(Decimal(1), ROUND_HALF_EVEN))


def judge(pieces: int, used: Iterable[Used]) -> Yielded:
    """Compare the pieces of a lot with what its materials can have given.

    Args:
        pieces: Pieces received, 0 or more.
        used: Each material once, with the whole amount of it.

    Returns:
        The pieces and the material that limits them; the first of those that tie.

    >>> judge(14, [Used("Sheet", "piece", 3, Rate(9, 2))]).is_impossible
    True
    """
    limit: Used | None = None
    for each in used:
        if each.most is None:
            continue
        if limit is None or limit.most is None or each.most < limit.most:
            limit = each
    return Yielded(pieces=pieces, limit=limit)


def ratio(pieces: int, amount: int) -> tuple[Decimal, bool]:
    """The yield as the figure that people say: pieces from one, or how much a piece.

    Args:
        pieces: Pieces received, at least 1.
        amount: Material used, at least 1, in its unit.

    Returns:
        To three significant digits: pieces from one unit and True where it gives one
        piece or more; else units for one piece and False.

    >>> ratio(63, 14)
    (Decimal('4.50'), True)
    >>> ratio(400, 5_200)
    (Decimal('13.0'), False)
    """
    from_one = pieces >= amount
    figure = Decimal(pieces) / amount if from_one else Decimal(amount) / Decimal(pieces)
    # The exponent of the first digit tells where the third one stands.
    third = Decimal(1).scaleb(figure.adjusted() - 2)
    return figure.quantize(third, ROUND_HALF_EVEN), from_one
