"""Where a lot's pieces are, to the piece, computed from rows and nothing else.

The services use it for what a page shows, and ``prove`` and the tests as the oracle for
what queries say. For every lot, in its own unit: received + found = in bags + in boxes
here + sent + returned + sampled + made into other lots + scrapped + missing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from kitting.domain.stages import GONE, IN_HOUSE, BoxStage, MovementKind

Id: TypeAlias = int | str


@dataclass(frozen=True, slots=True)
class Move:
    """One movement of a bag."""

    lot: Id
    bag: Id
    box: Id | None
    kind: MovementKind
    pieces: int
    """How many pieces it concerns, in the lot's unit, above 0."""
    delta: int
    """What it changed about the bag's count; 0 where the pieces were in a box."""


@dataclass(frozen=True, slots=True)
class BagCount:
    """What a bag holds now."""

    bag: Id
    lot: Id
    pieces: int


@dataclass(frozen=True, slots=True)
class Line:
    """Pieces of one bag in one box."""

    box: Id
    bag: Id
    lot: Id
    run: Id | None
    """The run under which the bag was cleared when it was packed."""
    pieces: int


@dataclass(frozen=True, slots=True)
class Balance:
    """Where the pieces of one lot are, in the lot's own unit."""

    unit: str
    received: int
    found: int
    in_bags: int
    in_boxes: int
    """In boxes that are still in the workshop."""
    sent: int
    returned: int
    sampled: int
    made_into: int
    scrapped: int
    missing: int
    difference: int
    """Received and found less all the others; 0, or something is wrong."""


def balance(
    lot: Id,
    moves: Iterable[Move],
    bag_counts: Iterable[BagCount],
    lines: Iterable[Line],
    box_stage: Mapping[Id, BoxStage],
    *,
    unit: str = "piece",
) -> Balance:
    """Balance one lot to the piece.

    A row's direction is its delta's: what corrects an earlier movement is a row of the
    same kind with the opposite sign. Pieces in a voided box count by the movement that
    scrapped them (delta 0, box set), and never by the box's lines.

    Args:
        lot: The lot; rows of other lots are passed over.
        moves: Movements, in any order.
        bag_counts: What bags hold now.
        lines: What boxes hold.
        box_stage: Stage by box, at least of every box in the lot's lines.
        unit: The lot's unit: piece, gram or mm.

    Returns:
        The balance, with what does not add up as its difference.
    """
    by_kind: dict[MovementKind, int] = defaultdict(int)
    for move in moves:
        if move.lot == lot:
            by_kind[move.kind] += _signed(move)
    by_stage: dict[BoxStage, int] = defaultdict(int)
    for line in lines:
        if line.lot == lot:
            by_stage[box_stage[line.box]] += line.pieces
    came = {
        "received": by_kind[MovementKind.RECEIVED]
        + by_kind[MovementKind.REPACKED]  # of a whole lot it comes to nothing
        - by_kind[MovementKind.SENT_BACK]
        - by_kind[MovementKind.CANCELLED],
        "found": by_kind[MovementKind.FOUND],
    }
    where = {
        "in_bags": sum(bag.pieces for bag in bag_counts if bag.lot == lot),
        "in_boxes": sum(by_stage[stage] for stage in IN_HOUSE),
        "sent": sum(by_stage[stage] for stage in GONE),
        "returned": by_stage[BoxStage.RETURNED],
        "sampled": by_kind[MovementKind.SAMPLED],
        "made_into": by_kind[MovementKind.MADE_INTO],
        "scrapped": by_kind[MovementKind.SCRAPPED],
        "missing": by_kind[MovementKind.MISSING],
    }
    difference = sum(came.values()) - sum(where.values())
    return Balance(unit=unit, difference=difference, **came, **where)


_INWARD = frozenset({MovementKind.RECEIVED, MovementKind.FOUND, MovementKind.REPACKED})


# Delta 0 is a movement of pieces that were in a box: it goes the usual way.
def _signed(move: Move) -> int:
    against = move.delta < 0 if move.kind in _INWARD else move.delta > 0
    return -move.pieces if against else move.pieces
