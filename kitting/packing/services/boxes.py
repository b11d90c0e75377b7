"""The bench: bags onto it, boxes started, filled, closed, labelled, cancelled."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Model, Q

from kitting.domain import numbers
from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.domain.stages import BagStage, BoxStage, MovementKind
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.counters import take
from kitting.ledger.kept import Kept, foresee
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.packable import METHOD_OF_BAG, packing_problem
from kitting.ledger.reach import STANDING, reach_of, standing_holds, standing_reach
from kitting.ledger.stopped import refuse_held_box
from kitting.ledger.weighed import scale_u
from kitting.lots.steps.bags import Change, change, drop_used_up, save_bags
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxSize,
    Guarded,
    OpenBag,
    Print,
    Recipe,
)
from kitting.models.boxes import IN_WORK
from kitting.packing.queries.bench_rows import WITH_BAGS, Left
from kitting.packing.services.closing import ClosedBox, close_box
from kitting.packing.steps import (
    Filling,
    asked_of,
    filling_of,
    move_box,
    refuse_unlabelled_held,
)

__all__ = [
    "BoxMoved",
    "Brought",
    "ClosedBox",
    "Started",
    "bring_bag",
    "close_box",
    "see_label",
    "start_box",
    "take_off_bench",
]


@dataclass(frozen=True)
class Brought:
    """A bag that is now the bench's open bag of its part."""

    bag: str
    part: str
    taken: int
    """Pieces that went into the open box at once."""
    emptied: bool = False
    """Whether they were its last."""
    instead: str = ""
    """The bag that was the bench's open bag of that part before; it may be the same."""
    from_bench: str = ""
    """Code of the bench at which the bag was open before."""


@dataclass(frozen=True)
class Started:
    """A box that is open at a bench."""

    box_id: int
    box: str
    taken: int
    """Pieces that went in at once from the bench's open bags."""
    emptied: str = ""
    """Numbers of the open bags that these emptied, with commas between them."""


@dataclass(frozen=True)
class BoxMoved:
    """A box in its new stage."""

    box: str
    stage: str


def bring_bag(
    *,
    bench_id: int,
    bag_id: int,
    sign: Sign,
    left: Left | None = None,
    newest: Box | None = None,
) -> Brought:
    """Bring a bag to a bench: it becomes the open bag of its part and fills the box.

    A bag that was open at another bench moves here. The bench's earlier open bag of
    that part stays at the bench with its pieces, no longer open.

    Args:
        bench_id: The bench.
        bag_id: The bag.
        sign: Who, when and the operation key.
        left: Is told what the act leaves, if it is done now and not answered again.
        newest: The newest box of the bench, where it was just read.

    Returns:
        The bag and how many of its pieces went into the box.

    Raises:
        Missing: If the bench or bag is not there.
        OnHold: If the bag is held, or the bench's open box or anything in it.
        Refused: ``bench_closed``; if it is past its date, open too long, made with a
            method on trial, nothing for this box, or apart from what is in it.
        WrongStage: If it is not cleared.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Brought:
        _read_ahead(bench_id, bag_id, newest)
        bench = bench_in_use(bench_id)
        bag = locking.lock_row(Bag, bag_id, *_WITH_LOT)
        box = open_box_at(bench)
        standing = standing_holds()
        reach = reach_of(standing)
        filling = None if box is None else filling_of(box)
        if filling is not None:
            refuse_held_box(filling.box, filling.in_box, reach)
        problem = packing_problem(
            bag,
            bag.lot,
            today=day_of(act.workshop, act.now),
            now=act.now,
            reach=reach,
        )
        if problem is not None:
            raise problem
        if filling is not None and (refusal := filling.refusal(bag)):
            raise refusal
        events = _open_here(bag, bench, act.now)
        taken = 0
        if filling is not None:
            taken = filling.take(bag)
            filling.write_lines()
            events += filling.events
        save_bags([bag], last=True)
        instead, from_bench, rows = _keep_open(bench, bag)
        act.write(*events)
        if left is not None and filling is not None:
            left.box, left.inside = filling.box, filling.now_of(bag)
            left.rows, left.standing, left.reach = rows, standing, reach
        return Brought(
            bag=bag.number,
            part=bag.lot.part.name,
            taken=taken,
            emptied=bag.pieces == 0,
            instead=instead,
            from_bench=from_bench,
        )

    return perform("bring_bag", work, Brought, sign, bench=bench_id, bag=bag_id)


_WITH_LOT = ("lot__part", "lot__revision", METHOD_OF_BAG)


def _read_ahead(bench_id: int, bag_id: int, newest: Box | None) -> None:
    """Lock what a bag is brought to and read all that decides, at once behind that."""
    box = newest if newest is not None and newest.stage == BoxStage.OPEN else None
    its: list[tuple[type[Model], int]] = [] if box is None else [(Box, box.pk)]
    locking.wait_for((Bench, bench_id), (Bag, bag_id), *its)
    foresee(
        (locking.by_id(Bench), bench_id),
        (locking.by_id(Bag, *_WITH_LOT), bag_id),
        (_LOCK_OPEN_BOX, bench_id),
        (_OPEN_AROUND, bag_id, bench_id),
        *([(STANDING,)] if box is None else asked_of(box)),
    )


def bench_in_use(bench_id: int) -> Bench:
    """Lock a bench at which boxes are packed.

    Args:
        bench_id: The bench.

    Returns:
        The bench.

    Raises:
        Missing: If there is no such bench.
        Refused: ``bench_closed``.
    """
    bench = locking.lock_row(Bench, bench_id)
    if not bench.active:
        raise Refused("bench_closed", bench=bench.name)
    return bench


def _open_here(bag: Bag, bench: Bench, now: datetime) -> list[Guarded]:
    """Bring a locked bag to the bench's place, off its carrier; it counts as opened."""
    bag.carrier_id = None
    if bag.opened_at is None:
        bag.opened_at = now
    if bag.place_id == bench.place_id:
        return []
    moved = Change(MovementKind.PLACED, bag.pieces, place_id=bench.place_id)
    return [change(bag, moved)]


