"""Boxes that come to nothing, cancelled or voided, and pieces taken out of an open one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kitting.domain.commands import end_of
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.prints import DESTROYED, SCANNED
from kitting.domain.stages import BoxStage, MovementKind
from kitting.ledger import locking
from kitting.ledger.needs import need_reason, wrong_box
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.ledger.stopped import overdue_in, refuse_held_box, stopped, told
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import Bag, Box, BoxLine, Guarded, Print
from kitting.packing.services.boxes import BoxMoved
from kitting.packing.steps import (
    bring_about,
    drop_lines,
    fates,
    move_box,
    need_at_bench,
    put_back,
)
from kitting.printing.steps import stop_labels_of
from kitting.web import scans


@dataclass(frozen=True)
class Cancelled:
    """An open box that came to nothing, and what became of its pieces."""

    box: str
    stage: str
    back: str
    """What went back: pieces, part and bag, and its place where that is not here."""
    scrapped: str
    """What went into the waste, likewise."""
    apart: bool
    """Whether somebody said that lots of one part can be told apart."""


def cancel_box(
    *,
    box_id: int,
    reason: str,
    sign: Sign,
    damaged: Sequence[int] = (),
    apart: bool | None = None,
    about: str = "",
) -> Cancelled:
    """Cancel an open box: its pieces go back to their bags, or into the waste.

    What is damaged is scrapped, and so is what may not go back: of a lot that cannot be
    told apart from another, or of which some pieces are held and others not, or where
    the bag was cleared by another run since; of a box that is held itself all of it.

    Args:
        box_id: The box.
        reason: Why.
        sign: Who, when and the operation key.
        damaged: Ids of parts in it whose pieces are damaged.
        apart: Whether lots of one part can be told apart; None where nobody was asked.
        about: What that was asked about, by ``end_of``; empty where the answer is for
            whatever lots there are.

    Returns:
        What went back into which bag, and what was scrapped.

    Raises:
        Conflict: ``page_is_old`` if a bag was scanned into it at the same moment, or
            what is damaged is not in it; ``bench_has_another_box`` if it was handed
            over.
        Missing: If there is no such box.
        OnHold: ``box_on_hold`` if it is held itself and stands at its bench still.
        Refused: ``reason_missing``, ``entry_too_long``; ``lots_undecided`` where
            nobody said whether these lots can be told apart.
        WrongStage: If it is not open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Cancelled:
        why = need_reason(reason)
        locking.enter_gate()
        box, bags, lines = _locked(box_id, "cancelled")
        need_at_bench(box, sign.bench_id)
        if not {line.lot.part_id for line in lines}.issuperset(damaged):
            raise Conflict("page_is_old")
        reach = standing_reach()
        gone = damaged
        if reach.on(box):  # in no bag anybody would know that the pieces are held
            if box.in_work:
                refuse_held_box(box, lines, reach)
            gone = [line.lot.part_id for line in lines]
        found = fates(lines, reach, damaged=gone, apart=bool(apart))
        asked = [each.line for each in found if each.asked]
        out = ", ".join(map(told, asked))
        if asked and (apart is None or about not in ("", end_of(out))):
            raise Refused("lots_undecided", box=str(box), out=out)
        event = move_box(box, BoxStage.VOIDED, why)
        back = bring_about(box, bags, found, why)
        box.save(update_fields=["stage", "events_seen"])
        act.write(event, *back)
        return Cancelled(
            box=str(box),
            stage=str(box.stage),
            back=_said(box, (each.line for each in found if each.back)),
            scrapped=_said(box, (each.line for each in found if not each.back)),
            apart=bool(asked) and bool(apart),
        )

    return perform(
        "cancel_box",
        work,
        Cancelled,
        sign,
        box=box_id,
        reason=reason,
        damaged=sorted(damaged),
        apart=apart,
        about=about,
    )


def _said(box: Box, lines: Iterable[BoxLine]) -> str:
    """Say where pieces are: in which bag, and where that stands if not at the bench."""
    here = box.bench.place_id if box.bench else None
    said = []
    for line in lines:
        place = line.bag.place
        away = f" {place.name}" if place is not None and place.pk != here else ""
        said.append(f"{told(line)}{away}")
    return ", ".join(said)


