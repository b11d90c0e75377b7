"""Boxes that were put away before they were labelled, brought to their bench again."""

from __future__ import annotations

from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.ledger import bulk, locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import refuse_held_box
from kitting.models import Box, BoxPut
from kitting.packing.services.boxes import IN_WORK_AT, BoxMoved, bench_in_use
from kitting.packing.steps import lines_of


def bring_box(*, bench_id: int, box_id: int, sign: Sign) -> BoxMoved:
    """Bring a box that was put away back to the bench where it was begun.

    Args:
        bench_id: The bench; it has no other box in work.
        box_id: The box, open or closed, that stands in quarantine.
        sign: Who, when and the operation key.

    Returns:
        The box by its number at the bench, which scans name, and its stage.

    Raises:
        Conflict: ``bench_has_a_box``.
        Missing: If the bench or box is not there.
        OnHold: If it or anything in it is held.
        Refused: ``bench_closed``; ``box_of_another_bench``.
        WrongStage: ``box_not_put_away`` if it is not put away, or labelled.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> BoxMoved:
        locking.enter_gate()
        bench = bench_in_use(bench_id)
        box = locking.lock_row(Box, box_id, "bench")
        if not box.unlabelled or box.in_work:
            raise WrongStage("box_not_put_away", box=str(box), stage=box.stage)
        if box.bench != bench:
            raise Refused("box_of_another_bench", box=str(box), bench=str(box.bench))
        if IN_WORK_AT(bench.pk):
            raise Conflict("bench_has_a_box", bench=bench.name)
        refuse_held_box(box, lines_of(box), standing_reach())
        box.place = None
        bulk.update([box], ["place"])
        act.write(BoxPut(box=box, place=None))
        return BoxMoved(box=box.number, stage=str(box.stage))

    return perform("bring_box", work, BoxMoved, sign, bench=bench_id, box=box_id)
