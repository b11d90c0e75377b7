"""Boxes that come to nothing, cancelled or voided, and held pieces taken out of one."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain.errors import Conflict, WrongStage
from kitting.domain.stages import BoxStage, MovementKind
from kitting.ledger import locking
from kitting.ledger.needs import need_reason, wrong_box
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import refuse_held_box, stopped
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import Bag, Box, BoxLine, Guarded
from kitting.packing.services.boxes import BoxMoved
from kitting.packing.steps import drop_lines, move_box, put_back, take_all_back
from kitting.printing.steps import stop_labels_of


def cancel_box(*, box_id: int, reason: str, sign: Sign) -> BoxMoved:
    """Cancel an open box: every piece goes back to its bag.

    Where two lots of a part are in it, their pieces cannot be told apart any more and
    are scrapped.

    Args:
        box_id: The box.
        reason: Why.
        sign: Who, when and the operation key.

    Returns:
        The box and its stage, and what was scrapped.

    Raises:
        Conflict: ``page_is_old`` if a bag was scanned into it at the same moment.
        Missing: If there is no such box.
        Refused: ``reason_missing``, ``entry_too_long``.
        WrongStage: If it is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> BoxMoved:
        why = need_reason(reason)
        box, bags, _lines = _locked(box_id, "cancelled")
        event = move_box(box, BoxStage.VOIDED, why)
        back, scrapped = take_all_back(box, bags, why)
        box.save(update_fields=["stage", "events_seen"])
        act.write(event, *back)
        told = ", ".join(f"{many} × {name}" for name, many in scrapped.items())
        return BoxMoved(box=str(box), stage=str(box.stage), scrapped=told)

    return perform("cancel_box", work, BoxMoved, sign, box=box_id, reason=reason)


@dataclass(frozen=True)
class TakenOut:
    """A box that nothing held is in any more."""

    box: str
    out: str
    """What went back into which bag: pieces, part and bag."""


def take_out_held(*, box_id: int, sign: Sign) -> TakenOut:
    """Take what is held out of an open box, back into its bags, which stay held.

    Args:
        box_id: The box.
        sign: Who, when and the operation key.

    Returns:
        The box, and what was taken out.

    Raises:
        Conflict: ``page_is_old`` if a bag was scanned into it at the same moment.
        Missing: If there is no such box.
        OnHold: ``held_among_others``, ``box_on_hold`` where nothing can be taken out.
        WrongStage: If it is not open; ``box_not_held`` if the hold was lifted meanwhile.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> TakenOut:
        locking.enter_gate()
        box, bags, lines = _locked(box_id, "cancelled")
        reach = standing_reach()
        found = stopped(box, lines, reach)
        if found is None:
            raise WrongStage("box_not_held", box=str(box))
        if not found.apart:
            refuse_held_box(box, lines, reach)
        back = [put_back(box, bags[line.bag_id], line) for line in found.lines]
        drop_lines(found.lines)
        save_bags([bags[pk] for pk in {line.bag_id for line in found.lines}])
        act.write(*back)
        return TakenOut(box=str(box), out=found.out)

    return perform("take_out_held", work, TakenOut, sign, box=box_id)


def void_box(*, box_id: int, reason: str, sign: Sign) -> BoxMoved:
    """Void a closed or labelled box: its pieces are scrapped, none go back to stock.

    Args:
        box_id: The box.
        reason: Why.
        sign: Who, when and the operation key.

    Returns:
        The box and its stage.

    Raises:
        Conflict: ``page_is_old`` if it was filled and closed at the same moment.
        Missing: If there is no such box.
        Refused: ``reason_missing``, ``entry_too_long``.
        WrongStage: If it is open (cancel it), loaded or gone.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> BoxMoved:
        why = need_reason(reason)
        box, bags, lines = _locked(box_id, "voided")
        event = move_box(box, BoxStage.VOIDED, why)
        scrapped = [_scrapped(bags[line.bag_id], line, box, why) for line in lines]
        save_bags(list(bags.values()))
        box.save(update_fields=["stage", "events_seen"])
        stop_labels_of(box, act.now)
        act.write(event, *scrapped)
        return BoxMoved(box=str(box), stage=str(box.stage))

    return perform("void_box", work, BoxMoved, sign, box=box_id, reason=reason)


def _locked(box_id: int, to: str) -> tuple[Box, dict[int, Bag], list[BoxLine]]:
    """Lock a box after its bags, and read what is in it under the lock.

    Only an open box is cancelled, and only one that is no longer open is voided.
    """
    ids = set(BoxLine.objects.filter(box=box_id).values_list("bag", flat=True))
    bags = locking.lock_rows(Bag, ids)
    box = locking.lock_row(Box, box_id)
    if (box.stage == BoxStage.OPEN) != (to == "cancelled"):
        raise wrong_box(box, to)
    lines = list(
        BoxLine.objects.filter(box=box)
        .select_related("lot__part", "bag")
        .order_by("pk")
    )
    if {line.bag_id for line in lines} != ids:
        raise Conflict("page_is_old")
    return box, bags, lines


def _scrapped(bag: Bag, line: BoxLine, box: Box, reason: str) -> Guarded:
    what = Change(
        MovementKind.SCRAPPED, line.pieces, box=box, run_id=line.run_id, reason=reason
    )
    return change(bag, what)
