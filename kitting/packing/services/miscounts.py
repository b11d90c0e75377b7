"""A bag that holds other pieces than the record says, said where it is met: at a bench.

What the record took for the box at once may not have been in the bag. So what is missing
comes out of the open box as well, by way of its bag, and the box asks for more.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from kitting.domain.commands import MORE_THAN_ON_RECORD, SHORT_OF_RECORD, end_of
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import BagStage, BoxStage
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.packable import METHOD_OF_BAG, packing_problem
from kitting.ledger.reach import Reach, standing_reach
from kitting.ledger.stopped import refuse_held_box, stopped
from kitting.lots.steps.bags import need_stage, save_bags
from kitting.lots.steps.counts import (
    Counted,
    Decided,
    Found,
    close_emptied,
    need_unmoved,
    recount,
)
from kitting.lots.steps.intake import MOST_PIECES
from kitting.lots.steps.scrap import scrap_reason, scrapped
from kitting.models import Bag, Bench, Box, BoxLine, Count, Movement, OpenBag
from kitting.models.boxes import IN_WORK
from kitting.models.lots import CountedBy
from kitting.packing.services.boxes import bench_in_use, open_box_at
from kitting.packing.steps import lines_of, take_out


@dataclass(frozen=True)
class Miscounted:
    """A bag that held other pieces than the record said."""

    bag: str
    part: str
    missing: int = 0
    scrapped: int = 0
    out: int = 0
    """Pieces that the open box lacks now, and asks for again."""
    was_open: bool = False
    """Whether it was the bench's open bag until then."""
    boxes: str = ""
    """Boxes that were filled from the bag before, whose counts may be wrong, too."""


@dataclass(frozen=True)
class _Met:
    """A locked bag at its bench, and the open box there."""

    bag: Bag
    box: Box | None
    all_lines: list[BoxLine]
    """What is in the box."""
    was_open: bool
    """Whether it is the bench's open bag."""
    here: bool
    """Whether it stands at the bench; else only its pieces are here, in the box."""

    @property
    def lines(self) -> list[BoxLine]:
        """What is in it of the bag."""
        return [line for line in self.all_lines if line.bag_id == self.bag.pk]

    @property
    def inside(self) -> int:
        """Pieces of the bag in the box."""
        return sum(line.pieces for line in self.lines)

    def take_out(self, pieces: int, reach: Reach) -> list[Movement]:
        """Take pieces of the bag out of the box, back into it.

        Where what is held in it cannot be told apart, nothing comes out but all of it.
        """
        if self.box is None or pieces > self.inside:
            raise Refused(
                "fewer_in_box", bag=self.bag.number, inside=self.inside, read=pieces
            )
        found = stopped(self.box, self.all_lines, reach)
        if found is not None and not found.apart:
            refuse_held_box(self.box, self.all_lines, reach)
        return take_out(self.box, self.bag, self.lines, pieces)


def _met(bench_id: int, bag_id: int, moves: int | None) -> _Met:
    """Lock a bag, which stands at the bench, cleared or used up, and the open box."""
    locking.enter_gate()
    bench = bench_in_use(bench_id)
    bag = locking.lock_row(Bag, bag_id, "lot__part", "lot__revision", METHOD_OF_BAG)
    need_here(bag, bench)
    need_unmoved(bag, moves)
    box = open_box_at(bench)
    was_open = OpenBag.objects.filter(bag=bag).exists()
    lines = lines_of(box) if box is not None else []
    return _Met(bag, box, lines, was_open, bag.place_id == bench.place_id)


def need_here(bag: Bag, bench: Bench) -> None:
    """Refuse a bag of which a bench can say nothing.

    Of one that stayed where the box was handed over from, it can say what is wrong with
    its pieces in the box.

    Args:
        bag: The bag.
        bench: The bench.

    Raises:
        WrongStage: ``bag_not_at_bench``, or if it is neither cleared nor used up.
    """
    if bag.place_id != bench.place_id:
        box = Box.objects.filter(IN_WORK, bench=bench, stage=BoxStage.OPEN)
        if not BoxLine.objects.filter(box__in=box, bag=bag).exists():
            raise WrongStage("bag_not_at_bench", bag=bag.number, bench=bench.name)
    need_stage(bag, BagStage.CLEARED, BagStage.USED_UP)


def _need_in_hand(met: _Met, bench_id: int) -> None:
    """Refuse to say what is in a bag that stands elsewhere."""
    if not met.here:
        bench = Bench.objects.get(pk=bench_id)
        raise WrongStage("bag_not_at_bench", bag=met.bag.number, bench=bench.name)


def _boxes_before(met: _Met, done: Counted) -> str:
    """Numbers of the boxes that were filled from the bag, but for the open one."""
    return ", ".join(box for box in done.boxes if box != str(met.box))


