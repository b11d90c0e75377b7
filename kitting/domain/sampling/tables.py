"""Tables I, II-A, II-B and II-C of MIL-STD-105E, as the rule that they follow.

Down a column of Table II the plans come in one order, and one letter down is one AQL to
the left: a cell is known by the sum of its row and column. The tests compare each cell
with a transcription of the printed tables.

In Table II-C, for reduced inspection, the rejection number is not the next one after the
acceptance number. ISO 2859-1:1999 closed that gap with other numbers; here it is as the
1989 standard has it, like the other tables.

References:
    MIL-STD-105E (1989, withdrawn in 1995); Tables I, II-A and II-B stand in ANSI/ASQ
    Z1.4 and ISO 2859-1 as well.
"""

from __future__ import annotations

from bisect import bisect_left
from decimal import Decimal
from typing import Final, Literal, NamedTuple, TypeAlias

Arrow: TypeAlias = Literal["up", "down"]
Severity: TypeAlias = Literal["normal", "tightened", "reduced"]

LETTERS: Final = "ABCDEFGHJKLMNPQR"
SAMPLE_SIZES: Final = (
    *(2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
)
"""Pieces in the sample, by letter; on reduced inspection ``REDUCED_SIZES``."""
REDUCED_SIZES: Final = (
    *(2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800),
)
AQLS: Final = tuple(
    Decimal(text)
    for text in (
        *("0.065", "0.10", "0.15", "0.25", "0.40", "0.65"),
        *("1.0", "1.5", "2.5", "4.0", "6.5", "10"),
    )
)
"""Acceptable quality levels in percent defective, smallest first."""

_LOT_UP_TO: Final = (
    *(8, 15, 25, 50, 90, 150, 280, 500, 1_200, 3_200, 10_000, 35_000, 150_000, 500_000),
)
"""The last piece of each lot range; the fifteenth range has no end."""
_LETTERS_BY_LEVEL: Final = {
    "S-1": "AAAABBBBCCCCDDD",
    "S-2": "AAABBBCCCDDDEEE",
    "S-3": "AABBCCDDEEFFGGH",
    "S-4": "AABCCDEEFGGHJJK",
    "I": "AABCCDEFGHJKLMN",
    "II": "ABCDEFGHJKLMNPQ",
    "III": "BCDEFGHJKLMNPQR",
}
LEVELS: Final = tuple(_LETTERS_BY_LEVEL)


class Numbers(NamedTuple):
    """The two numbers printed in a cell."""

    accept: int
    """The lot is accepted with so many bad pieces in the sample, or fewer."""
    reject: int
    """The lot is rejected with so many bad pieces in the sample, or more."""


_Column: TypeAlias = tuple[Numbers | Arrow, ...]


def _next(*printed: int | Arrow) -> _Column:
    """A column in which each rejection number is one above the acceptance number."""
    return tuple(
        each if isinstance(each, str) else Numbers(each, each + 1) for each in printed
    )


_GAPS: Final = ((0, 2), (1, 3), (1, 4), (2, 5), (3, 6), (5, 8), (7, 10), (10, 13))
_COLUMNS: Final[dict[Severity, tuple[int, _Column]]] = {
    "normal": (10, _next(0, "up", "down", 1, 2, 3, 5, 7, 10, 14, 21)),
    "tightened": (11, _next(0, "down", "down", 1, 2, 3, 5, 8, 12, 18)),
    "reduced": (10, (*_next(0, "up", "down"), *(Numbers(*gap) for gap in _GAPS))),
}
"""By severity: the diagonal on which acceptance number 0 stands, and what follows.
Above the column every cell points down, below it every cell points up."""
_OFF_DIAGONAL: Final = (0, len(AQLS) - 1)
"""Letter A, AQL 10 points down in all tables, whatever its diagonal says."""


def letter_for(lot_pieces: int, level: str) -> str:
    """Give the code letter of Table I.

    Args:
        lot_pieces: Pieces in the lot, 1 or more. The table begins at 2; a lot of 1 is
            read in its first range.
        level: One of ``LEVELS``.

    Returns:
        One letter of ``LETTERS``.
    """
    return _LETTERS_BY_LEVEL[level][bisect_left(_LOT_UP_TO, lot_pieces)]


def sizes(severity: Severity) -> tuple[int, ...]:
    """Give the sample sizes of a table.

    Args:
        severity: Which table.

    Returns:
        Pieces in the sample, by letter.
    """
    return REDUCED_SIZES if severity == "reduced" else SAMPLE_SIZES


def cell(severity: Severity, row: int, column: int) -> Numbers | Arrow:
    """Give what is printed in one cell of Table II-A, II-B or II-C.

    Args:
        severity: Which table.
        row: Index of the letter in ``LETTERS``.
        column: Index of the AQL in ``AQLS``.

    Returns:
        Acceptance and rejection number, or the arrow to the row that has them.
    """
    if (row, column) == _OFF_DIAGONAL:
        return "down"
    first, sequence = _COLUMNS[severity]
    place = row + column - first
    if place < 0:
        return "down"
    return sequence[place] if place < len(sequence) else "up"
