"""Figures of any kind as exact fractions."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TypeAlias

from kitting.domain.errors import CodeError
from kitting.domain.shown import shown

Number: TypeAlias = int | float | Decimal | Fraction


def exact(value: Number) -> Fraction:
    """Give a figure as a fraction, as it is written.

    Args:
        value: Any finite figure. A float counts as its shortest decimal: 0.1 is one
            tenth, not the binary fraction nearest to it.

    Returns:
        The figure, exactly.

    Raises:
        CodeError: ``figure_unreadable`` for what is not finite or no figure at all.

    >>> exact(0.1), exact(Decimal("2.50"))
    (Fraction(1, 10), Fraction(5, 2))
    """
    try:
        return Fraction(str(value))
    except (ValueError, ZeroDivisionError) as error:
        raise CodeError("figure_unreadable", read=shown(str(value))) from error