def _keep_open(bench: Bench, bag: Bag) -> tuple[str, str, list[OpenBag]]:
    """Make the bag the bench's open bag of its part, unless it is used up by now.

    Gives the bag that was it before, the other bench whose open bag this one was, and
    what is open at the bench now, or was taken from it.
    """
    part = bag.lot.part
    rows = _OPEN_AROUND(bag.pk, bench.pk)
    place = (bench.pk, part.pk)
    before = [
        row
        for row in rows
        if row.bag_id == bag.pk or (row.bench_id, row.part_id) == place
    ]
    is_left = bag.stage != BagStage.USED_UP
    if [(row.bag_id, row.bench_id) for row in before] == [
        (bag.pk, bench.pk)
    ] and is_left:
        before[0].bag = bag
        return bag.number, "", rows
    if before:
        OpenBag.objects.filter(pk__in=[row.pk for row in before]).delete()
    now = [row for row in rows if row not in before]
    there = (row.bench for row in before if row.bench_id != bench.pk)
    taken_from = next(there, None)
    if is_left:
        row = OpenBag(bench=bench, part=part, bag=bag, taken_from=taken_from)
        bulk.insert([row])
        now.append(row)
    here = [row.bag.number for row in before if row.bench_id == bench.pk]
    return "".join(here), taken_from.code if taken_from is not None else "", now


_OPEN_AROUND = Kept(
    lambda bag, bench: (
        OpenBag.objects.filter(Q(bag=bag) | Q(bench=bench) | Q(taken_from=bench))
        .select_related(*WITH_BAGS)
        .order_by("pk")
    )
)


def take_off_bench(*, bench_id: int, bag_id: int, sign: Sign) -> Brought:
    """Close an open bag at a bench; it stays there with its pieces.

    Args:
        bench_id: The bench.
        bag_id: The bag.
        sign: Who, when and the operation key.

    Returns:
        The bag; nothing was taken from it.

    Raises:
        Missing: If the bench or bag is not there.
        WrongStage: ``bag_not_open_here`` if it is not the bench's open bag.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Brought:
        bench = locking.lock_row(Bench, bench_id)
        bag = locking.lock_row(Bag, bag_id, "lot__part")
        gone, _ = OpenBag.objects.filter(bench=bench, bag=bag).delete()
        if not gone:
            raise WrongStage("bag_not_open_here", bag=bag.number, bench=bench.name)
        return Brought(bag=bag.number, part=bag.lot.part.name, taken=0)

    return perform("take_off_bench", work, Brought, sign, bench=bench_id, bag=bag_id)


def open_box_at(bench: Bench) -> Box | None:
    """Lock the open box of a bench.

    Args:
        bench: The bench, locked.

    Returns:
        The box with its size; None without one.
    """
    found = _LOCK_OPEN_BOX(bench.pk)
    return found[0] if found else None


_LOCK_OPEN_BOX = locking.finding(
    lambda bench: Box.objects.filter(IN_WORK, bench=bench, stage=BoxStage.OPEN),
    "size__product",
)


def start_box(*, bench_id: int, size_id: int, sign: Sign) -> Started:
    """Start a box of a size; it fills at once from the bench's open bags.

    Args:
        bench_id: The bench; its last box is labelled.
        size_id: The box size; its product has a recipe in force.
        sign: Who, when and the operation key.

    Returns:
        The box.

    Raises:
        Conflict: ``bench_has_a_box``.
        Missing: If the bench or size is not there.
        Refused: ``bench_closed``, ``size_closed``, ``no_recipe_in_force``;
            ``bench_without_scale`` where boxes of the size are weighed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Started:
        locking.wait_for((Bench, bench_id))
        foresee((locking.by_id(Bench), bench_id), (LOCK_OPEN_BAGS, bench_id))
        bench = bench_in_use(bench_id)
        bags = LOCK_OPEN_BAGS(bench.pk)
        of_size = (_SIZE, size_id), (_IN_FORCE, size_id)
        foresee(*of_size, (IN_WORK_AT, bench_id), (STANDING,))
        size, recipe = _size_and_recipe(size_id)
        if size.weigh:
            scale_u(bench)
        if IN_WORK_AT(bench.pk):
            raise Conflict("bench_has_a_box", bench=bench.name)
        box = Box(recipe=recipe, size=size, bench=bench, stage="")
        event = move_box(box, BoxStage.OPEN)
        box.number = take(act.workshop.site, numbers.Kind.BOX)[0]
        bulk.insert([box], last=True)
        filling = filling_of(box, fresh=True)
        taken = _fill(act, filling, bags, bench)
        act.write(event, *filling.events)
        empty = [bag.number for bag in bags if bag.pieces == 0]
        return Started(
            box_id=box.pk, box=box.number, taken=taken, emptied=", ".join(empty)
        )

    return perform("start_box", work, Started, sign, bench=bench_id, size=size_id)


