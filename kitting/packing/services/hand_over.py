"""An open box given to another bench in one act, with what that bench lacks for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from kitting.domain.commands import Asked, Command, Do
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import BoxStage, MovementKind
from kitting.ledger import bulk, locking
from kitting.ledger.clock import day_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import refuse_held_box
from kitting.ledger.weighed import scale_u
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import Bag, Bench, Box, BoxHanded, OpenBag, Place
from kitting.packing.queries.hand_over import along, free_benches
from kitting.packing.queries.undo import HAND_OVER
from kitting.packing.services.boxes import IN_WORK_AT, LOCK_OPEN_BAGS
from kitting.packing.services.scanned import Answer, Scan, did
from kitting.packing.steps import Filling, filling_of, lines_of


@dataclass(frozen=True)
class HandedOver:
    """A box that is open at another bench now."""

    box: str
    came_from: str
    """Code of the bench where it was."""
    went_to: str
    """Code of the bench where it is."""
    bags: str = ""
    """Numbers of the bags that went along, with commas between them."""


def hand_over(*, bench_id: int, box_id: int, to_id: int, sign: Sign) -> HandedOver:
    """Hand an open box over to a bench that has none: it is finished there.

    What is in it stays in it. Nothing is put in: what the other bench has open goes in
    when somebody there scans it, so that what the record says is in the box is what was
    carried over.

    Bags that are open at the bench, of parts of this box, go along where the other one
    has none open of the part: whoever carries the box takes them, and nobody walks
    twice for a piece that is bad or missing. The others stay open here.

    It is taken back by handing it back. Who packs is whoever is signed in: another
    person at the same bench needs no act for it, as each act has its own.

    Args:
        bench_id: The bench where the box is open.
        box_id: The box.
        to_id: The bench that takes it.
        sign: Who, when and the operation key.

    Returns:
        The box, both benches, and the bags that went along.

    Raises:
        Conflict: ``bench_has_another_box`` if the box is not at the bench any more;
            ``bench_has_a_box`` if the other one has a box in work.
        Missing: If a bench or the box is not there.
        OnHold: If the box or anything in it is held.
        Refused: ``hand_over_to_itself``; ``bench_closed``; ``bench_without_scale``
            where the box is to be weighed.
        WrongStage: ``only_open_box_handed_over``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> HandedOver:
        if to_id == bench_id:
            raise Refused("hand_over_to_itself")
        locking.enter_gate()
        benches = locking.lock_rows(Bench, (bench_id, to_id))
        here, there = benches[bench_id], benches[to_id]
        if not there.active:
            raise Refused("bench_closed", bench=there.name)
        bags = LOCK_OPEN_BAGS(here.pk)
        box = locking.lock_row(Box, box_id, "size")
        if box.bench_id != here.pk:
            raise Conflict("bench_has_another_box")
        if box.stage != BoxStage.OPEN or not box.in_work:
            raise WrongStage("only_open_box_handed_over", box=str(box))
        if box.size.weigh:
            scale_u(there)
        if IN_WORK_AT(there.pk):
            raise Conflict("bench_has_a_box", bench=there.name)
        filling = filling_of(box)
        refuse_held_box(box, filling.in_box, standing_reach())
        going = _along(act, filling, bags, here, there)
        kind, place = MovementKind.PLACED, there.place_id
        moved = [change(bag, Change(kind, bag.pieces, place_id=place)) for bag in going]
        save_bags(going)
        _open(going, here, there)
        # The database lets the box go only once this is on record.
        act.write(BoxHanded(box=box, before=here, bench=there), *moved)
        box.bench = there
        bulk.update([box], ["bench"])
        return HandedOver(
            box=box.number,
            came_from=here.code,
            went_to=there.code,
            bags=", ".join(bag.number for bag in going),
        )

    # By it the bench knows that nothing before can be undone.
    given = replace(sign, bench_id=bench_id)
    what = {"bench": bench_id, "box": box_id, "to": to_id}
    return perform(HAND_OVER, work, HandedOver, given, **what)


def _along(
    act: Act, filling: Filling, bags: Iterable[Bag], here: Bench, there: Bench
) -> list[Bag]:
    """Open bags of the box's parts that may be packed, and that the other bench lacks."""
    rows = list(OpenBag.objects.filter(bench__in=(here, there)))
    still = {row.bag_id for row in rows if row.bench_id == here.pk}
    return along(
        filling.pinned,
        filling.sets,
        [bag for bag in bags if bag.pk in still],
        [row.part_id for row in rows if row.bench_id == there.pk],
        today=day_of(act.workshop, act.now),
        now=act.now,
        reach=standing_reach(),
    )


def _open(bags: list[Bag], here: Bench, there: Bench) -> None:
    """Make bags open at the other bench; this one is told where they are."""
    if bags:
        rows = OpenBag.objects.filter(bag__in=bags)
        rows.update(bench=there, taken_from=here)


# -- At the screen -------------------------------------------------------------------


def ask(scan: Scan) -> Answer:
    """Ask which bench takes the box: one of those that are free.

    Args:
        scan: The scan.

    Returns:
        What is asked, with the free benches by their ids.

    Raises:
        Conflict: ``bench_has_another_box``.
        OnHold: If the box or anything in it is held.
        Refused: ``hand_over_waited`` where nobody saw what it asked;
            ``bench_has_no_box``, ``no_bench_free``; ``hand_over_in_practice``.
        WrongStage: ``only_open_box_handed_over``.
    """
    if not scan.goes_on:
        raise Refused("hand_over_in_practice")
    box = _box(scan)
    if box.stage != BoxStage.OPEN:
        raise WrongStage("only_open_box_handed_over", box=str(box))
    refuse_held_box(box, lines_of(box), standing_reach())
    found = free_benches(Bench.objects.get(pk=scan.bench_id))
    if not found:
        raise Refused("no_bench_free")
    return Answer(asked=Asked(HAND_OVER, tuple(str(bench.pk) for bench in found)))


def answer(scan: Scan, command: Command) -> Answer:
    """Hand the box over to the bench that the screen shows in that place.

    Args:
        scan: The scan.
        command: The number.

    Returns:
        What was done.

    Raises:
        Refused: ``nothing_asked``, or as ``hand_over``.
    """
    shown = scan.asked.bags
    if command.do is not Do.NUMBER or not 1 <= command.sets <= len(shown):
        raise Refused("nothing_asked")
    to = shown[command.sets - 1]
    if not to.isdecimal():
        raise Refused("nothing_asked")
    return _give(scan, int(to))


def to_place(scan: Scan, place: Place) -> Answer:
    """Hand the box over to the bench whose place was scanned.

    Args:
        scan: The scan.
        place: The place.

    Returns:
        What was done.

    Raises:
        Refused: ``place_is_no_bench``, or as ``hand_over``.
    """
    bench = Bench.objects.filter(place=place).first()
    if bench is None:
        raise Refused("place_is_no_bench", place=place.name)
    return _give(scan, bench.pk)


def _give(scan: Scan, to_id: int) -> Answer:
    of = {"bench_id": scan.bench_id, "box_id": _box(scan).pk}
    return did(HAND_OVER, hand_over(**of, to_id=to_id, sign=scan.sign))


def _box(scan: Scan) -> Box:
    """The box in work, seen as it is now by whoever scanned."""
    if scan.waited and scan.before is None:
        raise Refused("hand_over_waited")
    scan.need_same_box()
    return scan.box_in_work()
