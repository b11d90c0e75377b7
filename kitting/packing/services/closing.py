"""Closing a box that is complete, and weighs what it should where it is weighed."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import Final

from kitting.domain import batch, gs1, numbers
from kitting.domain.errors import Refused
from kitting.domain.figures import written
from kitting.domain.masses import need_mass
from kitting.domain.stages import BoxStage
from kitting.domain.weighing import Single, grams
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.counters import take, take_numbers
from kitting.ledger.guards import IDENTITY
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.packable import open_too_long
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import refuse_held_box
from kitting.ledger.weighed import Weighed, scale_u, weighed
from kitting.models import Bench, Box, BoxLine, Part
from kitting.packing.steps import filling_of, move_box


@dataclass(frozen=True)
class ClosedBox:
    """A box with its identity."""

    box_id: int
    serial: str
    sscc: str | None
    batch: str
    mass_mg: int | None = None
    """What it weighs; None where boxes of its size are not weighed."""
    low_mg: int | None = None
    """From where to where it passed."""
    high_mg: int | None = None


def close_box(*, box_id: int, sign: Sign, mass_mg: int | None = None) -> ClosedBox:
    """Close a complete box: it gets its serial, SSCC, dates and kit batch.

    Args:
        box_id: The box.
        sign: Who, when and the operation key.
        mass_mg: What the scale of its bench shows, where boxes of its size are weighed.

    Returns:
        Its identity.

    Raises:
        CodeError: If the workshop's GS1 prefix or a product code breaks its rules.
        Missing: If there is no such box.
        OnHold: If it or anything in it is held.
        Refused: ``box_not_complete``, ``lot_past_use_by``; ``bag_open_too_long`` where
            the box stood open for too long; what ``_weigh`` refuses.
        WrongStage: If it is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> ClosedBox:
        locking.enter_gate()
        box = locking.lock_row(Box, box_id, "size__carton", "recipe__product", "bench")
        filling = filling_of(box)
        if box.stage == BoxStage.OPEN:
            refuse_held_box(box, filling.in_box, standing_reach())
        event = move_box(box, BoxStage.CLOSED)
        for line in filling.pinned.lines:
            if missing := filling.missing(line):
                raise Refused(
                    "box_not_complete",
                    box=box.number,
                    part=line.part.name,
                    missing=missing,
                )
        for row in filling.in_box:
            if refusal := open_too_long(row.bag, row.lot, act.now):
                raise refusal
        window = _weigh(box, filling.in_box, mass_mg)
        today = day_of(act.workshop, act.now)
        box.use_by = _use_by(filling.in_box, today)
        _give_identity(act, box, today)
        bulk.update([box], ["stage", "events_seen", "use_by", "mass_mg", *IDENTITY])
        act.write(event)
        return ClosedBox(
            box_id=box.pk,
            serial=str(box.serial),
            sscc=box.sscc,
            batch=box.batch,
            mass_mg=box.mass_mg,
            low_mg=window[0] if window else None,
            high_mg=window[1] if window else None,
        )

    sent = {"box": box_id} if mass_mg is None else {"box": box_id, "mass": mass_mg}
    return perform("close_box", work, ClosedBox, sign, **sent)


def _weigh(
    box: Box, lines: list[BoxLine], mass_mg: int | None
) -> tuple[int, int] | None:
    """Let a box keep its mass, and give its window; None where it is not weighed.

    Raises:
        Refused: ``box_not_weighed``, ``box_is_not_weighed``, ``bench_without_scale``,
            ``scale_overloaded``, ``mass_out_of_range``, ``mass_missing``;
            ``box_light``, ``box_heavy`` and their like outside of its window.
    """
    if not box.size.weigh:
        if mass_mg is not None:
            raise Refused("box_is_not_weighed", box=box.number)
        return None
    if mass_mg is None or box.bench is None:
        raise Refused("box_not_weighed", box=box.number)
    need_mass(grams(mass_mg))
    u, most = scale_u(box.bench), box.bench.scale_most_mg or 0
    if mass_mg > most:
        raise Refused("scale_overloaded", read=_g(mass_mg), most=_g(most))
    found = in_box(box, lines)
    window = found.window(u)
    low, high = int(window.low_g * 1000), int(window.high_g * 1000)
    if not low <= mass_mg <= high:
        off = mass_mg - int(window.expected_g * 1000)
        raise _outside(box, box.bench, off, _named(found, found.singles(mass_mg, u)))
    box.mass_mg = mass_mg
    return low, high


def in_box(box: Box, lines: list[BoxLine]) -> Weighed:
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


MOST_NAMED: Final = 3
"""So many parts are named that fit alike."""


def _named(found: Weighed, singles: tuple[Single, ...]) -> list[str]:
    return [found.names[each.part] for each in singles[:MOST_NAMED]]


def _outside(box: Box, bench: Bench, off_mg: int, parts: list[str]) -> Refused:
    """Say by how much a box is off, and which single piece explains it.

    A reading below the window fits no piece too many, nor one above it a missing one.
    """
    step = bench.scale_step_mg or 1
    by = max(step, round(abs(off_mg) / step) * step)
    code = "box_light" if off_mg < 0 else "box_heavy"
    if parts:
        code += "_one" if len(parts) == 1 else "_some"
    return Refused(code, box=box.number, by=_g(by), parts=", ".join(parts))


def _g(mass_mg: int) -> str:
    return written(mass_mg, 1000)


def _use_by(lines: list[BoxLine], today: date) -> date | None:
    dates = [line.lot.use_by for line in lines if line.lot.use_by is not None]
    for line in lines:
        if line.lot.use_by is not None and line.lot.use_by < today:
            raise Refused(
                "lot_past_use_by", bag=line.bag.number, use_by=line.lot.use_by
            )
    return min(dates, default=None)


def _give_identity(act: Act, box: Box, today: date) -> None:
    workshop, recipe = act.workshop, box.recipe
    box.packed_on = today
    box.closed_at = act.now
    box.batch = batch.kit_batch(
        workshop.site, recipe.product.code, today, recipe.version
    )
    box.serial = take(workshop.site, numbers.Kind.SERIAL)[0]
    if workshop.gs1_prefix:
        reference = take_numbers(workshop.site, "sscc")[0]
        box.sscc = gs1.sscc(workshop.gs1_prefix, reference)
