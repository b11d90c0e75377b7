"""What was done last at a bench, and whether that can be undone."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from kitting.domain.stages import MovementKind
from kitting.ledger.kept import KeptLines
from kitting.models import BoxHanded, Movement, Operation, Place
from kitting.models.catalogue import PlaceKind

UNDO: Final = "undo"
"""The act by which another one is undone."""
CAN_BE_UNDONE: Final = (
    "bring_bag",
    "find_pieces",
    "miss_pieces",
    "start_box",
    "take_off_bench",
)
"""Acts at a bench that can be undone; what closes, prints or scraps is not among them."""
HAND_OVER: Final = "hand_over"
"""The act after which a box is at another bench; it is taken back by one more."""
STOP: Final = "stop_after"
"""The act after which no other box starts by itself; it moves nothing."""
OPPOSITE: Final = {
    MovementKind.PACKED: MovementKind.UNPACKED,
    MovementKind.UNPACKED: MovementKind.PACKED,
}
"""Kinds of movement that are corrected by another kind, not by their own."""
MOST_ACTS: Final = 60
"""So far back a bench is looked through; an undo and what it undid are two."""


@dataclass(frozen=True)
class Past:
    """An act that was done at a bench."""

    pk: int
    """Its operation."""
    name: str
    """Its name in the journal."""
    gave: Mapping[str, Any]
    """What it gave, by name."""


@dataclass(frozen=True)
class Acts:
    """The newest acts of a bench."""

    last: Past | None = None
    """The newest that was not undone; undoing is none itself, nor is it to put a finished
    box away."""
    undone: frozenset[int] = field(default=frozenset())
    """Operations since then that were undone."""

    @property
    def can_be_undone(self) -> bool:
        """Whether the last one is of a kind that can be undone."""
        return self.last is not None and self.last.name in CAN_BE_UNDONE


def done_at(bench_id: int, most: int = MOST_ACTS) -> list[tuple[int, str, str]]:
    """Give the newest acts at a bench, and those by which it was given a box.

    Args:
        bench_id: The bench.
        most: How many at most.

    Returns:
        The operation, name and outcome of each, the newest first.
    """
    # Each bench is asked for by an index of its own; together they would need none.
    return sorted([*_newest(most)(bench_id), *_GIVEN(bench_id)], reverse=True)


def _sealed() -> QuerySet[Operation, tuple[int, str, str]]:
    acts = Operation.objects.filter(link__isnull=False).order_by("-pk")
    return acts.values_list("pk", "name", "link__outcome")


@cache
def _newest(most: int) -> KeptLines:
    """So many of the newest acts at a bench."""
    return KeptLines(lambda bench: _sealed().filter(bench=bench)[:most])


def _given(bench: int) -> QuerySet[Operation, tuple[int, str, str]]:
    came = BoxHanded.objects.filter(bench=bench).order_by("-pk")
    return _sealed().filter(pk=Subquery(came.values("operation")[:1]))


_GIVEN: Final = KeptLines(_given)
"""The act by which a bench was given a box last."""


def acts_at(bench_id: int) -> Acts:
    """Give the newest acts of a bench.

    Where it was given a box, that comes last of all: nothing before it is undone,
    though nobody at the bench did it.

    Args:
        bench_id: The bench.

    Returns:
        The last one that was not undone, and what was undone since.
    """
    undone: set[int] = set()
    for pk, name, outcome in done_at(bench_id):
        gave = json.loads(outcome)
        if name == UNDO:
            undone.add(gave["of"])
        elif pk not in undone and name != STOP and not _carries_off(name, gave):
            return Acts(Past(pk, name, gave), frozenset(undone))
    return Acts(undone=frozenset(undone))


def _carries_off(name: str, gave: Mapping[str, Any]) -> bool:
    """Whether an act put a finished box away: it touches nothing that is open here."""
    if name != "put_box":
        return False
    ready = Place.objects.filter(code=gave["place"], kind=PlaceKind.READY)
    return ready.exists()


def not_undone(rows: QuerySet[Any]) -> QuerySet[Any]:
    """Leave out what was written by acts that were undone.

    Args:
        rows: Guarded rows of acts that move something.

    Returns:
        Those of acts of which no movement was corrected.
    """
    corrected = Movement.objects.filter(corrects__operation=OuterRef("operation"))
    return rows.exclude(Exists(corrected))
