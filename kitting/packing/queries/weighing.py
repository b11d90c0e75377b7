"""What a box weighs by what is in it, and at which mass somebody lets it close."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from kitting.domain.errors import Refused
from kitting.domain.weighing import Window
from kitting.ledger.kept import Kept
from kitting.ledger.weighed import Weighed, scale_u, weighed
from kitting.models import AllowedMass, Box, BoxLine, Movement, Part


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
