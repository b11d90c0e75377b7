"""What a scan at a bench does: bags come, boxes begin and end, labels are seen.

A scan says which box its screen showed, the newest of the bench. Where the bench has
another one by now, a command or bag meant that earlier box and is refused: a tablet may
send a scan hours after it was made. What has been done under the scan's key is looked
up before anything else, and answered by that act with its first outcome.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final
from uuid import uuid5

from django.db.models import QuerySet

from kitting.domain.commands import (
    NOTHING,
    TAKE_OFF,
    Asked,
    Command,
    Do,
    is_command,
    read_command,
)
from kitting.domain.errors import (
    CodeError,
    Missing,
    OperationKeyReused,
    Refused,
    WrongStage,
)
from kitting.domain.prints import DESTROYED, Again
from kitting.domain.shown import shown
from kitting.domain.stages import BoxStage
from kitting.ledger.kept import Kept
from kitting.ledger.operations import Sign
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import stopped
from kitting.models import Bag, Box, BoxSize, OpenBag, Place, Print
from kitting.models.boxes import IN_WORK
from kitting.models.catalogue import PlaceKind
from kitting.packing.queries.bench_rows import Left
from kitting.packing.queries.shift import MENU as SHIFT
from kitting.packing.queries.undo import HAND_OVER
from kitting.packing.scans import size_of_gtin
from kitting.packing.services import (
    aside,
    boxes,
    clearing,
    counting,
    hand_over,
    keep_going,
    set_back,
    shift,
    undo,
    voiding,
)
from kitting.packing.services.cancelling import CANCELLING, answer, cancel, name_damaged
from kitting.packing.services.labels import print_at_bench
from kitting.packing.services.scanned import Answer, Scan, did
from kitting.packing.steps import lines_of
from kitting.places.queries import quarantines
from kitting.places.services import places
from kitting.printing.services import prints
from kitting.web import scans

NAMES_A_BAG: Final[Mapping[str, Callable[[Scan, Bag], Answer]]] = {
    **dict.fromkeys(counting.MENUS, counting.name_bag),
    **dict.fromkeys(clearing.MENUS, clearing.name_bag),
    set_back.MENU: set_back.name_bag,
}
"""Menus under which the bag that is scanned is asked about next."""
ABOUT_A_BAG: Final = (TAKE_OFF.menu, "damaged", *NAMES_A_BAG)
"""Menus under which the bag that is scanned goes into no box."""
ASKS: Final[Mapping[Do, Callable[[Scan], Answer]]] = {
    Do.CLEAR: clearing.ask,
    Do.HAND_OVER: hand_over.ask,
    Do.SET_BACK: set_back.ask,
    Do.UNDO: undo.ask,
}
"""Commands that ask something, and what does."""
PUT_AWAY_AT: Final = (PlaceKind.QUARANTINE, PlaceKind.READY)
"""Kinds of place to which a scan at a bench puts a box."""


def take_scan(
    *,
    bench_id: int,
    text: str,
    box: str,
    purpose: str,
    sign: Sign,
    waited: bool = False,
    goes_on: bool = True,
    shift_due: bool = False,
    newest: Box | None = None,
) -> Answer:
    """Take one scan at a bench and do what it asks for.

    Args:
        bench_id: The bench, which is there.
        text: Any text, as it was scanned, typed or sent by a button.
        box: Number of the newest box of the bench when it was scanned; empty if none.
        purpose: What the screen asked, as text of ``Asked``: a bag may be scanned to be
            taken off the bench, or because its pieces are damaged.
        sign: Who, when, at this bench, and the operation key of this scan.
        waited: Whether it waited for the network: no box starts by itself then, as the
            scans behind it know of none, and nothing is undone that nobody saw.
        goes_on: Whether the next box may start by itself: not in practice.
        shift_due: Whether no box starts at all, before it is answered what is asked at
            the start of a shift.
        newest: The newest box of the bench, where it was just read.

    Returns:
        What was done, or what is asked.

    Raises:
        CodeError: If it is no command and no number.
        Conflict: If the bench, box or key is not as the act needs it;
            ``bench_has_another_box`` if it was meant for an earlier one.
        Missing: If nothing has the number.
        NotFit: If the label of a closed box does not fit its stock.
        OnHold: If what was scanned is held.
        Refused: If a rule forbids the act or the number is of another thing.
    """
    asked = Asked.read(purpose)
    goes_on = goes_on and not shift_due
    scan = Scan(bench_id, box, sign, asked, waited, goes_on, shift_due, newest)
    if is_command(text):
        command = read_command(text)
        if command is None:
            raise CodeError("command_unknown", read=shown(text))
        return _obey(scan, command)
    return _take(scan, _read(text))


def _take(scan: Scan, found: scans.Found) -> Answer:
    """Take what has a number: a box, a place, a bag."""
    if isinstance(found.row, Box):
        return _see_box(scan, found.row, found.text)
    if isinstance(found.row, Place) and scan.asked.menu == clearing.PUT:
        return clearing.put(scan, found.row)
    if isinstance(found.row, Place) and scan.asked.menu == HAND_OVER:
        return hand_over.to_place(scan, found.row)
    if isinstance(found.row, Place) and found.row.kind in PUT_AWAY_AT:
        return _put_away(scan, found.row)
    if found.kind != "bag" or found.row is None:
        what = "shipment" if found.kind == "number" else found.kind
        raise Refused("not_for_the_bench", read=found.text, what=what)
    scan.need_same_box()
    if scan.asked.menu == set_back.DONE and found.text in scan.asked.bags:
        return Answer()  # the new label is on
    if scan.asked.menu == "damaged":
        return name_damaged(scan, found.text)
    if scan.asked.menu in NAMES_A_BAG and isinstance(found.row, Bag):
        return NAMES_A_BAG[scan.asked.menu](scan, found.row)
    of, left = {"bench_id": scan.bench_id, "bag_id": found.row.pk}, Left()
    if scan.asked == TAKE_OFF:
        return did("take_off_bench", boxes.take_off_bench(**of, sign=scan.sign))
    brought = boxes.bring_bag(**of, sign=scan.sign, left=left, newest=scan.newest)
    return replace(did("bring_bag", brought), left=left)


def _read(text: str) -> scans.Found:
    try:
        return scans.read(text)
    except Missing:
        size = size_of_gtin(text)
        if size is None:
            raise
    name = {"product": size.product.name, "sets": size.sets}
    raise Refused("gtin_names_no_box", read=shown(text), **name)


def _obey(scan: Scan, command: Command) -> Answer:
    match command.do:
        case Do.BOX:
            return _start(scan, command)
        case Do.CLOSE | Do.MASS:
            return _close(scan, command.mass_mg)
        case Do.PRINT:
            return _print(scan, command.reason)
        case Do.CANCEL:
            return cancel(scan, command.end)
        case Do.TAKE_OUT:
            return _take_out(scan)
        case Do.QUARANTINE:
            return _quarantine(scan)
        case _ if command.do in ASKS or command.do in (Do.TAKE_OFF, Do.STOP, Do.NEXT):
            return _ask(scan, command)
        case _:
            return _answer(scan, command)


def _answer(scan: Scan, command: Command) -> Answer:
    menu, do = scan.asked.menu, command.do
    if menu == SHIFT and do in (Do.YES, Do.NO):
        return shift.answer(scan, command)
    if do is Do.NO and menu not in ("", "apart"):
        return Answer()
    if do in CANCELLING and menu not in counting.MENUS:
        return answer(scan, command)
    return counting.count(scan, command)


def _ask(scan: Scan, command: Command) -> Answer:
    if command.do is Do.TAKE_OFF:
        if not OpenBag.objects.filter(bench=scan.bench_id).exists():
            raise Refused("no_open_bag")
        return Answer(asked=TAKE_OFF)
    if command.do is Do.STOP:
        scan.need_same_box()
        box = scan.box_in_work()
        return did("stop_after", keep_going.stop_after(box_id=box.pk, sign=scan.sign))
    return ASKS[command.do](scan) if command.do in ASKS else Answer()


def _start(scan: Scan, command: Command) -> Answer:
    scan.need_same_box()
    if scan.shift_due and scan.before is None:
        raise Refused("shift_not_begun")
    size = _size_now(command) if scan.before is None else _size_then(scan, command)
    started = boxes.start_box(bench_id=scan.bench_id, size_id=size.pk, sign=scan.sign)
    return did("start_box", started)


def _size_now(command: Command) -> BoxSize:
    of = [command.product] if command.product else []
    found = _SIZES(command.sets, *of)
    if not found:
        raise Refused("size_not_packed", sets=command.sets)
    if len(found) > 1:
        raise Refused("size_of_two_products", sets=command.sets)
    return found[0]


def _sizes(sets: int, *of: str) -> QuerySet[BoxSize]:
    """Two sizes at most that may be packed now, and hold so many sets of a product."""
    there = BoxSize.objects.filter(sets=sets, product__recipes__in_force=True)
    there = there.filter(active=True, **({"product__code": of[0]} if of else {}))
    return there.select_related("product").order_by("pk")[:2]


_SIZES = Kept(_sizes)


def _size_then(scan: Scan, command: Command) -> BoxSize:
    """The size of the box that this scan started, whatever is packed by now."""
    box = scan.target()
    size = None if box is None else box.size
    named = size is not None and command.product in ("", size.product.code)
    if size is None or not named or size.sets != command.sets:
        raise OperationKeyReused("operation_key_reused", act="start_box")
    return size


def _close(scan: Scan, mass_mg: int | None) -> Answer:
    scan.need_same_box()
    box = scan.box_in_work()
    if box.stage == BoxStage.CLOSED and scan.before is None:
        raise WrongStage("box_waits_for_label", box=str(box))
    if scan.waited and mass_mg is None and box.size.weigh and scan.before is None:
        raise Refused("box_not_weighed", box=box.number)  # who knows what is on it now
    left = Left()
    closed = boxes.close_box(
        box_id=box.pk, sign=scan.sign, mass_mg=mass_mg, left=left, newest=box
    )
    # An act of its own: a label that cannot be printed must not open the box again.
    after = replace(scan.sign, key=uuid5(scan.sign.key, "print"))
    print_at_bench(box_id=box.pk, sign=after, closed=left.box)
    return replace(did("close_box", closed), left=left)


def _print(scan: Scan, reason: str) -> Answer:
    scan.need_same_box()
    box = scan.target()
    if box is None:
        raise Refused("bench_has_no_closed_box")
    if box.stage not in prints.PRINTABLE and scan.before is None:
        raise Refused("bench_has_no_closed_box")
    printed = Print.objects.filter(box=box).exists()
    if printed and not reason and scan.before is None:
        return Answer(asked=Asked("print"))
    again = Again(reason, DESTROYED if reason else "")
    copy = print_at_bench(box_id=box.pk, again=again, sign=scan.sign)
    return did("print_box_label", copy)


def _take_out(scan: Scan) -> Answer:
    scan.need_same_box()
    box = scan.box_in_work()
    taken = voiding.take_out(box_id=box.pk, sign=scan.sign)
    # A bag that was open for too long is set back next: it is scanned.
    asked = Asked(set_back.MENU) if taken.overdue else NOTHING
    return replace(did("take_out", taken), asked=asked)


def _quarantine(scan: Scan) -> Answer:
    """Put what is held away where there is one quarantine only; else ask in which."""
    rows = quarantines()
    if scan.before is not None:
        rows = [row for row in rows if row.code == scan.before.outcome.get("place")]
    if not rows:
        raise Refused("no_quarantine")
    if len(rows) > 1:
        return Answer(asked=Asked("quarantine"))
    return _put_away(scan, rows[0])


def _put_away(scan: Scan, place: Place) -> Answer:
    """What is held goes into quarantine; the box that was labelled last, to the others.

    That is the box, or where nothing stops that, the open bag.
    """
    scan.need_same_box()
    ready = place.kind == PlaceKind.READY
    if not ready and (bag := _held_bag(scan)) is not None:
        done = places.put_bag(bag_id=bag.pk, place_id=place.pk, sign=scan.sign)
        return did("put_bag", done)
    box = _labelled_last(scan) if ready else scan.box_in_work()
    if ready and box.place_id == place.pk and scan.before is None:
        raise Refused("box_put_away_before", box=str(box), place=place.name)
    put = places.put_box(box_id=box.pk, place_id=place.pk, sign=scan.sign)
    return did("put_box", put)


def _held_bag(scan: Scan) -> Bag | None:
    """The open bag that is held, unless a hold stops the box in work itself."""
    before = scan.before
    if before is not None:
        bags = Bag.objects.filter(number=before.outcome.get("thing", ""))
        return bags.first() if before.name == "put_bag" else None
    reach = standing_reach()
    box = Box.objects.filter(IN_WORK, bench=scan.bench_id).first()
    if not reach or (box is not None and stopped(box, lines_of(box), reach)):
        return None
    here = Bag.objects.filter(open_at__bench=scan.bench_id).select_related("lot")
    held = [bag for bag in here.order_by("open_at__pk") if reach.bag(bag)]
    if len(held) > 1:
        numbers = ", ".join(bag.number for bag in held)
        raise Refused("bags_held_here", bags=numbers)
    return held[0] if held else None


def _labelled_last(scan: Scan) -> Box:
    if scan.before is not None:
        return scan.box_in_work()
    at_bench = Box.objects.filter(bench=scan.bench_id, label_seen_at__isnull=False)
    box = at_bench.order_by("-label_seen_at", "-pk").first()
    if box is None:
        raise Refused("no_box_to_put_away")
    return box


def _see_box(scan: Scan, scanned: Box, read: str) -> Answer:
    """Bring a box that was put away; of any other the label is seen."""
    before = scan.before
    away = scanned.unlabelled and not scanned.in_work
    brought = away if before is None else before.name == "bring_box"
    if not brought:
        return _see_label(scan, scanned, read)
    scan.need_same_box()
    moved = aside.bring_box(bench_id=scan.bench_id, box_id=scanned.pk, sign=scan.sign)
    return did("bring_box", moved)


def _see_label(scan: Scan, scanned: Box, read: str) -> Answer:
    here = Box.objects.filter(IN_WORK, bench=scan.bench_id).first()
    box = here if here is not None and here.stage == BoxStage.CLOSED else None
    if box is None or box.pk != scanned.pk:
        if scan.before is not None:
            box = scanned
        elif scanned.in_work and scanned.bench_id != scan.bench_id:
            raise _of_another_bench(scanned, read)
        elif box is None and scanned.label_seen_at is not None:
            if here is not None:
                raise Refused(
                    "finished_box_meanwhile", box=str(scanned), here=str(here)
                )
            raise Refused("label_was_seen", box=str(scanned))
    if box is None:
        raise Refused("no_label_awaited", read=read)
    again = scan.before is not None
    # Of another box the serial is named, which can be read off a label.
    read = read if box.pk == scanned.pk else str(scanned)
    seen = did("see_label", boxes.see_label(box_id=box.pk, read=read, sign=scan.sign))
    if (scan.waited or not scan.goes_on) and not again:
        return seen
    started = keep_going.start_next(box, scan.sign, again=again)
    if started is None:
        return seen
    more = {"next": started.box, "emptied": started.emptied}
    return replace(seen, outcome=seen.outcome | more)


def _of_another_bench(box: Box, read: str) -> Refused:
    if box.stage == BoxStage.CLOSED:
        what = {"read": read, "box": str(box), "bench": str(box.bench)}
        return Refused("label_of_another_bench", **what)
    return Refused("box_of_another_bench", box=str(box), bench=str(box.bench))
