"""Inner steps on boxes: filling from open bags, taking back, changing stage."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import BOX_MOVES, BagStage, BoxStage, MovementKind
from kitting.ledger import bulk, pinned
from kitting.ledger.needs import need_row, wrong_box
from kitting.ledger.pinned import Pinned
from kitting.ledger.reach import STANDING, Reach, standing_reach
from kitting.ledger.stopped import may_go_back, refuse_held_box
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import (
    Bag,
    Box,
    BoxEvent,
    BoxLine,
    BoxSize,
    Guarded,
    Movement,
    PackPlan,
    RecipeLine,
)
from kitting.packing.queries.bench_rows import lines_in
from kitting.packing.queries.plan import MOST


def move_box(box: Box, to: BoxStage, reason: str = "") -> BoxEvent:
    """Change the stage of a locked box in memory and give the event that says so.

    The caller saves the box and writes the event.

    Args:
        box: The box, locked or not yet inserted (``box.stage`` empty).
        to: The stage afterwards.
        reason: Why, where one is asked for.

    Returns:
        The event, not yet inserted.

    Raises:
        WrongStage: If a box does not go from its stage to that one; ``box_is_put_away``
            where it is to be closed or labelled and does not stand at its bench.
    """
    before = box.stage
    if box.unlabelled and box.place_id is not None and to != BoxStage.VOIDED:
        raise WrongStage("box_is_put_away", box=str(box))
    if before and to not in BOX_MOVES[BoxStage(before)]:
        raise wrong_box(box, str(to))
    box.stage = to
    box.events_seen += 1
    return bulk.fresh(
        BoxEvent, box=box, nth=box.events_seen, before=before, after=to, reason=reason
    )


@dataclass
class Filling:
    """A box being filled: what it needs, what is in, and what the act will write."""

    box: Box
    sets: int
    pinned: Pinned
    in_box: list[BoxLine]
    events: list[Guarded] = field(default_factory=list)
    touched: list[BoxLine] = field(default_factory=list)

    @property
    def inside(self) -> set[int]:
        """Revisions that lie in the box."""
        return {row.lot.revision_id for row in self.in_box}

    def missing(self, line: RecipeLine) -> int:
        """Pieces that a line still lacks."""
        parts = {each.part_id for each in self.pinned.takes[line.pk]}
        have = sum(row.pieces for row in self.in_box if row.lot.part_id in parts)
        return line.needed(self.sets) - have

    def refusal(self, bag: Bag) -> Refused | None:
        """Why the box takes nothing from a bag, by its recipe.

        Args:
            bag: The bag, with its lot, part and revision.

        Returns:
            The refusal; None where the recipe takes it, also if nothing is lacking.
        """
        line = self.pinned.line_of(bag.lot.part_id)
        if line is not None and self.missing(line) < 1:
            return self.pinned.not_pinned(bag)
        return self.pinned.not_pinned(bag) or self.pinned.apart(bag, self.inside)

    def take(self, bag: Bag) -> int:
        """Take what the box still lacks from a locked bag that may be packed.

        Args:
            bag: The bag, with its lot; it is changed in memory, the caller saves it.

        Returns:
            Pieces taken, 0 if nothing is lacking.
        """
        line = self.pinned.line_of(bag.lot.part_id)
        taken = min(self.missing(line), bag.pieces) if line is not None else 0
        if taken < 1:
            return 0
        self.events.append(self.put_in(bag, taken))
        return taken

    def put_in(self, bag: Bag, pieces: int) -> Movement:
        """Put pieces of a locked bag that may be packed into the box.

        Args:
            bag: The bag, with its lot; it is changed in memory, the caller saves it.
            pieces: How many; the box lacks them.

        Returns:
            The movement, not yet inserted.
        """
        kind, run_id = MovementKind.PACKED, bag.cleared_run_id
        self._add(bag, pieces)
        return change(bag, Change(kind, pieces, sign=-1, box=self.box, run_id=run_id))

    def _add(self, bag: Bag, pieces: int) -> None:
        for row in self.in_box:
            if row.bag_id == bag.id and row.run_id == bag.cleared_run_id:
                row.pieces += pieces
                break
        else:
            row = bulk.fresh(
                BoxLine,
                box=self.box,
                bag=bag,
                run_id=bag.cleared_run_id,
                lot=bag.lot,
                pieces=pieces,
            )
            self.in_box.append(row)
        self.touched.append(row)

    def now_of(self, bag: Bag) -> list[BoxLine]:
        """What is in the box, with a bag that it took from as it is now."""
        for row in self.in_box:
            if row.bag_id == bag.pk:
                row.bag = bag
        return self.in_box

    def write_lines(self) -> None:
        """Write the box's lines that changed; the box itself is in the database."""
        new = [row for row in self.touched if row._state.adding]
        more = [row for row in self.touched if not row._state.adding]
        bulk.insert(new)
        bulk.update(more, ["pieces"])
        self.touched.clear()


