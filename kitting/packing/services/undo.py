"""The last act at a bench undone, as long as nothing rests on it.

Nothing is deleted of the record: every movement has an opposite one, which names it as
the one that it corrects. What was closed, printed or scrapped is not undone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from django.db.models import Q, Sum

from kitting.domain.commands import BEGUN_BY_MISTAKE, NOTHING, Asked
from kitting.domain.errors import Conflict, OnHold, Refused
from kitting.domain.stages import BagStage, BoxStage, MovementKind
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.packable import METHOD_OF_BAG, packing_problem
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import refuse_held_box, told
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import Bag, Bench, Box, BoxLine, Guarded, Movement, OpenBag
from kitting.models.boxes import IN_WORK
from kitting.packing.queries.undo import UNDO, Past, acts_at
from kitting.packing.services.boxes import bench_in_use
from kitting.packing.services.scanned import Answer, Scan, did
from kitting.packing.steps import filling_of, lines_of, move_box, take_out


@dataclass(frozen=True)
class Undone:
    """An act that was undone."""

    of: int
    """Its operation."""
    act: str
    """Its name in the journal."""
    bag: str = ""
    part: str = ""
    box: str = ""
    back: str = ""
    """What goes out of the box again: pieces, part and bag."""
    to: str = ""
    """The place to which the bag goes back, where it came from there."""
    apart: bool = False
    """Whether somebody said that lots of one part can be told apart."""


@dataclass
class _Undoing:
    """An act that is being undone, with all that it moved, locked."""

    act: Act
    bench: Bench
    past: Past
    moves: Sequence[Movement]
    """What it moved, in order."""
    bags: Mapping[int, Bag]
    """Bags that it moved or opened."""
    box: Box | None
    """The box that it filled, which is open here still."""
    lines: list[BoxLine]
    """What is in that."""
    events: list[Guarded] = field(default_factory=list)
    to: str = ""

    @property
    def filled(self) -> Box:
        """The box that it filled."""
        if self.box is None:
            raise Conflict("page_is_old")
        return self.box

    def named(self, name: str) -> Bag | None:
        """The bag that it told of under that name."""
        number = self.past.gave.get(name)
        return next(
            (each for each in self.bags.values() if each.number == number), None
        )

    @property
    def bag(self) -> Bag:
        """The one bag that it was about."""
        bag = self.named("bag")
        if bag is None:
            raise Conflict("page_is_old")
        return bag


def undo(*, bench_id: int, act_id: int, sign: Sign) -> Undone:
    """Undo the last act at a bench.

    Args:
        bench_id: The bench.
        act_id: The operation that is meant: the last there that was not undone.
        sign: Who, when and the operation key.

    Returns:
        What was undone, and what goes back where.

    Raises:
        Conflict: ``undone_already``, ``not_the_last_act``.
        OnHold: If its box is held; ``undo_held`` if a bag of it is.
        Refused: ``act_stays`` for what cannot be undone, ``rests_on_act`` where
            something rests on it; ``bench_closed``; where pieces go into the box again,
            whatever stops a bag from being packed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Undone:
        locking.enter_gate()
        locking.lock_rows(Bench, {bench_id, *_bench_before(bench_id)})
        bench = bench_in_use(bench_id)
        acts = acts_at(bench_id)
        if act_id in acts.undone:
            raise Conflict("undone_already")
        if acts.last is None or acts.last.pk != act_id:
            raise Conflict("not_the_last_act")
        if not acts.can_be_undone:
            raise Refused("act_stays")
        found = _locked(act, bench, acts.last)
        _refuse_held(found)
        _refuse_used_since(found)
        gave = _WAYS[acts.last.name](found)
        save_bags(list(found.bags.values()))
        act.write(*found.events)
        return gave

    there = replace(sign, bench_id=bench_id)  # by it the bench knows what was undone
    return perform(UNDO, work, Undone, there, bench=bench_id, act=act_id)


def _bench_before(bench_id: int) -> list[int]:
    """The bench at which the last bag was open before: it may be open there again."""
    last = acts_at(bench_id).last
    code = "" if last is None else last.gave.get("from_bench", "")
    return list(Bench.objects.filter(code=code).values_list("pk", flat=True))