def miss_pieces(
    *, bench_id: int, bag_id: int, inside: int, sign: Sign, moves: int | None = None
) -> Miscounted:
    """Say that a bag is empty: what the record says is in it is missing.

    Args:
        bench_id: The bench, at which the bag stands.
        bag_id: The bag.
        inside: Pieces of it that are missing in the open box as well; the box lacks
            them then.
        sign: Who, when and the operation key.
        moves: How many movements the bag had when it was shown; None takes any.

    Returns:
        How many are missing.

    Raises:
        Conflict: ``bag_moved_since``.
        Missing: If the bench or bag is not there.
        OnHold: If pieces are missing in a box whose held pieces cannot be told apart.
        Refused: ``bench_closed``, ``fewer_in_box``; ``bag_is_empty`` where nothing is
            missing.
        WrongStage: ``bag_not_at_bench``, or if it is neither cleared nor used up.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Miscounted:
        met = _met(bench_id, bag_id, moves)
        if met.bag.pieces:
            _need_in_hand(met, bench_id)
        back = met.take_out(inside, standing_reach()) if inside else []
        missing = met.bag.pieces
        if not missing:
            raise Refused("bag_is_empty", bag=met.bag.number)
        act.write(*back)
        row = Count(counted_by=CountedBy.HAND, counted=0, reason=SHORT_OF_RECORD)
        done = recount(act, met.bag, row, Decided())
        return Miscounted(
            bag=met.bag.number,
            part=met.bag.lot.part.name,
            missing=missing,
            out=inside,
            was_open=met.was_open,
            boxes=_boxes_before(met, done),
        )

    return perform(
        "miss_pieces",
        work,
        Miscounted,
        sign,
        bench=bench_id,
        bag=bag_id,
        inside=inside,
        moves=moves,
    )


def find_pieces(
    *, bench_id: int, bag_id: int, pieces: int, sign: Sign, moves: int | None = None
) -> Miscounted:
    """Say that more was in a bag than the record says: they are scrapped at once.

    Counting clears nothing. Where they are to stay, the bag is counted on its page, and
    a checker confirms it there.

    Args:
        bench_id: The bench, at which the bag stands.
        bag_id: The bag; one that was used up stays so.
        pieces: How many more than on record, 1 or more.
        sign: Who, when and the operation key.
        moves: How many movements the bag had when it was shown; None takes any.

    Returns:
        How many were scrapped.

    Raises:
        Conflict: ``bag_moved_since``.
        Missing: If the bench or bag is not there.
        Refused: ``bench_closed``, ``pieces_out_of_range``.
        WrongStage: ``bag_not_at_bench``, or if it is neither cleared nor used up.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Miscounted:
        met = _met(bench_id, bag_id, moves)
        _need_in_hand(met, bench_id)
        if not 1 <= pieces <= MOST_PIECES:
            raise Refused("pieces_out_of_range", read=pieces, most=MOST_PIECES)
        counted = met.bag.pieces + pieces
        row = Count(
            counted_by=CountedBy.HAND, counted=counted, reason=MORE_THAN_ON_RECORD
        )
        done = recount(act, met.bag, row, Decided(found=Found.SCRAPPED))
        return Miscounted(
            bag=met.bag.number,
            part=met.bag.lot.part.name,
            scrapped=done.scrapped,
            was_open=met.was_open,
            boxes=_boxes_before(met, done),
        )

    return perform(
        "find_pieces",
        work,
        Miscounted,
        sign,
        bench=bench_id,
        bag=bag_id,
        pieces=pieces,
        moves=moves,
    )


def scrap_bad(
    *, bench_id: int, bag_id: int, end: str, sign: Sign, moves: int | None = None
) -> Miscounted:
    """Scrap one bad piece of a bag; another one is taken from it in its place.

    Where the bag has no other, or none that may be packed, the open box lacks it then.

    Args:
        bench_id: The bench, at which the bag stands.
        bag_id: The bag.
        end: Why: one of the workshop's list, as its command label has it.
        sign: Who, when and the operation key.
        moves: How many movements the bag had when it was shown; None takes any.

    Returns:
        What was scrapped, and whether the box lacks it.

    Raises:
        Conflict: ``bag_moved_since``.
        Missing: If the bench or bag is not there.
        OnHold: If the box or anything in it is held, and another piece would go in, or
            if it comes out of a box whose held pieces cannot be told apart.
        Refused: ``bench_closed``, ``scrap_reason_unknown``; ``bag_is_empty``.
        WrongStage: ``bag_not_at_bench``, or if it is neither cleared nor used up.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Miscounted:
        reasons = {end_of(reason): reason for reason in act.workshop.scrap_list}
        why = scrap_reason(act, reasons.get(end, end), "")
        met = _met(bench_id, bag_id, moves)
        reach = standing_reach()
        out = _out_of_box(met, reach, day_of(act.workshop, act.now), act.now)
        back = met.take_out(out, reach) if out else []
        if not met.bag.pieces:
            raise Refused("bag_is_empty", bag=met.bag.number)
        gone = scrapped(met.bag, 1, why)
        save_bags([met.bag])
        close_emptied(met.bag)
        act.write(*back, gone)
        return Miscounted(
            bag=met.bag.number, part=met.bag.lot.part.name, scrapped=1, out=out
        )

    return perform(
        "scrap_bad",
        work,
        Miscounted,
        sign,
        bench=bench_id,
        bag=bag_id,
        end=end,
        moves=moves,
    )


def _out_of_box(met: _Met, reach: Reach, today: date, now: datetime) -> int:
    """Whether the box lacks the bad piece: 1 where its bag has no other for it here."""
    bag = met.bag
    if met.box is None or not met.inside:
        return 0
    if (
        not met.here
        or not bag.pieces
        or packing_problem(bag, bag.lot, today=today, now=now, reach=reach)
    ):
        return 1
    refuse_held_box(met.box, met.all_lines, reach)
    return 0
