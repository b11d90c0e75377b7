"""What becomes of the bags of a rejected lot: sorted, sent back, scrapped or accepted.

The lot's verdict stays what its check said; each bag's disposition says what became of
it. A bag that was rejected is in no other way brought back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kitting.checking.steps import Found, found_of
from kitting.domain.errors import OnHold, Refused, WrongStage
from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger import locking
from kitting.ledger.needs import LONGEST_REASON, need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.bags import Change, change, need_stage, onward, save_bags
from kitting.lots.steps.counts import need_shown
from kitting.lots.steps.scrap import scrap_reason
from kitting.models import Bag, Disposition, Lot, Movement
from kitting.models.evidence import Fate
from kitting.models.lots import Verdict


@dataclass(frozen=True)
class Sorted:
    """A rejected bag that was looked through piece by piece."""

    bag: str
    good: int
    bad: int
    stage: str
    """Where its good pieces go on; used up where there are none."""


@dataclass(frozen=True)
class Disposed:
    """Rejected bags of one lot that all had the same done to them."""

    lot: str
    bags: list[str]
    pieces: int


def sort_bag(
    *,
    bag_id: int,
    good: int,
    sign: Sign,
    defects: Sequence[tuple[int, int]] = (),
    unlisted: int = 0,
    reason: str = "",
) -> Sorted:
    """Sort a rejected bag piece by piece: the good go on, the bad are scrapped.

    Args:
        bag_id: The bag.
        good: Pieces without a defect.
        sign: Who, when and the operation key.
        defects: Id of each kind of defect and pieces scrapped for it.
        unlisted: Pieces scrapped for a defect that is not on the list.
        reason: What else is to be said; needed where ``unlisted`` is not 0.

    Returns:
        Good and bad pieces, and the bag's stage.

    Raises:
        Missing: If there is no such bag.
        Refused: ``sorting_does_not_add_up`` unless good and bad make up the bag;
            ``lot_not_rejected``; ``defects_out_of_range``, ``defect_kind_twice``,
            ``defect_kind_not_looked_for``, ``entry_too_long``, ``reason_missing``.
        WrongStage: If the bag is not rejected.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Sorted:
        bag = locking.lock_row(Bag, bag_id, "lot__part")
        lot = _need_rejected(bag.lot)
        need_stage(bag, BagStage.REJECTED)
        found = found_of(lot.part, defects, unlisted)
        if good < 0 or good + found.pieces != bag.pieces:
            raise Refused(
                "sorting_does_not_add_up",
                bag=bag.number,
                pieces=bag.pieces,
                good=good,
                bad=found.pieces,
            )
        words = _words(reason, found)
        movements = _scrapped(bag, found, reason.strip())
        if good:
            movements += _on(bag, lot)
        save_bags([bag])
        disposition = Disposition(
            lot=lot,
            bag=bag,
            fate=Fate.SORTED,
            good=good,
            bad=found.pieces,
            reason=words,
        )
        act.write(disposition, *movements)
        return Sorted(bag.number, good, found.pieces, str(bag.stage))

    return perform(
        "sort_bag",
        work,
        Sorted,
        sign,
        bag=bag_id,
        good=good,
        defects=list(defects),
        unlisted=unlisted,
        reason=reason,
    )


def send_back(
    *,
    lot_id: int,
    reason: str,
    sign: Sign,
    bag_ids: Sequence[int] = (),
    pieces: int | None = None,
) -> Disposed:
    """Send rejected bags back to where they came from, with all that is in them.

    In the balance of the lot they count as not received.

    Args:
        lot_id: The rejected lot.
        reason: Why, as the source will read it.
        sign: Who, when and the operation key.
        bag_ids: Which of its bags; none for all that are still rejected.
        pieces: What was shown to be in them; None takes any.

    Returns:
        The bags and the pieces that left.

    Raises:
        Conflict: ``pieces_differ``.
        Missing: If there is no such lot or bag.
        OnHold: ``bag_held`` if one of them is on hold: it stays until that is lifted.
        Refused: ``bag_of_another_lot``, ``lot_not_rejected``, ``no_rejected_bag``,
            ``reason_missing``, ``entry_too_long``.
        WrongStage: If a bag is not rejected.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Disposed:
        why = need_reason(reason)
        return _dispose(act, lot_id, bag_ids, pieces, Fate.SENT_BACK, why)

    return perform(
        "send_back",
        work,
        Disposed,
        sign,
        lot=lot_id,
        bags=sorted(bag_ids),
        reason=reason,
        pieces=pieces,
    )


def accept_under_concession(
    *,
    lot_id: int,
    reason: str,
    sign: Sign,
    bag_ids: Sequence[int] = (),
    pieces: int | None = None,
) -> Disposed:
    """Let rejected bags go on as if they had been accepted.

    Args:
        lot_id: The rejected lot.
        reason: Why they may be used all the same.
        sign: The quality officer, when and the operation key.
        bag_ids: Which of its bags; none for all that are still rejected.
        pieces: What was shown to be in them; None takes any.

    Returns:
        The bags and the pieces that go on.

    Raises:
        Conflict: ``pieces_differ``.
        Missing: If there is no such lot or bag.
        Refused: ``bag_of_another_lot``, ``lot_not_rejected``, ``no_rejected_bag``,
            ``reason_missing``, ``entry_too_long``.
        WrongStage: If a bag is not rejected.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Disposed:
        why = need_reason(reason)
        return _dispose(act, lot_id, bag_ids, pieces, Fate.CONCESSION, why)

    return perform(
        "accept_under_concession",
        work,
        Disposed,
        sign,
        lot=lot_id,
        bags=sorted(bag_ids),
        reason=reason,
        pieces=pieces,
    )