def _locked(act: Act, bench: Bench, past: Past) -> _Undoing:
    moves = list(Movement.objects.filter(operation=past.pk).order_by("pk"))
    told_of = [past.gave.get(name) or "" for name in ("bag", "instead")]
    ids = set(Bag.objects.filter(number__in=told_of).values_list("pk", flat=True))
    ids |= {move.bag_id for move in moves}
    bags = locking.lock_rows(Bag, ids, "lot__part", "lot__revision", METHOD_OF_BAG)
    boxes = {move.box_id for move in moves if move.box_id is not None}
    boxes |= {past.gave["box_id"]} if past.name == "start_box" else set()
    if not boxes:
        return _Undoing(act, bench, past, moves, bags, None, [])
    here = Box.objects.filter(IN_WORK, pk__in=boxes, bench=bench, stage=BoxStage.OPEN)
    box = next(iter(locking.lock_found(here, "size", "bench")), None)
    if box is None:
        raise Refused("rests_on_act", bag=_numbers(bags))
    return _Undoing(act, bench, past, moves, bags, box, lines_of(box))


def _numbers(bags: Mapping[int, Bag]) -> str:
    return ", ".join(bag.number for bag in bags.values())


def _refuse_held(found: _Undoing) -> None:
    reach = standing_reach()
    if found.box is not None:
        refuse_held_box(found.box, found.lines, reach)
    for bag in found.bags.values():
        if (why := reach.why_bag(bag)) is not None:
            raise OnHold("undo_held", bag=bag.number, by=why.by, reason=why.reason)


def _refuse_used_since(found: _Undoing) -> None:
    """Whatever moved the bags since was undone itself, or rests on the act."""
    ends = {move.bag_id: move.nth for move in found.moves}
    since = Q()
    for bag_id, nth in ends.items():
        since |= Q(bag=bag_id, nth__gt=nth)
    later = Movement.objects.filter(since, corrects=None, corrected_by=None)
    if ends and later.exists():
        raise Refused("rests_on_act", bag=_numbers(found.bags))


def _back(found: _Undoing) -> str:
    """Move everything back, the last first; say what goes out of the box again."""
    out = []
    for move in reversed(found.moves):
        bag = found.bags[move.bag_id]
        if move.kind == MovementKind.PACKED:
            line = _line_of(found, move)
            out.append(told(line, move.pieces))
            row: Movement | None = take_out(found.filled, bag, [line], move.pieces)[0]
        elif move.kind == MovementKind.PLACED:
            row = _place_again(found, bag, move)
        elif move.kind == MovementKind.UNPACKED:
            row = _pack_again(found, bag, move)
        else:
            row = _opposite(bag, move)
        if row is not None:
            row.corrects = move
            found.events.append(row)
    return ", ".join(reversed(out))


def _line_of(found: _Undoing, move: Movement) -> BoxLine:
    for line in found.lines:
        same = (line.bag_id, line.run_id) == (move.bag_id, move.run_id)
        if same and line.pieces >= move.pieces:
            return line
    raise Refused("rests_on_act", bag=_numbers(found.bags))


def _opposite(bag: Bag, move: Movement) -> Movement:
    emptied = bag.stage == BagStage.USED_UP
    to = BagStage(move.stage_before) if emptied else None
    sign = -1 if move.delta > 0 else 1
    what = Change(MovementKind(move.kind), move.pieces, sign=sign, to=to)
    return change(bag, what)


def _place_again(found: _Undoing, bag: Bag, move: Movement) -> Movement | None:
    """To the place before, if that is there; else the bag stays at the bench."""
    before = Movement.objects.select_related("place").get(bag=bag, nth=move.nth - 1)
    if before.place is None or not before.place.active:
        return None
    found.to = before.place.name
    what = Change(MovementKind.PLACED, bag.pieces, place_id=before.place_id)
    return change(bag, what)


def _pack_again(found: _Undoing, bag: Bag, move: Movement) -> Movement:
    """Into the box again, by the rules of packing: they were never out of it."""
    act = found.act
    today = day_of(act.workshop, act.now)
    filling = filling_of(found.filled)
    problem = packing_problem(
        bag, bag.lot, today=today, now=act.now, reach=standing_reach()
    ) or filling.refusal(bag)
    if problem is not None:
        raise problem
    row = filling.put_in(bag, move.pieces)
    filling.write_lines()
    return row


def _open_again(bag: Bag, bench: Bench) -> bool:
    """Make a bag that is at a bench its open bag, where there is none of the part."""
    part = bag.lot.part
    here = bag.stage == BagStage.CLEARED and bag.place_id == bench.place_id
    if not here or not bench.active:
        return False
    if OpenBag.objects.filter(Q(bag=bag) | Q(bench=bench, part=part)).exists():
        return False
    bulk.insert([OpenBag(bench=bench, part=part, bag=bag)])
    return True


