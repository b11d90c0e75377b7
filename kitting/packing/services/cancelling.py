"""What is asked before an open box is cancelled at its bench."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from kitting.domain.commands import (
    CANCEL_REASONS,
    DAMAGED,
    Asked,
    Command,
    Do,
    end_of,
)
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import BoxStage
from kitting.models import Bag
from kitting.packing.queries.at_hand import at_hand, parts_in
from kitting.packing.queries.undo import HAND_OVER, UNDO
from kitting.packing.services import clearing, hand_over, voiding
from kitting.packing.services.scanned import Answer, Scan, did
from kitting.packing.services.undo import undo_asked
from kitting.packing.steps import lines_of

CANCELLING: Final = (Do.YES, Do.NO, Do.NUMBER)
"""Commands that answer what is asked here; numbers answer others, too."""


def cancel(
    scan: Scan, end: str, *, apart: bool | None = None, about: str = ""
) -> Answer:
    """Cancel the box; first ask why, what is damaged, and whether lots are told apart.

    Args:
        scan: The scan.
        end: The reason, as its command label has it; empty where it is to be asked.
        apart: Whether lots of one part can be told apart; None where nobody was asked.
        about: Which lots that was asked about; other ones are asked about again.

    Returns:
        What became of the box, or what is asked.

    Raises:
        Conflict: If the bench or box is not as the act needs it.
        Refused: If the bench has no box.
        WrongStage: ``closed_box_not_cancelled``.
    """
    scan.need_same_box()
    box = scan.box_in_work()
    if box.stage == BoxStage.CLOSED and scan.before is None:
        raise WrongStage("closed_box_not_cancelled", box=str(box))
    if not end:
        return Answer(asked=Asked("cancel"))
    named = scan.asked.bags if scan.asked.menu in ("damaged", "apart") else ()
    if end == DAMAGED and not named:
        return Answer(asked=Asked("damaged"))
    parts = Bag.objects.filter(number__in=named).values_list("lot__part", flat=True)
    try:
        gone = voiding.cancel_box(
            box_id=box.pk,
            reason=CANCEL_REASONS[end],
            damaged=sorted({*parts}),
            apart=apart,
            about=about,
            sign=scan.sign,
        )
    except Refused as refusal:
        if refusal.code != "lots_undecided":
            raise
        out = str(refusal.params["out"])
        return Answer(asked=Asked("apart", named, f"{end}{end_of(out)}"), about=out)
    return replace(did("cancel_box", gone), asked=Asked("cancelled"))


def name_damaged(scan: Scan, bag: str) -> Answer:
    """Say that a part in the box is damaged, by a bag of it; its first takes that back.

    Args:
        scan: The scan.
        bag: Number of a bag that its pieces came from.

    Returns:
        What is asked, with all that is named by now.

    Raises:
        Refused: ``bag_not_in_box``, or if the bench has no box.
    """
    lines = lines_of(scan.box_in_work())
    of = {line.bag.number: line.lot.part_id for line in lines}
    if bag not in of:
        raise Refused("bag_not_in_box", bag=bag)
    first = next(each for each, part in of.items() if part == of[bag])  # as it is shown
    named = scan.asked.bags
    others = tuple(each for each in named if of.get(each) != of[bag])
    if others == named:
        named = (*named, first)
    elif bag == first:
        named = others
    return Answer(asked=Asked("damaged", named))


def answer(scan: Scan, command: Command) -> Answer:
    """Take yes, no, or a number for what the screen shows in that place.

    Args:
        scan: The scan.
        command: The command.

    Returns:
        What was done, or what is asked next.

    Raises:
        Conflict: If what is to be undone is not the last act any more.
        Refused: ``nothing_asked``, or as the act is.
    """
    asked = scan.asked
    if asked.menu == UNDO and command.do is Do.YES:
        return undo_asked(scan)
    if asked.menu in clearing.MENUS:
        return clearing.answer(scan, command)
    if asked.menu == HAND_OVER:
        return hand_over.answer(scan, command)
    if command.do is Do.NUMBER:
        if asked.menu == "damaged":
            scan.need_same_box()
            box = scan.box_in_work()
            shown = parts_in(at_hand(box, lines_of(box), []))
            if 1 <= command.sets <= len(shown):
                return name_damaged(scan, shown[command.sets - 1].bag)
    elif asked.menu == "apart" and (end := asked.end[:-8]) in CANCEL_REASONS:
        return cancel(scan, end, apart=command.do is Do.YES, about=asked.end[-8:])
    raise Refused("nothing_asked")