def scrap_rejected(
    *,
    lot_id: int,
    reason: str,
    sign: Sign,
    note: str = "",
    bag_ids: Sequence[int] = (),
    pieces: int | None = None,
) -> Disposed:
    """Scrap rejected bags with all that is in them, such as a rejected lot as a whole.

    Args:
        lot_id: The rejected lot.
        reason: Why: one of the workshop's list.
        sign: Who, when and the operation key.
        note: What else is to be said; may be empty.
        bag_ids: Which of its bags; none for all that are still rejected.
        pieces: What was shown to be in them; None takes any.

    Returns:
        The bags and the pieces that were scrapped.

    Raises:
        Conflict: ``pieces_differ``.
        Missing: If there is no such lot or bag.
        OnHold: ``bag_held`` if one of them is on hold: it stays until that is lifted.
        Refused: ``bag_of_another_lot``, ``lot_not_rejected``, ``no_rejected_bag``,
            ``entry_too_long``, ``scrap_reason_unknown``.
        WrongStage: If a bag is not rejected.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Disposed:
        why = scrap_reason(act, reason, note)
        return _dispose(act, lot_id, bag_ids, pieces, Fate.SCRAPPED, why)

    return perform(
        "scrap_rejected",
        work,
        Disposed,
        sign,
        lot=lot_id,
        bags=sorted(bag_ids),
        reason=reason,
        note=note,
        pieces=pieces,
    )


_AWAY = {
    Fate.SENT_BACK: MovementKind.SENT_BACK,
    Fate.SCRAPPED: MovementKind.SCRAPPED,
}


def _dispose(
    act: Act,
    lot_id: int,
    bag_ids: Sequence[int],
    shown: int | None,
    fate: Fate,
    why: str,
) -> Disposed:
    """Do the same to rejected bags of a lot: they go away whole, or on whole."""
    locking.enter_gate()
    lot = _rejected_lot(lot_id)
    bags = _rejected_bags(lot, bag_ids)
    pieces = {bag.pk: bag.pieces for bag in bags}
    total = sum(pieces.values())
    need_shown(lot, total, shown)
    if fate in _AWAY:
        _refuse_held(bags)
        movements = [
            change(bag, Change(_AWAY[fate], bag.pieces, sign=-1, reason=why))
            for bag in bags
        ]
    else:
        movements = [move for bag in bags for move in _on(bag, lot, why)]
    save_bags(bags)
    counted = "bad" if fate in _AWAY else "good"
    rows = [
        Disposition(
            lot=lot, bag=bag, fate=fate, reason=why, **{counted: pieces[bag.pk]}
        )
        for bag in bags
    ]
    act.write(*rows, *movements)
    return Disposed(lot.number, [bag.number for bag in bags], total)


def _refuse_held(bags: Sequence[Bag]) -> None:
    reach = standing_reach()
    for bag in bags:
        if reach.bag(bag):
            raise OnHold("bag_held", bag=bag.number)


def _rejected_lot(lot_id: int) -> Lot:
    """Read a lot; a verdict is given once and never changes, so it needs no lock."""
    lots = Lot.objects.select_related("part")
    return _need_rejected(need_row(lots.filter(pk=lot_id)))


def _need_rejected(lot: Lot) -> Lot:
    if lot.verdict != Verdict.REJECTED:
        raise Refused("lot_not_rejected", lot=lot.number)
    return lot


def _rejected_bags(lot: Lot, ids: Sequence[int]) -> list[Bag]:
    if ids:
        bags = list(locking.lock_rows(Bag, ids).values())
    else:
        rejected = Bag.objects.filter(lot=lot, stage=BagStage.REJECTED)
        bags = locking.lock_found(rejected)
    if not bags:
        raise WrongStage("no_rejected_bag", lot=lot.number)
    for bag in bags:
        if bag.lot_id != lot.pk:
            raise Refused("bag_of_another_lot", bag=bag.number, lot=lot.number)
        need_stage(bag, BagStage.REJECTED)
        bag.lot = lot
    return bags


def _on(bag: Bag, lot: Lot, reason: str = "") -> list[Movement]:
    """Move what is in a rejected bag on, as an accepted bag of its part goes on."""
    what = Change(
        MovementKind.ACCEPTED, bag.pieces, to=BagStage.ACCEPTED, reason=reason
    )
    return [change(bag, what), *onward(bag, lot.part)]


def _scrapped(bag: Bag, found: Found, unlisted: str) -> list[Movement]:
    reasons = [(kind.name, pieces) for kind, pieces in found.kinds.items()]
    if found.unlisted:
        reasons.append((unlisted, found.unlisted))
    scrap = MovementKind.SCRAPPED
    return [
        change(bag, Change(scrap, pieces, sign=-1, reason=reason))
        for reason, pieces in reasons
    ]


def _words(reason: str, found: Found) -> str:
    if reason.strip() or found.unlisted:
        return need_reason(reason)
    words = [f"{pieces} × {kind.name}" for kind, pieces in found.kinds.items()]
    return "; ".join(words)[:LONGEST_REASON] or "All good"
