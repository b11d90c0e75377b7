"""How likely a plan is to accept a lot: its operating characteristic and its risks.

Chances are computed in whole numbers and divided once, at the end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from kitting.domain.errors import Refused
from kitting.domain.exact import Number, exact
from kitting.domain.sampling.plans import Plan

PPM: Final = 1_000_000
CONSUMERS_RISK: Final = Fraction(1, 10)
"""The chance at which the consumer's point is read: 10 % (common practice)."""
POINTS: Final = 41
_END_OF_CURVE: Final = Fraction(1, 100)


@dataclass(frozen=True, slots=True)
class Point:
    """One point of an operating characteristic."""

    bad_ppm: int
    """Bad pieces in a million."""
    chance: float
    """Chance that a lot from such a process is accepted, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Characteristic:
    """The curve of a plan, and the two risks read off it."""

    points: tuple[Point, ...]
    """From no bad piece to where hardly a lot is accepted (1 %), evenly spaced."""
    aql: Point | None
    """At the acceptable quality level; None for a plan without one."""
    producers_risk: float | None
    """Chance that a lot at the AQL is rejected; None for a plan without an AQL."""
    consumers: Point
    """Where a lot is still accepted with a chance of 10 %, to the ppm above."""


def acceptance(plan: Plan, p: Number) -> float:
    """Give the chance that a lot from a process is accepted (type B, binomial).

    On reduced inspection that includes lots that bring normal inspection back.

    Args:
        plan: The plan.
        p: Share of bad pieces that the process makes, 0 to 1.

    Returns:
        The chance, 0 to 1, to the last digit.

    Raises:
        CodeError: ``figure_unreadable`` if the share is no figure.
        Refused: ``share_out_of_range``.

    References:
        ISO 2859-1, operating characteristics; checked against scipy.stats.binom.
    """
    share = exact(p)
    if not 0 <= share <= 1:
        raise Refused("share_out_of_range", read=p)
    wanted, of = _ways(plan, share.numerator, share.denominator)
    return wanted / of


def quality_at(plan: Plan, chance: Number) -> int:
    """Give the quality at which a plan accepts with a given chance.

    Args:
        plan: The plan.
        chance: Chance of acceptance, above 0 and below 1.

    Returns:
        The smallest number of bad pieces in a million at which the chance is no
        longer above the given one.

    Raises:
        CodeError: ``figure_unreadable`` if the chance is no figure.
        Refused: ``chance_out_of_range``.
    """
    wanted = exact(chance)
    if not 0 < wanted < 1:
        raise Refused("chance_out_of_range", read=chance)
    above, at = 0, PPM
    while at - above > 1:
        middle = (above + at) // 2
        ways, of = _ways(plan, middle, PPM)
        if ways * wanted.denominator > of * wanted.numerator:
            above = middle
        else:
            at = middle
    return at


def operating_characteristic(plan: Plan) -> Characteristic:
    """Give the curve of a plan, with producer's and consumer's risk.

    Args:
        plan: The plan.

    Returns:
        The curve; its chances never rise.
    """
    end = quality_at(plan, _END_OF_CURVE)
    drawn = tuple(_point(plan, end * i // (POINTS - 1)) for i in range(POINTS))
    aql = None
    if plan.aql_percent is not None:
        aql = _point(plan, int(plan.aql_percent * PPM / 100))
    return Characteristic(
        points=drawn,
        aql=aql,
        producers_risk=None if aql is None else _rejected(plan, aql.bad_ppm),
        consumers=_point(plan, quality_at(plan, CONSUMERS_RISK)),
    )


def _point(plan: Plan, bad_ppm: int) -> Point:
    wanted, of = _ways(plan, bad_ppm, PPM)
    return Point(bad_ppm, wanted / of)


def _rejected(plan: Plan, bad_ppm: int) -> float:
    wanted, of = _ways(plan, bad_ppm, PPM)
    return (of - wanted) / of


def _ways(plan: Plan, bad: int, of: int) -> tuple[int, int]:
    """Give the chance of acceptance as two whole numbers, for bad pieces out of so many."""
    size = plan.sample_size
    most = min(plan.reject - 1, size)
    good = of - bad
    # The high power of good pieces is common to all terms; taken out, it is made once.
    wanted = sum(
        math.comb(size, k) * bad**k * good ** (most - k) for k in range(most + 1)
    )
    return wanted * good ** (size - most), of**size
