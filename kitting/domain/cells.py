"""What stands in one cell of a table that came out of a spreadsheet.

Each reader takes a tidied text and gives a value, or says with a code why it cannot.
None of them guesses: what could be read in two ways is refused.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import Final, Literal, TypeAlias

from kitting.domain.errors import CodeError

DateOrder: TypeAlias = Literal["dmy", "mdy"]

MAX_TEXT: Final = 200
"""Characters of a text, such as the name of a source."""
MAX_NUMBER: Final = 1_000_000_000
"""Pieces, grams or millimetres; fits the database's whole numbers."""
YEARS: Final = range(2000, 2100)

# Zero-width characters and direction marks that copying drags along.
_WIDTHLESS: Final = re.compile("[\u00ad\u200b-\u200f\u2060\ufeff]")
_BLANKS: Final = re.compile(
    "[ \t\n\r\x0b\x0c\x85\u00a0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000]+"
)
_WHOLE: Final = re.compile(
    r"(?P<sign>-?)(?P<whole>[0-9]{1,3}(?: [0-9]{3})+|[0-9]+)(?:[.,](?P<rest>[0-9]+))?"
)
_THOUSANDS: Final = re.compile(r"[0-9]{1,2}(?: [0-9]{3})+")
_MIDNIGHT: Final = re.compile(r"[ T]00:00(?::00)?$")
_DATES: Final = (
    ("ymd", re.compile(r"([0-9]{4})([-/])([0-9]{1,2})\2([0-9]{1,2})")),
    ("dmy", re.compile(r"([0-9]{1,2})(\.)([0-9]{1,2})\.([0-9]{4})")),
    (None, re.compile(r"([0-9]{1,2})(/)([0-9]{1,2})/([0-9]{4})")),
)
_SHORT_YEAR: Final = re.compile(r"[0-9]{1,2}([-./])[0-9]{1,2}\1[0-9]{1,2}")
_YES: Final = frozenset({"1", "closed", "ja", "o", "oui", "true", "x", "y", "yes"})
_NO: Final = frozenset({"0", "false", "n", "nein", "no", "non", "open"})


def tidy(raw: str) -> str:
    """Strip a cell and make every run of blanks in it one blank.

    Args:
        raw: A cell as it stands in the file; no-break blanks and line ends are blanks.

    Returns:
        The text, every character of it printable; perhaps empty.

    Raises:
        CodeError: ``character_unprintable``, such as NUL or a direction override.
    """
    if raw.isascii() and raw.isprintable() and "  " not in raw:
        return raw.strip(" ")  # Nearly every cell, at a tenth of the time.
    text = _BLANKS.sub(" ", _WIDTHLESS.sub("", raw)).strip(" ")
    if not text.isprintable():
        odd = next(character for character in text if not character.isprintable())
        raise CodeError("character_unprintable", character=f"U+{ord(odd):04X}")
    return text


def plain_text(text: str) -> str:
    """Read a text of at most 200 characters.

    Args:
        text: A tidied cell.

    Returns:
        The same text.

    Raises:
        CodeError: ``cell_too_long``.
    """
    if len(text) > MAX_TEXT:
        raise CodeError("cell_too_long", length=len(text), limit=MAX_TEXT)
    return text


def whole(text: str) -> int:
    """Read a whole number from 1 to 1,000,000,000.

    Thousands may be set apart by blanks (1 250), and a decimal comma or point may be
    followed by zeros (1250,0). 1,250 and 1.250 are refused: each is 1250 to one reader
    and one and a quarter to another.

    Args:
        text: A tidied cell.

    Returns:
        The number.

    Raises:
        CodeError: ``number_unreadable``, ``number_ambiguous``, ``number_not_whole``,
            ``number_not_positive`` or ``number_too_large``.

    >>> whole("1 250"), whole("1250,0")
    (1250, 1250)
    """
    found = _WHOLE.fullmatch(text)
    if found is None:
        raise CodeError("number_unreadable")
    digits = found["whole"].replace(" ", "").lstrip("0")
    rest = found["rest"] or ""
    if len(rest) == 3 and digits and len(found["whole"]) <= 3:
        raise CodeError("number_ambiguous")
    if rest.strip("0"):
        raise CodeError("number_not_whole")
    if found["sign"] or not digits:
        raise CodeError("number_not_positive")
    if len(digits) > len(str(MAX_NUMBER)) or int(digits) > MAX_NUMBER:
        raise CodeError("number_too_large", limit=MAX_NUMBER)
    return int(digits)


def counts(text: str) -> tuple[int, ...]:
    """Read a list of counts, one for each bag.

    Args:
        text: A tidied cell: numbers between plus signs or semicolons (100+100+40), or
            between blanks (100 100 40).

    Returns:
        The counts, at least one.

    Raises:
        CodeError: ``counts_ambiguous`` for blanks that could set thousands apart, such
            as 1 250; else as :func:`whole`.

    >>> counts("100 + 100 + 40"), counts("100 100 40")
    ((100, 100, 40), (100, 100, 40))
    """
    if "+" in text or ";" in text:
        parts = [part.strip(" ") for part in re.split("[+;]", text)]
    elif _THOUSANDS.fullmatch(text):
        raise CodeError("counts_ambiguous")
    else:
        parts = text.split(" ")
    return tuple(whole(part) for part in parts)


def day(text: str, order: DateOrder | None = None) -> dt.date:
    """Read a date with a year of four digits.

    Args:
        text: A tidied cell: 2026-03-01, 2026/03/01, 01.03.2026 (day first) or
            01/03/2026; midnight after it is passed over.
        order: Which comes first in 01/03/2026. Without it such a date is read only
            where one of the two cannot be a month, or both are the same.

    Returns:
        The date, from 2000 to 2099.

    Raises:
        CodeError: ``date_unreadable``, ``date_two_digit_year``, ``date_order_unclear``,
            ``date_not_real`` or ``date_year_out_of_range``.

    >>> day("25/03/2026")
    datetime.date(2026, 3, 25)
    """
    bare = _MIDNIGHT.sub("", text)
    for known_order, pattern in _DATES:
        found = pattern.fullmatch(bare)
        if found is not None:
            first, _, second, third = found.groups()
            chosen = known_order or order or _order(int(first), int(second))
            return _real_day(chosen, int(first), int(second), int(third))
    short = _SHORT_YEAR.fullmatch(bare)
    raise CodeError("date_unreadable" if short is None else "date_two_digit_year")


def yes_or_no(text: str) -> bool:
    """Read yes or no.

    Args:
        text: A tidied cell: yes, y, true, x, 1 or closed; no, n, false, 0 or open; ja,
            nein, oui, non.

    Returns:
        True for yes.

    Raises:
        CodeError: ``yes_no_unclear``.
    """
    word = text.casefold()
    if word not in _YES | _NO:
        raise CodeError("yes_no_unclear")
    return word in _YES


def _order(first: int, second: int) -> str:
    if first <= 12 and second <= 12 and first != second:
        raise CodeError("date_order_unclear")
    return "mdy" if second > 12 else "dmy"


def _real_day(order: str, first: int, second: int, third: int) -> dt.date:
    year, month, day_of_month = {
        "ymd": (first, second, third),
        "dmy": (third, second, first),
        "mdy": (third, first, second),
    }[order]
    if year not in YEARS:
        raise CodeError("date_year_out_of_range", first=YEARS[0], last=YEARS[-1])
    try:
        return dt.date(year, month, day_of_month)
    except ValueError:
        raise CodeError("date_not_real") from None
