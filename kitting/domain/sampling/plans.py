"""How many pieces of a lot to look at, and how many bad ones it may have."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import get_args

from kitting.domain.errors import Refused
from kitting.domain.exact import Number, exact
from kitting.domain.sampling.tables import (
    AQLS,
    LETTERS,
    LEVELS,
    Arrow,
    Numbers,
    Severity,
    cell,
    letter_for,
    sizes,
)
from kitting.domain.shown import shown

SEVERITIES: tuple[str, ...] = get_args(Severity)


@dataclass(frozen=True, slots=True)
class Plan:
    """A single sampling plan for one lot and one class of defect."""

    lot_pieces: int
    letter: str
    """Code letter of the plan used; empty where all pieces are looked at by rule."""
    sample_size: int
    """Pieces to look at, never more than the lot has."""
    accept: int
    """The lot is accepted with so many bad pieces in the sample, or fewer."""
    reject: int
    """The lot is rejected with so many bad pieces in the sample, or more. On reduced
    inspection not the next number: what lies between accepts the lot and ends it."""
    whole_lot: bool
    """All pieces are looked at."""
    level: str = ""
    """Inspection level; empty where all pieces are looked at by rule."""
    aql_percent: Decimal | None = None
    """Acceptable quality level in percent; None where all are looked at by rule."""
    severity: Severity = "normal"
    first_letter: str = ""
    """Code letter of the lot, before arrows."""
    table_size: int = 0
    """Sample size of the plan in the table, which may be larger than the lot."""
    arrows: tuple[Arrow, ...] = ()
    """One for each row walked from the first letter to the letter used."""

    @property
    def between(self) -> range:
        """Bad pieces that accept the lot and bring back normal inspection."""
        return range(self.accept + 1, self.reject)


def plan_for(
    lot_pieces: int, level: str, aql: Number, *, severity: Severity = "normal"
) -> Plan:
    """Give the plan of the tables for a lot.

    Where the sample would be as large as the lot or larger, the whole lot is looked at;
    the acceptance number stays. A lot of one piece, which the tables leave out, is
    accepted only without a bad piece.

    Args:
        lot_pieces: Pieces in the lot, 1 or more.
        level: Inspection level: I, II, III or S-1 to S-4.
        aql: Acceptable quality level in percent defective, one of ``AQLS``.
        severity: Of inspection.

    Returns:
        The plan.

    Raises:
        CodeError: ``figure_unreadable`` if the AQL is no figure.
        Refused: ``pieces_not_positive``, ``level_unknown``, ``aql_unknown`` or
            ``severity_unknown``.

    References:
        MIL-STD-105E, Tables I, II-A, II-B and II-C, with their notes on arrows and on
        samples as large as the lot.

    >>> plan_for(1_000, "II", 1.5).sample_size
    80
    """
    if lot_pieces < 1:
        raise Refused("pieces_not_positive", value=lot_pieces)
    if level not in LEVELS:
        raise Refused("level_unknown", read=shown(level), known=", ".join(LEVELS))
    if severity not in SEVERITIES:
        known = ", ".join(SEVERITIES)
        raise Refused("severity_unknown", read=shown(severity), known=known)
    column = _column(aql)
    first = LETTERS.index(letter_for(lot_pieces, level))
    row, numbers, arrows = _follow(severity, first, column)
    table_size = sizes(severity)[row]
    sample_size = min(table_size, lot_pieces)
    return Plan(
        lot_pieces=lot_pieces,
        letter=LETTERS[row],
        sample_size=sample_size,
        accept=min(numbers.accept, sample_size - 1),
        reject=min(numbers.reject, sample_size),
        whole_lot=sample_size == lot_pieces,
        level=level,
        aql_percent=AQLS[column],
        severity=severity,
        first_letter=LETTERS[first],
        table_size=table_size,
        arrows=arrows,
    )


def all_pieces(lot_pieces: int) -> Plan:
    """Give the plan that looks at every piece and accepts no bad one.

    Args:
        lot_pieces: Pieces in the lot, 1 or more.

    Returns:
        A plan without letter, level and AQL.

    Raises:
        Refused: ``pieces_not_positive``.
    """
    if lot_pieces < 1:
        raise Refused("pieces_not_positive", value=lot_pieces)
    return Plan(
        lot_pieces=lot_pieces,
        letter="",
        sample_size=lot_pieces,
        accept=0,
        reject=1,
        whole_lot=True,
        table_size=lot_pieces,
    )


def _column(aql: Number) -> int:
    wanted = exact(aql)
    for column, known in enumerate(AQLS):
        if known == wanted:
            return column
    raise Refused("aql_unknown", read=aql, known=", ".join(map(str, AQLS)))


# No plan is more than the table's height away: an arrow never turns round.
def _follow(
    table: Severity, row: int, column: int
) -> tuple[int, Numbers, tuple[Arrow, ...]]:
    arrows: list[Arrow] = []
    found = cell(table, row, column)
    while isinstance(found, str):
        arrows.append(found)
        row += 1 if found == "down" else -1
        found = cell(table, row, column)
    return row, found, tuple(arrows)
