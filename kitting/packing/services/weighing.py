"""The mass of a box: compared with its window, or allowed by somebody who may."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from kitting.domain.errors import Conflict, Refused
from kitting.domain.figures import written
from kitting.domain.masses import need_mass
from kitting.domain.stages import BoxStage
from kitting.domain.weighing import grams, readings_apart
from kitting.ledger import locking
from kitting.ledger.needs import need_reason, wrong_box
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.weighed import scale_u
from kitting.models import AllowedMass, Bench, Box, BoxLine
from kitting.packing.queries.weighing import (
    allowed_now,
    in_box,
    moves_of,
    reading_of,
)
from kitting.packing.steps import filling_of, need_complete

MOST_NAMED: Final = 3
"""So many parts are named that fit alike."""


@dataclass(frozen=True)
class Passed:
    """By what a mass passed; nothing of it where the box is not weighed."""

    low_mg: int | None = None
    high_mg: int | None = None
    allowed: int | None = None
    """Id of the row by which somebody let it pass outside of these."""
    sent: bool = False
    """Whether the scale sent it."""


@dataclass(frozen=True)
class Allowed:
    """A mass at which a box may close outside of its window."""

    box: str
    mass_mg: int
    low_mg: int
    high_mg: int


@dataclass(frozen=True)
class _Compared:
    """A mass beside the window of the box."""

    mass_mg: int
    low_mg: int
    high_mg: int
    off_mg: int
    """How far it is from what the box should weigh."""
    singles: list[str]
    """Parts of which a single piece explains that, the best first."""

    @property
    def inside(self) -> bool:
        return self.low_mg <= self.mass_mg <= self.high_mg


def weigh(box: Box, lines: list[BoxLine], mass_mg: int | None, now: datetime) -> Passed:
    """Let a box that is being closed keep its mass, if that passes.

    Args:
        box: The box, locked, with its size, carton and bench; it is changed in memory.
        lines: What is in it, with lots and parts.
        mass_mg: What the scale shows, as it was typed; None for what it sent.
        now: The moment.

    Returns:
        By what it passed.

    Raises:
        Refused: ``box_not_weighed``, ``scale_not_emptied``, ``box_is_not_weighed``,
            ``bench_without_scale``, ``scale_overloaded``, ``mass_out_of_range``, ``mass_missing``;
            ``box_light``, ``box_heavy`` and their like outside of its window.
    """
    if not box.size.weigh:
        if mass_mg is not None:
            raise Refused("box_is_not_weighed", box=box.number)
        return Passed()
    sent = mass_mg is None
    if mass_mg is None:
        reading = reading_of(box, now)
        if reading.left_on:
            raise Refused("scale_not_emptied", box=box.number)
        mass_mg = reading.mass_mg
    if mass_mg is None or box.bench is None:
        raise Refused("box_not_weighed", box=box.number)
    found = _compare(box, box.bench, lines, mass_mg)
    allowed = None
    if not found.inside:
        allowed = allowed_now(box)
        if allowed is None or abs(mass_mg - allowed.mass_mg) > allowed.within_mg:
            raise _outside(box, box.bench, found)
    box.mass_mg = mass_mg
    return Passed(found.low_mg, found.high_mg, allowed.pk if allowed else None, sent)


def allow_mass(
    *, box_id: int, mass_mg: int, reason: str, seen: int, sign: Sign
) -> Allowed:
    """Let an open box close at a mass outside of its window, as it is now.

    Its packer weighs it once more and closes it. As soon as anything goes into the box
    or out of it, this holds no more.

    Args:
        box_id: The box; all that it needs is in it.
        mass_mg: What the scale shows.
        reason: Why that is right.
        seen: ``moves_of`` the box that was looked at before.
        sign: Who, when and the operation key.

    Returns:
        The box and its mass.

    Raises:
        Conflict: ``page_is_old`` if the box has changed meanwhile.
        Missing: If there is no such box.
        Refused: ``mass_is_inside``, ``reason_missing``, ``box_not_complete``, and what
            ``weigh`` refuses besides.
        WrongStage: If the box is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Allowed:
        box = locking.lock_row(Box, box_id, "size__carton", "bench")
        why = need_reason(reason)
        if box.stage != BoxStage.OPEN:
            raise wrong_box(box, str(BoxStage.OPEN))
        if not box.size.weigh or box.bench is None:
            raise Refused("box_is_not_weighed", box=box.number)
        moves = moves_of(box)
        if moves != seen:
            raise Conflict("page_is_old")
        filling = filling_of(box)
        need_complete(filling)
        found = _compare(box, box.bench, filling.in_box, mass_mg)
        if found.inside:
            raise Refused("mass_is_inside", read=_g(mass_mg), box=box.number)
        apart = int(readings_apart(scale_u(box.bench)) * 1000)
        row = AllowedMass(
            box=box,
            mass_mg=mass_mg,
            within_mg=max(apart, box.bench.scale_step_mg or 0),
            moves=moves,
            reason=why,
        )
        act.write(row)
        return Allowed(box.number, mass_mg, found.low_mg, found.high_mg)

    sent = {"box": box_id, "mass": mass_mg, "reason": reason, "seen": seen}
    return perform("allow_mass", work, Allowed, sign, **sent)


def _compare(box: Box, bench: Bench, lines: list[BoxLine], mass_mg: int) -> _Compared:
    need_mass(grams(mass_mg))
    u, most = scale_u(bench), bench.scale_most_mg or 0
    if mass_mg > most:
        raise Refused("scale_overloaded", read=_g(mass_mg), most=_g(most))
    found = in_box(box, lines)
    window = found.window(u)
    singles = found.singles(mass_mg, u)
    return _Compared(
        mass_mg=mass_mg,
        low_mg=int(window.low_g * 1000),
        high_mg=int(window.high_g * 1000),
        off_mg=mass_mg - int(window.expected_g * 1000),
        singles=[found.names[each.part] for each in singles[:MOST_NAMED]],
    )


def _outside(box: Box, bench: Bench, found: _Compared) -> Refused:
    """Say by how much a box is off, and which single piece explains it.

    A reading below the window fits no piece too many, nor one above it a missing one.
    """
    step = bench.scale_step_mg or 1
    by = max(step, round(abs(found.off_mg) / step) * step)
    code = "box_light" if found.off_mg < 0 else "box_heavy"
    if found.singles:
        code += "_one" if len(found.singles) == 1 else "_some"
    return Refused(code, box=box.number, by=_g(by), parts=", ".join(found.singles))


def _g(mass_mg: int) -> str:
    return written(mass_mg, 1000)
