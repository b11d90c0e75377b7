"""The next box of a size, which starts by itself, and the way to stop that."""

from __future__ import annotations

from dataclasses import dataclass, replace
from uuid import uuid5

from kitting.domain.errors import LotwardError, WrongStage
from kitting.ledger import clock, locking
from kitting.ledger.clock import day_of
from kitting.ledger.operations import Act, Sign, outcome_of, perform
from kitting.ledger.reach import standing_reach
from kitting.models import Bag, Box, Workshop
from kitting.packing.queries.keep_going import goes_on
from kitting.packing.queries.undo import STOP
from kitting.packing.services.boxes import Started, start_box


@dataclass(frozen=True)
class Stopped:
    """A box after which no other one starts by itself."""

    box: str


def stop_after(*, box_id: int, sign: Sign) -> Stopped:
    """Say that no box starts by itself after this one.

    Args:
        box_id: The box in work.
        sign: Who, when, at which bench, and the operation key.

    Returns:
        The box.

    Raises:
        Missing: If there is no such box.
        WrongStage: ``box_not_at_bench`` if it is labelled or put away by now.
        OperationKeyReused: If the key was used for another act.
    """

    def work(_act: Act) -> Stopped:
        box = locking.lock_row(Box, box_id)
        if not box.in_work:
            raise WrongStage("box_not_at_bench", box=str(box))
        return Stopped(box=str(box))

    return perform(STOP, work, Stopped, sign, box=box_id)


def start_next(box: Box, sign: Sign, *, again: bool) -> Started | None:
    """Start the next box after one that was labelled, where the day's plan wants it.

    It is an act of its own: what stops it takes no label off again.

    Args:
        box: The box that was labelled, at the bench that signs.
        sign: Of the scan of its label.
        again: Whether that was sent before: then nothing new is started.

    Returns:
        The next box; None where the plan wants none, the bench stops, anything open
        there is held, or a rule forbids it.
    """
    after = replace(sign, key=uuid5(sign.key, "next"))
    if again:
        done = outcome_of(after)
        return None if done is None else Started(**done.outcome)
    today = day_of(Workshop.objects.get(pk=1), sign.now or clock.now())
    bench_id = sign.bench_id
    if bench_id is None or box.bench_id != bench_id or not goes_on(box, today):
        return None
    reach = standing_reach()
    here = Bag.objects.filter(open_at__bench=bench_id).select_related("lot")
    if any(reach.bag(bag) for bag in here):
        return None
    try:
        return start_box(bench_id=bench_id, size_id=box.size_id, sign=after)
    except LotwardError:
        return None