LOCK_OPEN_BAGS = locking.finding(
    lambda bench: Bag.objects.filter(open_at__bench=bench),
    *_WITH_LOT,
)
IN_WORK_AT = Kept(lambda bench: Box.objects.filter(IN_WORK, bench=bench))
"""The box that a bench works on, if there is one."""
_SIZE = Kept(lambda size: BoxSize.objects.filter(pk=size).select_related("product"))
_IN_FORCE = Kept(lambda size: Recipe.objects.filter(product__sizes=size, in_force=True))
_OPEN_AT = Kept(lambda bench: OpenBag.objects.filter(bench=bench))


def _size_and_recipe(size_id: int) -> tuple[BoxSize, Recipe]:
    sizes = _SIZE(size_id)
    if not sizes:
        raise Missing("row_missing", what="box size")
    if not sizes[0].active:
        of = sizes[0].product.name
        raise Refused("size_closed", product=of, sets=sizes[0].sets)
    recipes = _IN_FORCE(size_id)
    if not recipes:
        raise Refused("no_recipe_in_force", product=sizes[0].product.name)
    return sizes[0], recipes[0]


def _fill(act: Act, filling: Filling, bags: list[Bag], bench: Bench) -> int:
    """Take from the bench's open bags whatever may be packed; the rest is left."""
    reach = standing_reach()
    today = day_of(act.workshop, act.now)
    here = {row.bag_id for row in _OPEN_AT(bench.pk)}
    used, taken = [], 0
    for bag in sorted(bags, key=filling.pinned.rank):
        if bag.pk not in here or filling.refusal(bag):
            continue
        if packing_problem(bag, bag.lot, today=today, now=act.now, reach=reach):
            continue
        taken += filling.take(bag)
        used.append(bag)
    filling.write_lines()
    save_bags(used, last=True)
    drop_used_up(used)
    return taken


def see_label(*, box_id: int, read: str, sign: Sign) -> BoxMoved:
    """Take the scan of a box's own label, printed and stuck on: it is labelled.

    Args:
        box_id: The box that stands closed at the bench.
        read: What the scan named: the serial or the SSCC, already read out of it.
        sign: Who, when and the operation key.

    Returns:
        The box and its stage.

    Raises:
        Missing: If there is no such box.
        OnHold: If it or anything in it is held.
        Refused: ``other_label`` if the label is another box's, ``label_not_printed``.
        WrongStage: If the box is not closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> BoxMoved:
        locking.wait_for((Box, box_id))
        foresee((locking.by_id(Box), box_id), (STANDING,), (_PRINTED, box_id))
        box = locking.lock_row(Box, box_id)
        if read not in (box.serial, box.sscc):
            raise Refused("other_label", read=read, box=str(box))
        refuse_unlabelled_held(box)
        event = move_box(box, BoxStage.LABELLED)
        if not _PRINTED(box_id):
            raise Refused("label_not_printed", box=str(box))
        box.label_seen_at = act.now
        bulk.update([box], ["stage", "events_seen", "label_seen_at"], last=True)
        act.write(event)
        return BoxMoved(box=str(box), stage=str(box.stage))

    return perform("see_label", work, BoxMoved, sign, box=box_id, read=read)


_PRINTED = Kept(lambda box: Print.objects.filter(box=box).order_by("pk")[:1])
