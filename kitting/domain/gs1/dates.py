"""Dates in GS1 element strings: two digits of the year, perhaps no day."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.gs1.keys import is_digits

_DATE_DIGITS: Final = 6
_CENTURY: Final = 100


def is_date(year: int, month: int, day: int, *, day_may_miss: bool) -> bool:
    """Tell whether year, month and day name a date.

    Args:
        year: Full year, from 0.
        month: Month, any number.
        day: Day of the month, any number.
        day_may_miss: Whether day 0, "some day of the month", will do.

    Returns:
        True for a date of the Gregorian calendar.
    """
    if not 1 <= month <= 12:
        return False
    if day == 0:
        return day_may_miss
    # 2000 stands for every leap year and 2001 for every other: year 0 is none of
    # the calendar module's, and four digits may say 0000.
    alike = 2000 if calendar.isleap(year) else 2001
    return day <= calendar.monthrange(alike, month)[1]


def date(yymmdd: str, today: dt.date) -> dt.date:
    """Read the date of an element string.

    Args:
        yymmdd: Six digits; day 00 stands for the last day of the month.
        today: The day on which it is read: it decides the century.

    Returns:
        The date, from 49 years before to 50 years after the current year.

    Raises:
        CodeError: ``gs1_date`` for what is no such date.

    References:
        GS1 General Specifications, 7.12 (century) and 3.4 (day 00).

    >>> date("270200", dt.date(2026, 3, 1))
    datetime.date(2027, 2, 28)
    """
    if not is_digits(yymmdd) or len(yymmdd) != _DATE_DIGITS:
        raise CodeError("gs1_date", value=yymmdd)
    short, month, day = int(yymmdd[:2]), int(yymmdd[2:4]), int(yymmdd[4:])
    ahead = short - today.year % _CENTURY
    year = today.year + ahead
    if ahead >= 51:
        year -= _CENTURY
    elif ahead <= -50:
        year += _CENTURY
    if not is_date(year, month, day, day_may_miss=True):
        raise CodeError("gs1_date", value=yymmdd)
    return dt.date(year, month, day or calendar.monthrange(year, month)[1])


def yymmdd(day: dt.date) -> str:
    """Write a date for an element string.

    Args:
        day: A real day.

    Returns:
        Six digits, year, month, day.
    """
    return f"{day:%y%m%d}"