def asked_of(box: Box) -> list[tuple[Any, ...]]:
    """What holds, ``filling_of`` and ``lines_of`` are going to ask of a box.

    Args:
        box: The box, as it was read at any time.

    Returns:
        Kept queries with their values, to be foreseen behind the lock on it.
    """
    return [(STANDING,), (lines_in, box.pk), *pinned.asked_of(box.recipe_id)]


def filling_of(box: Box, *, fresh: bool = False) -> Filling:
    """Read what a box needs and has.

    Args:
        box: The box, locked by the act.
        fresh: Whether the act has made it, so that nothing is in it.

    Returns:
        The filling.
    """
    return Filling(
        box=box,
        sets=box.size.sets,
        pinned=pinned.pinned_by(box.recipe_id),
        in_box=[] if fresh else lines_in(box.id),
    )


def lines_of(box: Box) -> list[BoxLine]:
    """What is in a locked box, with lot, part and bag.

    Args:
        box: The box.

    Returns:
        Its lines.
    """
    return lines_in(box.pk)


def need_complete(filling: Filling) -> None:
    """Refuse a box that lacks pieces.

    Args:
        filling: The box, with what is in it.

    Raises:
        Refused: ``box_not_complete``.
    """
    for line in filling.pinned.lines:
        if missing := filling.missing(line):
            what = {"part": line.part.name, "missing": missing}
            raise Refused("box_not_complete", box=filling.box.number, **what)


def refuse_unlabelled_held(box: Box) -> None:
    """Refuse to print or see the label of a closed box that a hold reaches.

    Args:
        box: The box, locked behind the gate; one in another stage is let through.

    Raises:
        OnHold: ``box_on_hold``.
    """
    if box.stage == BoxStage.CLOSED and (reach := standing_reach()):
        refuse_held_box(box, lines_of(box), reach)


def need_at_bench(box: Box, bench_id: int | None) -> None:
    """Refuse a box that was handed over since the screen showed it.

    Args:
        box: The box, locked.
        bench_id: The bench at which the act is signed; None for a desk.

    Raises:
        Conflict: ``bench_has_another_box``.
    """
    if bench_id is not None and box.bench_id != bench_id:
        raise Conflict("bench_has_another_box")


def put_back(box: Box, bag: Bag, line: BoxLine, pieces: int = 0) -> Movement:
    """Return pieces of a line to their locked bag, in memory.

    Args:
        box: The open box, locked.
        bag: The bag; one that was used up comes back to life.
        line: The line, which the caller removes or saves.
        pieces: How many; all of them unless they are named.

    Returns:
        The movement, not yet inserted.
    """
    to = BagStage.CLEARED if bag.stage == BagStage.USED_UP else None
    back = MovementKind.UNPACKED
    many = pieces or line.pieces
    what = Change(back, many, sign=1, to=to, box=box, run_id=line.run_id)
    return change(bag, what)


def drop_lines(lines: Iterable[BoxLine]) -> None:
    """Remove lines whose pieces went back.

    Args:
        lines: Lines of a locked box.
    """
    BoxLine.objects.filter(pk__in=[line.pk for line in lines]).delete()


def take_out(
    box: Box, bag: Bag, lines: Sequence[BoxLine], pieces: int
) -> list[Movement]:
    """Return some pieces of an open box to their locked bag, and write its lines.

    Args:
        box: The open box, locked.
        bag: The bag; the caller saves it.
        lines: The lines of that bag in it.
        pieces: How many; no more than are in it.

    Returns:
        The movements, not yet inserted.
    """
    made = []
    for line in reversed(lines):
        many = min(pieces, line.pieces)
        if many:
            made.append(put_back(box, bag, line, many))
            line.pieces -= many
            pieces -= many
    drop_lines(line for line in lines if not line.pieces)
    bulk.update([line for line in lines if line.pieces], ["pieces"])
    return made