@dataclass(frozen=True)
class TakenOut:
    """A box that nothing is in any more that must not go out with it."""

    box: str
    out: str
    """What went back into which bag: pieces, part and bag."""
    overdue: bool = False
    """Whether those bags were open for too long, so that they are set back next."""


def take_out(*, box_id: int, sign: Sign) -> TakenOut:
    """Take out of an open box what is held, else what was open for too long.

    It goes back into its bags, which stay held, or are set back.

    Args:
        box_id: The box.
        sign: Who, when and the operation key.

    Returns:
        The box, and what was taken out.

    Raises:
        Conflict: ``page_is_old`` if a bag was scanned into it at the same moment;
            ``bench_has_another_box`` if it was handed over.
        Missing: If there is no such box.
        OnHold: ``held_among_others``, ``box_on_hold`` where nothing can be taken out.
        Refused: ``overdue_among_others``, likewise.
        WrongStage: If it is not open; ``box_not_stopped`` where nothing must come out,
            as if the hold was lifted meanwhile.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> TakenOut:
        locking.enter_gate()
        box, bags, lines = _locked(box_id, "cancelled")
        need_at_bench(box, sign.bench_id)
        reach = standing_reach()
        held = stopped(box, lines, reach)
        found = held or overdue_in(box, lines, reach, act.now)
        if found is None:
            raise WrongStage("box_not_stopped", box=str(box))
        if not found.apart:
            refuse_held_box(box, lines, reach)
            raise Refused("overdue_among_others", box=str(box), out=found.out)
        back = [put_back(box, bags[line.bag_id], line) for line in found.lines]
        drop_lines(found.lines)
        save_bags([bags[pk] for pk in {line.bag_id for line in found.lines}])
        act.write(*back)
        return TakenOut(box=str(box), out=found.out, overdue=held is None)

    return perform("take_out", work, TakenOut, sign, box=box_id)


def void_box(*, box_id: int, reason: str, sign: Sign, label: str = "") -> BoxMoved:
    """Void a closed or labelled box: its pieces are scrapped, none go back to stock.

    Args:
        box_id: The box.
        reason: Why.
        sign: Who, when and the operation key.
        label: What the scanner read off its label, which comes back, or ``DESTROYED``;
            empty for a box whose label was never printed.

    Returns:
        The box and its stage.

    Raises:
        CodeError: If what was scanned cannot be read.
        Conflict: ``page_is_old`` if it was filled and closed at the same moment.
        Missing: If there is no such box.
        Refused: ``reason_missing``, ``entry_too_long``; ``old_label_stays``,
            ``old_label_is_another``.
        WrongStage: If it is open (cancel it), loaded or gone.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> BoxMoved:
        why = need_reason(reason)
        box, bags, lines = _locked(box_id, "voided")
        event = move_box(box, BoxStage.VOIDED, why)
        event.label = _label_back(box, label)
        scrapped = [_scrapped(bags[line.bag_id], line, box, why) for line in lines]
        save_bags(list(bags.values()))
        box.save(update_fields=["stage", "events_seen"])
        stop_labels_of(box, act.now)
        act.write(event, *scrapped)
        return BoxMoved(box=str(box), stage=str(box.stage))

    return perform(
        "void_box", work, BoxMoved, sign, box=box_id, reason=reason, label=label
    )


def _label_back(box: Box, label: str) -> str | None:
    """What became of the label of a box that is voided: none must stay in use."""
    if not Print.objects.filter(box=box).exists():
        return None
    if not label.strip():
        raise Refused("old_label_stays", box=str(box))
    if label == DESTROYED:
        return DESTROYED
    if scans.read(label).text not in (box.serial, box.sscc):
        raise Refused("old_label_is_another", box=str(box))
    return SCANNED


def _locked(box_id: int, to: str) -> tuple[Box, dict[int, Bag], list[BoxLine]]:
    """Lock a box after its bags, and read what is in it under the lock.

    Only an open box is cancelled, and only one that is no longer open is voided.
    """
    ids = set(BoxLine.objects.filter(box=box_id).values_list("bag", flat=True))
    bags = locking.lock_rows(Bag, ids)
    box = locking.lock_row(Box, box_id, "bench")
    if (box.stage == BoxStage.OPEN) != (to == "cancelled"):
        raise wrong_box(box, to)
    lines = list(
        BoxLine.objects.filter(box=box)
        .select_related("lot__part", "bag__place")
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
