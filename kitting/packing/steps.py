"""Inner steps on boxes: filling from open bags, taking back, changing stage."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import BOX_MOVES, BagStage, BoxStage, MovementKind
from kitting.ledger import bulk
from kitting.ledger.kept import Kept
from kitting.ledger.needs import wrong_box
from kitting.ledger.pinned import Pinned, pinned_by
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import refuse_held_box
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import Bag, Box, BoxEvent, BoxLine, Guarded, RecipeLine


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
    have: Counter[int] = field(default_factory=Counter)
    """Pieces that are in, by line."""

    def __post_init__(self) -> None:
        for row in self.in_box:
            self._count(row.lot.part_id, row.pieces)

    def _count(self, part_id: int, pieces: int) -> None:
        line = self.pinned.line_of(part_id)
        if line is not None:
            self.have[line.pk] += pieces

    @property
    def inside(self) -> set[int]:
        """Revisions that lie in the box."""
        return {row.lot.revision_id for row in self.in_box}

    def missing(self, line: RecipeLine) -> int:
        """Pieces that a line still lacks."""
        return line.needed(self.sets) - self.have[line.pk]

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
        what = Change(
            MovementKind.PACKED, taken, sign=-1, box=self.box, run_id=bag.cleared_run_id
        )
        moved = change(bag, what)
        self.events.append(moved)
        self._add(bag, taken)
        return taken

    def _add(self, bag: Bag, pieces: int) -> None:
        self._count(bag.lot.part_id, pieces)
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

    def write_lines(self) -> None:
        """Write the box's lines that changed; the box itself is in the database."""
        new = [row for row in self.touched if row._state.adding]
        more = [row for row in self.touched if not row._state.adding]
        bulk.insert(new)
        bulk.update(more, ["pieces"])
        self.touched.clear()


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
        pinned=pinned_by(box.recipe_id),
        in_box=[] if fresh else _IN_BOX(box.id),
    )


_IN_BOX = Kept(
    lambda box: BoxLine.objects.filter(box=box).select_related("lot__part", "bag")
)


def lines_of(box: Box) -> list[BoxLine]:
    """What is in a locked box, with lot, part and bag.

    Args:
        box: The box.

    Returns:
        Its lines.
    """
    return _IN_BOX(box.pk)


def refuse_unlabelled_held(box: Box) -> None:
    """Refuse to print or see the label of a closed box that a hold reaches.

    Args:
        box: The box, locked behind the gate; one in another stage is let through.

    Raises:
        OnHold: ``box_on_hold``.
    """
    if box.stage == BoxStage.CLOSED and (reach := standing_reach()):
        refuse_held_box(box, lines_of(box), reach)


def put_back(box: Box, bag: Bag, line: BoxLine) -> Guarded:
    """Return the pieces of a line to their locked bag, in memory.

    Args:
        box: The open box, locked.
        bag: The bag; one that was used up comes back to life.
        line: The line, which the caller removes.

    Returns:
        The movement, not yet inserted.
    """
    to = BagStage.CLEARED if bag.stage == BagStage.USED_UP else None
    back = MovementKind.UNPACKED
    what = Change(back, line.pieces, sign=1, to=to, box=box, run_id=line.run_id)
    return change(bag, what)


def drop_lines(lines: Iterable[BoxLine]) -> None:
    """Remove lines whose pieces went back.

    Args:
        lines: Lines of a locked box.
    """
    BoxLine.objects.filter(pk__in=[line.pk for line in lines]).delete()


def take_all_back(
    box: Box, bags: dict[int, Bag], reason: str
) -> tuple[list[Guarded], dict[str, int]]:
    """Return every piece of an open box to the bag it came from.

    Pieces of a part of which two lots are in the box cannot be told apart: they are
    scrapped in the same act.

    Args:
        box: The open box, locked.
        bags: The locked bags of its lines, by id.
        reason: Why the box comes to nothing.

    Returns:
        The movements, not yet inserted, and the pieces scrapped by the name of their
        part; lines are gone and bags are saved.
    """
    events: list[Guarded] = []
    lines = list(BoxLine.objects.filter(box=box).select_related("lot__part"))
    lots: dict[int, set[int]] = {}
    for line in lines:
        lots.setdefault(line.lot.part_id, set()).add(line.lot_id)
    scrapped: dict[str, int] = {}
    for line in lines:
        bag, part = bags[line.bag_id], line.lot.part
        events.append(put_back(box, bag, line))
        if len(lots[part.pk]) > 1:
            scrap = MovementKind.SCRAPPED
            what = Change(scrap, line.pieces, sign=-1, reason=reason)
            events.append(change(bag, what))
            scrapped[part.name] = scrapped.get(part.name, 0) + line.pieces
    drop_lines(lines)
    save_bags(list(bags.values()))
    return events, scrapped