@dataclass(frozen=True)
class Fate:
    """What becomes of one line of an open box that is cancelled."""

    line: BoxLine
    back: bool
    """Whether its pieces go back into their bag; else they are scrapped."""
    asked: bool = False
    """Whether that hangs on whether its lot can be told apart from another one."""


def fates(
    lines: Sequence[BoxLine],
    reach: Reach,
    *,
    damaged: Collection[int] = (),
    apart: bool = False,
) -> list[Fate]:
    """Sort out what becomes of the pieces of an open box that is cancelled.

    Pieces of one lot cannot be told apart by their bag: where some of them may not go
    back, or only some of them are held, none do.

    Args:
        lines: All its lines, with lot, part, and bag as it is now.
        reach: What is held now.
        damaged: Ids of parts whose pieces are damaged, and so scrapped.
        apart: Whether lots of one part can be told apart.

    Returns:
        One for each line, in their order.
    """
    of_lot: dict[int, list[BoxLine]] = {}
    lots: dict[int, set[int]] = {}
    for line in lines:
        of_lot.setdefault(line.lot_id, []).append(line)
        lots.setdefault(line.lot.part_id, set()).add(line.lot_id)
    found = []
    for line in lines:
        part, alike = line.lot.part_id, of_lot[line.lot_id]
        may = (
            part not in damaged
            and all(may_go_back(each, reach) for each in alike)
            and len({reach.line(each) for each in alike}) == 1
        )
        asked = may and len(lots[part]) > 1
        found.append(Fate(line, back=may and (apart or not asked), asked=asked))
    return found


def bring_about(
    box: Box, bags: Mapping[int, Bag], found: Iterable[Fate], reason: str
) -> list[Guarded]:
    """Empty an open box: every piece goes back to its bag, or from there to the waste.

    Args:
        box: The open box, locked.
        bags: The locked bags of its lines, by id.
        found: What becomes of each line.
        reason: Why the box comes to nothing.

    Returns:
        The movements, not yet inserted; lines are gone and bags are saved.
    """
    events: list[Guarded] = []
    found = list(found)
    for each in found:
        bag = bags[each.line.bag_id]
        events.append(put_back(box, bag, each.line))
        if not each.back:
            scrap = MovementKind.SCRAPPED
            what = Change(scrap, each.line.pieces, sign=-1, reason=reason)
            events.append(change(bag, what))
    drop_lines(each.line for each in found)
    save_bags(list(bags.values()))
    return events


def fill_plan(day: date, wanted: Mapping[int, int]) -> None:
    """Write how many boxes are wanted on a day: all of its plan.

    Args:
        day: The day; the workshop is locked, so that there is one plan at a time.
        wanted: Boxes by the id of the size, 0 to ``MOST``; a size that is not named has
            none. Of a size that is closed no more than were wanted.

    Raises:
        Missing: ``row_missing`` if there is no such size.
        Refused: ``plan_out_of_range``, ``size_closed``.
    """
    rows = {row.size_id: row for row in PackPlan.objects.filter(day=day)}
    before = {size: row.boxes for size, row in rows.items()}
    for pk, boxes in wanted.items():
        _need_packable(pk, boxes, before.get(pk, 0))
    for pk, boxes in wanted.items():
        if not boxes or boxes == before.get(pk):
            continue
        row = rows.get(pk) or PackPlan(day=day, size_id=pk)
        row.boxes = boxes
        row.save()
    gone = [row.pk for size, row in rows.items() if not wanted.get(size)]
    PackPlan.objects.filter(pk__in=gone).delete()


def _need_packable(size_id: int, boxes: int, before: int) -> None:
    size = need_row(BoxSize.objects.filter(pk=size_id).select_related("product"))
    if not 0 <= boxes <= MOST:
        raise Refused("plan_out_of_range", read=boxes, most=MOST)
    if not size.active and boxes > before:
        raise Refused("size_closed", product=size.product.name, sets=size.sets)
