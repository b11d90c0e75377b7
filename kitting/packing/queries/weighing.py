"""What a box weighs by what is in it, and at which mass somebody lets it close."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db.models import Max

from kitting.domain.errors import Refused
from kitting.domain.weighing import Window
from kitting.ledger.clock import LEEWAY
from kitting.ledger.kept import Kept
from kitting.ledger.weighed import Weighed, scale_u, weighed
from kitting.models import AllowedMass, Bench, Box, BoxLine, Movement, Part, Scale


def in_box(box: Box, lines: Iterable[BoxLine]) -> Weighed:
    """Put together what a box weighs by what is in it.

    Args:
        box: The box, with its size and carton.
        lines: What is in it, with lots and parts.

    Returns:
        All of it.

    Raises:
        Refused: ``mass_missing``.
    """
    pieces: Counter[Part] = Counter()
    for line in lines:
        pieces[line.lot.part] += line.pieces
    return weighed(pieces, box.size.carton)


def whole_box(box: Box) -> Window | None:
    """Give the window of a box as it is, for a page.

    Args:
        box: The box, with its size and bench.

    Returns:
        The window on the scale of its bench; None where it cannot be told.
    """
    lines = BoxLine.objects.filter(box=box).select_related("lot__part")
    try:
        return in_box(box, lines).window(scale_u(box.bench)) if box.bench else None
    except Refused:
        return None


FRESH: Final = timedelta(seconds=15)
"""For so long a reading that a scale sent is what it shows."""
EMPTY_MG: Final = 20_000
"""A scale that shows less is empty, some way from its zero: no carton is as light."""


def empty_mg(bench: Bench) -> int:
    """Below which mass in mg the scale of a bench is empty."""
    return max(EMPTY_MG, 5 * (bench.scale_step_mg or 0))


@dataclass(frozen=True)
class Reading:
    """What the scale of a bench sent that may be of its open box."""

    mass_mg: int | None = None
    """None where nothing is to go by."""
    left_on: bool = False
    """Whether what is on it was there before this box."""
    sends: bool = False
    """Whether the scale sends what it shows."""

    def __str__(self) -> str:
        return f"{self.mass_mg or 0}.{self.left_on:d}"


def reading_of(box: Box, now: datetime) -> Reading:
    """Give what the scale of its bench shows of an open box.

    It was read after anything went into the box or out of it, a moment ago, of
    something that was put on the scale after this box came to the bench and every
    other one there was closed.

    Args:
        box: The box.
        now: The moment.

    Returns:
        The reading.
    """
    found = [] if box.bench_id is None else _SCALE(box.bench_id)
    if not found:
        return Reading()
    scale = found[0]
    if scale.mass_mg is None or scale.read_at is None or scale.loaded_at is None:
        return Reading(sends=True)
    if not timedelta() <= now - scale.read_at + LEEWAY <= FRESH + LEEWAY:
        return Reading(sends=True)
    if any(at is not None and scale.loaded_at <= at for at in _before(box)):
        return Reading(left_on=True, sends=True)
    moved = Movement.objects.filter(box=box).aggregate(at=Max("operation__at"))["at"]
    if moved is not None and scale.read_at <= moved:
        return Reading(sends=True)
    return Reading(scale.mass_mg, sends=True)


def _before(box: Box) -> Iterable[datetime | None]:
    """When other boxes of the bench were closed, and when this one came there."""
    others = Box.objects.filter(bench=box.bench_id).exclude(pk=box.pk)
    yield from others.aggregate(at=Max("closed_at")).values()
    came = Box.objects.filter(pk=box.pk).aggregate(
        begun=Max("events__operation__at"),
        brought=Max("puts__operation__at"),
        handed=Max("handed__operation__at"),
    )
    yield from came.values()


_SCALE = Kept(
    lambda bench: Scale.objects.filter(bench=bench, token_sha256__isnull=False)
)


def moves_of(box: Box) -> int:
    """Count what went into a box and out of it: it is another one after each.

    Args:
        box: The box.

    Returns:
        Movements, which are never removed.
    """
    return Movement.objects.filter(box=box).count()


def allowed_now(box: Box) -> AllowedMass | None:
    """Give the mass at which somebody lets a box close as it is now.

    Args:
        box: The box.

    Returns:
        The newest, with its act; None where there is none, or the box has changed.
    """
    newest = next(iter(_NEWEST(box.pk)), None)
    if newest is None or newest.moves != moves_of(box):
        return None
    return newest


_NEWEST = Kept(
    lambda box: (
        AllowedMass.objects.filter(box=box)
        .select_related("operation")
        .order_by("-pk")[:1]
    )
)
