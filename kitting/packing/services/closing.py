"""Closing a box that is complete, and weighs what it should where it is weighed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kitting.domain import batch
from kitting.domain.errors import Refused
from kitting.domain.stages import BoxStage
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.counters import take_identity
from kitting.ledger.guards import IDENTITY
from kitting.ledger.kept import foresee
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.packable import open_too_long
from kitting.ledger.reach import reach_of, standing_holds
from kitting.ledger.stopped import refuse_held_box
from kitting.models import Box, BoxLine
from kitting.packing.queries.bench_rows import Left
from kitting.packing.services.weighing import weigh
from kitting.packing.steps import (
    asked_of,
    filling_of,
    move_box,
    need_at_bench,
    need_complete,
)


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
    allowed: int | None = None
    """Id of the row by which somebody let it close outside of that."""
    sent: bool = False
    """Whether the scale sent the mass; else it was typed."""


def close_box(
    *,
    box_id: int,
    sign: Sign,
    mass_mg: int | None = None,
    left: Left | None = None,
    newest: Box | None = None,
) -> ClosedBox:
    """Close a complete box: it gets its serial, SSCC, dates and kit batch.

    Args:
        box_id: The box.
        sign: Who, when and the operation key.
        mass_mg: What the scale of its bench shows, where boxes of its size are weighed
            and it was typed; None for what the scale sent.
        left: Is told what the act leaves, if it is done now and not answered again.
        newest: The box, where it was just read.

    Returns:
        Its identity.

    Raises:
        CodeError: If the workshop's GS1 prefix or a product code breaks its rules.
        Conflict: ``bench_has_another_box`` if it was handed over meanwhile.
        Missing: If there is no such box.
        OnHold: If it or anything in it is held.
        Refused: ``box_not_complete``, ``lot_past_use_by``; ``bag_open_too_long`` where
            the box stood open for too long; what ``weigh`` refuses.
        WrongStage: If it is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> ClosedBox:
        locking.wait_for((Box, box_id))
        its = [] if newest is None else asked_of(newest)
        foresee((locking.by_id(Box, *_BESIDE), box_id), *its)
        box = locking.lock_row(Box, box_id, *_BESIDE)
        need_at_bench(box, sign.bench_id)
        filling = filling_of(box)
        standing = standing_holds()
        reach = reach_of(standing)
        if box.stage == BoxStage.OPEN:
            refuse_held_box(box, filling.in_box, reach)
        event = move_box(box, BoxStage.CLOSED)
        need_complete(filling)
        for row in filling.in_box:
            if refusal := open_too_long(row.bag, row.lot, act.now):
                raise refusal
        passed = weigh(box, filling.in_box, mass_mg, act.now)
        today = day_of(act.workshop, act.now)
        box.use_by = _use_by(filling.in_box, today)
        _give_identity(act, box, today)
        names = ("stage", "events_seen", "use_by", "mass_mg", *IDENTITY)
        bulk.update([box], names, last=True)
        act.write(event)
        if left is not None:
            left.box, left.inside = box, filling.in_box
            left.standing, left.reach = standing, reach
        return ClosedBox(
            box_id=box.pk,
            serial=str(box.serial),
            sscc=box.sscc,
            batch=box.batch,
            mass_mg=box.mass_mg,
            low_mg=passed.low_mg,
            high_mg=passed.high_mg,
            allowed=passed.allowed,
            sent=passed.sent,
        )

    sent = {"box": box_id} if mass_mg is None else {"box": box_id, "mass": mass_mg}
    return perform("close_box", work, ClosedBox, sign, **sent)


_BESIDE = ("size__carton", "size__product", "recipe__product", "bench")


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
    box.serial, box.sscc = take_identity(workshop)
