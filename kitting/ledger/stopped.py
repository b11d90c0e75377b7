"""What stops a box, and what must come out of it before it can go on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from kitting.domain.errors import OnHold
from kitting.domain.stages import BagStage, BoxStage
from kitting.ledger.packable import open_too_long
from kitting.ledger.reach import Reach, Why
from kitting.models import Box, BoxLine


@dataclass(frozen=True)
class MustComeOut:
    """Pieces in a box that must not go out with it."""

    lines: tuple[BoxLine, ...]
    """What that is; none where only the box itself is held."""
    apart: bool
    """Whether they can be taken out: the box is open, not held itself, and they can be
    told apart by lot and go back into a bag that is stopped like them."""

    @property
    def out(self) -> str:
        """What to take out: pieces, part and bag."""
        return ", ".join(map(told, self.lines))


@dataclass(frozen=True)
class Stopped(MustComeOut):
    """A box that nothing is added to, closed or labelled while a hold reaches it."""

    why: Why
    """The oldest of its holds."""


def told(line: BoxLine, pieces: int = 0) -> str:
    """Say what a line of a box is: pieces, part and bag.

    Args:
        line: The line, with lot, part and bag.
        pieces: How many of it; all of them unless they are named.

    Returns:
        Such as "6 × Headband (B10000123)".
    """
    return f"{pieces or line.pieces} × {line.lot.part.name} ({line.bag.number})"


def may_go_back(line: BoxLine, reach: Reach) -> bool:
    """Whether the pieces of a line may go back into the bag that they came from.

    They must not be free there of a hold that reaches them, nor be taken for what
    another run has cleared since.

    Args:
        line: The line, with its bag as it is now.
        reach: What is held now.

    Returns:
        False where the bag was cleared again by another run, goes through one, or is
        not held itself while the pieces are.
    """
    bag = line.bag
    if bag.stage in (BagStage.IN_RUN, BagStage.EXPOSED):
        return False
    cleared = bag.stage in (BagStage.CLEARED, BagStage.USED_UP)
    if cleared and bag.cleared_run_id != line.run_id:
        return False
    return reach.bag(bag) or not reach.line(line)


def stopped(box: Box, lines: Iterable[BoxLine], reach: Reach) -> Stopped | None:
    """What stops a box, if a hold reaches it or anything in it.

    Pieces of one lot cannot be told apart by their bag, nor lots of one part by their
    look: a part comes out only where all of it in the box is held and of one lot.

    Args:
        box: The box.
        lines: All its lines, with lot, part and bag.
        reach: What is held now.

    Returns:
        What stops it, or None.
    """
    if not reach:
        return None
    lines = list(lines)
    why = reach.why_box(box, lines)
    if why is None:
        return None
    held = tuple(line for line in lines if reach.line(line))
    return Stopped(held, _can_come_out(box, lines, held, reach), why)


def _can_come_out(
    box: Box, lines: Sequence[BoxLine], out: Sequence[BoxLine], reach: Reach
) -> bool:
    lots: dict[int, set[int]] = {}
    for line in lines:
        lots.setdefault(line.lot.part_id, set()).add(line.lot_id)
    parts = {line.lot.part_id for line in out}
    return (
        box.stage == BoxStage.OPEN
        and not reach.on(box)
        and all(len(lots[part]) == 1 for part in parts)
        and all(line in out for line in lines if line.lot.part_id in parts)
        and all(may_go_back(line, reach) for line in out)
    )


def overdue_in(
    box: Box, lines: Iterable[BoxLine], reach: Reach, now: datetime
) -> MustComeOut | None:
    """What in an open box is out of bags that were open for too long: it is not closed.

    Args:
        box: The box.
        lines: All its lines, with lot, part and bag.
        reach: What is held now.
        now: The moment.

    Returns:
        Those pieces, or None.
    """
    lines = list(lines)
    out = tuple(line for line in lines if open_too_long(line.bag, line.lot, now))
    if not out or box.stage != BoxStage.OPEN:
        return None
    return MustComeOut(out, _can_come_out(box, lines, out, reach))


def refuse_held_box(box: Box, lines: Iterable[BoxLine], reach: Reach) -> None:
    """Refuse a box that a hold reaches, and say what to take out of it.

    Args:
        box: The box.
        lines: All its lines, with lot, part and bag.
        reach: What is held now.

    Raises:
        OnHold: If it or anything in it is held: ``held_in_box`` where the pieces can be
            taken out of it, ``held_among_others`` where they cannot, ``box_on_hold``
            for a box that is held itself or is no longer open.
    """
    found = stopped(box, lines, reach)
    if found is None:
        return
    values = {"box": str(box), "by": found.why.by, "reason": found.why.reason}
    if box.stage != BoxStage.OPEN or reach.on(box):
        raise OnHold("box_on_hold", **values)
    code = "held_in_box" if found.apart else "held_among_others"
    raise OnHold(code, out=found.out, **values)
