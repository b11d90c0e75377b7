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


def significant(value: Decimal, digits: int, *, up: bool = False) -> Decimal:
    """Give a figure with so many significant digits, or all that it has.

    Args:
        value: The figure, 0 or more.
        digits: How many, at least 1.
        up: Round up; else down.

    Returns:
        The figure; where its last digit stands tells how many of them count.

    >>> significant(Decimal("7.58"), 2, up=True), significant(Decimal("12590"), 3)
    (Decimal('7.6'), Decimal('1.25E+4'))
    """
    return _rounded(value, value.adjusted() - digits + 1, up=up)


def told(
    value: Decimal, uncertainty: Decimal | None = None, limit: Decimal | None = None
) -> Decimal:
    """Give a figure with no more digits than are known of it, rounded down.

    Args:
        value: The figure, 0 or more, in the unit in which it is told.
        uncertainty: Its expanded uncertainty in the same unit; None or 0 where nobody
            knows it.
        limit: What the figure must reach at least, if it is judged.

    Returns:
        The figure to the place of the second significant digit of its uncertainty;
        without one three significant digits. A figure below the limit stays below it.
        One that reaches it gets as many digits more as show that.

    References:
        JCGM 100:2008 (GUM; ISO/IEC Guide 98-3:2008) 7.2.6: at most two significant
        digits of an uncertainty, and the value to the same place. From memory.

    >>> told(Decimal("1259.029"), Decimal("95.4"))
    Decimal('1259')
    >>> told(Decimal("99.97")), told(Decimal("100.04"), limit=Decimal("100.02"))
    (Decimal('99.9'), Decimal('100.04'))
    """
    if uncertainty:
        # 0.0996 is 0.10 to two digits: its last place is that of the rounded one.
        rounded = significant(uncertainty, 2, up=True)
        figure = _rounded(value, rounded.adjusted() - 1)
    else:
        figure = significant(value, 3)
    if limit is not None and figure < limit <= value:
        figure = _rounded(value, _last_place(limit.normalize()))
    return figure


def _rounded(value: Decimal, place: int, *, up: bool = False) -> Decimal:
    """Round at a place, or where the figure ends if that is before it."""
    place = max(place, min(0, _last_place(value))) if value else 0
    way = ROUND_CEILING if up else ROUND_FLOOR
    return value.quantize(Decimal(1).scaleb(place), way, _EXACT)


def _last_place(value: Decimal) -> int:
    return int(value.as_tuple().exponent)


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
