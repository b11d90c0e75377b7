"""Measured figures as people enter them, and doubts about their unit.

A figure is written with a decimal point or comma and becomes a whole number of a small
unit, exactly; what is finer than that unit is rounded to the side that is asked for.
"""

from __future__ import annotations

import re
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from enum import StrEnum
from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.shown import shown

_FIGURE: Final = re.compile(
    r"(?P<sign>[-\u2212]?)(?P<figure>[0-9]{1,12}([.,][0-9]{1,12})?)"
)
_EXACT: Final = Context(prec=40)
DOUBTED: Final = 5
"""A reading so many times above or below what is expected is asked about: a swapped
unit is at least 10 times out, a lamp that fades is not 5 times out unnoticed."""
USUAL_UW_CM2: Final = (100, 100_000)
"""0.1 to 100 mW/cm²: where nothing was read before, a reading outside is asked about.
Common practice for low-pressure lamps over a line; no limit of any standard."""


class IrradianceUnit(StrEnum):
    """The unit that a meter shows."""

    MW_CM2 = "mW/cm²"
    W_M2 = "W/m²"
    UW_CM2 = "µW/cm²"


UW_CM2_IN: Final[dict[IrradianceUnit, int]] = {
    IrradianceUnit.MW_CM2: 1000,
    IrradianceUnit.W_M2: 100,
    IrradianceUnit.UW_CM2: 1,
}
"""µW/cm² in one of each unit (SI: 1 W/m² = 0.1 mW/cm²)."""


def scaled(text: str, by: int, *, up: bool = False) -> int:
    """Read a figure and give it as a whole number of a smaller unit.

    Args:
        text: Digits with at most one decimal point or comma; blanks around it.
        by: How many of the smaller unit make one of the unit it is written in.
        up: Round what is finer than the smaller unit up; else it is rounded down.

    Returns:
        The figure in the smaller unit, 0 or more.

    Raises:
        CodeError: ``figure_missing``, ``figure_unreadable`` or ``figure_negative``.

    >>> scaled("4.12", 1000), scaled("4,12", 1000), scaled("0.0005", 1000, up=True)
    (4120, 4120, 1)
    """
    bare = text.strip()
    if not bare:
        raise CodeError("figure_missing")
    found = _FIGURE.fullmatch(bare)
    if found is None:
        raise CodeError("figure_unreadable", read=shown(bare))
    if found["sign"]:
        raise CodeError("figure_negative", read=shown(bare))
    exact = _EXACT.multiply(Decimal(found["figure"].replace(",", ".")), Decimal(by))
    return int(exact.to_integral_value(ROUND_CEILING if up else ROUND_FLOOR))


def written(value: int, per: int) -> str:
    """Write a whole number of a small unit in the larger one, without rounding.

    Args:
        value: The figure in the small unit, 0 or more.
        per: How many of the small unit make one of the larger; a power of ten.

    Returns:
        Digits with a decimal point where one is needed.

    >>> written(4120, 1000), written(4000, 1000)
    ('4.12', '4')
    """
    whole, rest = divmod(value, per)
    digits = str(rest).zfill(len(str(per)) - 1).rstrip("0")
    return f"{whole}.{digits}" if digits else str(whole)


def doubtful(uw_cm2: int, expected_uw_cm2: int | None) -> bool:
    """Tell whether a reading looks as if it stood in another unit.

    Args:
        uw_cm2: The reading.
        expected_uw_cm2: What the same point showed before; None where nothing did.

    Returns:
        True if somebody should look at the meter again before it counts.

    >>> doubtful(40_000, 4_000), doubtful(3_400, 4_000), doubtful(4, None)
    (True, False, True)
    """
    if expected_uw_cm2 is None:
        low, high = USUAL_UW_CM2
        return not low <= uw_cm2 <= high
    return uw_cm2 * DOUBTED <= expected_uw_cm2 or uw_cm2 >= expected_uw_cm2 * DOUBTED