def _unbring(found: _Undoing) -> Undone:
    bag, gave = found.bag, found.past.gave
    opened = OpenBag.objects.filter(bag=bag)
    if bag.stage != BagStage.USED_UP and not opened.filter(bench=found.bench).exists():
        raise Refused("rests_on_act", bag=bag.number)
    mixed = bool(others(bag, found.lines, found.moves))
    back = _back(found)
    opened.delete()
    before, elsewhere = found.named("instead"), gave.get("from_bench")
    if before is not None:
        _open_again(before, found.bench)
    if elsewhere:
        _open_again(bag, Bench.objects.get(code=elsewhere))
    return _undone(found, back=back, to=found.to, apart=mixed)


def others(
    bag: Bag, lines: Sequence[BoxLine], moves: Sequence[Movement]
) -> list[BoxLine]:
    """What is in the box of the same part, but of another lot.

    Args:
        bag: The bag from which pieces went in.
        lines: What is in the box.
        moves: How they went in; none where nothing did.

    Returns:
        Lines of which the pieces that come out have to be told apart.
    """
    if not any(move.kind == MovementKind.PACKED for move in moves):
        return []
    lot, part = bag.lot_id, bag.lot.part_id
    return [line for line in lines if line.lot.part_id == part and line.lot_id != lot]


def _reopen(found: _Undoing) -> Undone:
    if not _open_again(found.bag, found.bench):
        raise Refused("rests_on_act", bag=found.bag.number)
    return _undone(found)


def _recount(found: _Undoing) -> Undone:
    _back(found)
    bag = found.bag
    if found.past.gave.get("was_open") and bag.stage == BagStage.CLEARED:
        _open_again(bag, found.bench)
    return _undone(found)


def _unstart(found: _Undoing) -> Undone:
    box = found.filled
    inside = BoxLine.objects.filter(box=box).aggregate(all=Sum("pieces"))["all"] or 0
    if inside != sum(move.pieces for move in found.moves):
        raise Refused("rests_on_act", bag=_numbers(found.bags))
    back = _back(found)
    event = move_box(box, BoxStage.VOIDED, BEGUN_BY_MISTAKE)
    bulk.update([box], ["stage", "events_seen"])
    found.events.insert(0, event)
    for bag in found.bags.values():
        _open_again(bag, found.bench)
    return _undone(found, box=box.number, back=back)


_WAYS: Final[Mapping[str, Callable[[_Undoing], Undone]]] = {
    "bring_bag": _unbring,
    "find_pieces": _recount,
    "miss_pieces": _recount,
    "start_box": _unstart,
    "take_off_bench": _reopen,
}


def _undone(found: _Undoing, **more: Any) -> Undone:
    gave = found.past.gave
    said = {name: gave.get(name, "") for name in ("bag", "part")}
    return Undone(of=found.past.pk, act=found.past.name, **said | more)


# -- At the screen -------------------------------------------------------------------


def ask(scan: Scan) -> Answer:
    """Ask what is to be undone: the last act first, where it is of that kind.

    Args:
        scan: The scan.

    Returns:
        What is asked, with the act by its operation.

    Raises:
        Refused: ``undo_waited`` where nobody saw what was last when it was scanned.
    """
    if scan.waited:
        raise Refused("undo_waited")
    acts = acts_at(scan.bench_id)
    if acts.last is None or not acts.can_be_undone:
        return Answer(asked=Asked(UNDO), past=acts.last)
    about = ", ".join(map(told, _mixed_with(scan, acts.last)))
    asked = Asked(UNDO, end=str(acts.last.pk))
    return Answer(asked=asked, about=about, past=acts.last)


def _mixed_with(scan: Scan, past: Past) -> list[BoxLine]:
    box = scan.target()
    bag = Bag.objects.filter(number=past.gave.get("bag") or "").select_related("lot")
    if past.name != "bring_bag" or box is None or not box.in_work:
        return []
    moves = list(Movement.objects.filter(operation=past.pk))
    return others(bag.get(), lines_of(box), moves)


def undo_asked(scan: Scan) -> Answer:
    """Undo the act that the screen names.

    Args:
        scan: The scan.

    Returns:
        What was undone; where something goes back, that is shown until it is answered.

    Raises:
        Refused: ``nothing_asked``, or as ``undo``.
    """
    if not scan.asked.end.isdecimal():
        raise Refused("nothing_asked")
    act_id = int(scan.asked.end)
    gave = undo(bench_id=scan.bench_id, act_id=act_id, sign=scan.sign)
    goes_back = Asked("cancelled") if gave.back or gave.to else NOTHING
    return replace(did(UNDO, gave), asked=goes_back)
