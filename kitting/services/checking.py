"""The incoming check of a lot: accept or reject."""

from __future__ import annotations

from dataclasses import dataclass

from kitting import locking
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import BagStage, MovementKind
from kitting.models import Bag, Check, Lot, Movement
from kitting.models.lots import LotStage, Verdict
from kitting.operations import Act, Sign, perform
from kitting.services.steps.bags import Change, change, onward, save_bags

LONGEST = {"plan": 80, "reason": 200}
"""Characters of a check's texts; SQLite itself would take more."""

MOST_DEFECTS = 1_000_000


@dataclass(frozen=True)
class Checked:
    """The verdict on a lot."""

    lot: str
    verdict: str
    bags: int
    """Bags that it moved."""


def give_verdict(
    *,
    lot_id: int,
    accept: bool,
    plan: str,
    found: int,
    reason: str,
    sign: Sign,
) -> Checked:
    """Accept or reject a closed lot; its arrived bags move with the verdict.

    Accepted bags of a part that needs no disinfection are cleared at once. A rejected
    bag keeps its pieces: scrapping and sending back are acts of their own.

    Args:
        lot_id: The lot.
        accept: The verdict.
        plan: How it was checked, in words.
        found: Defects found, 0 to ``MOST_DEFECTS``.
        reason: Why, needed for a rejection.
        sign: Who, when and the operation key.

    Returns:
        The verdict and how many bags moved.

    Raises:
        Missing: If there is no such lot.
        Refused: ``defects_out_of_range``, ``entry_too_long``, ``lot_needs_no_check``,
            ``reason_missing``.
        WrongStage: ``lot_still_open`` or ``lot_has_a_verdict``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Checked:
        _check_entries(plan=plan, found=found, reason=reason)
        lot = locking.lock_row(Lot, lot_id)
        part = lot.part
        if not part.needs_check:
            raise Refused("lot_needs_no_check", lot=lot.number)
        if lot.stage == LotStage.OPEN:
            raise WrongStage("lot_still_open", lot=lot.number)
        if lot.verdict:
            raise WrongStage("lot_has_a_verdict", lot=lot.number, verdict=lot.verdict)
        if not accept and not reason.strip():
            raise Refused("reason_missing")
        verdict = Verdict.ACCEPTED if accept else Verdict.REJECTED
        lot.verdict = verdict
        lot.save(update_fields=["verdict"])
        ids = lot.bags.filter(stage=BagStage.ARRIVED).values_list("pk", flat=True)
        bags = [
            bag
            for bag in locking.lock_rows(Bag, ids).values()
            if bag.stage == BagStage.ARRIVED
        ]
        movements: list[Movement] = []
        for bag in bags:
            kind = MovementKind.ACCEPTED if accept else MovementKind.REJECTED
            to = BagStage.ACCEPTED if accept else BagStage.REJECTED
            movements.append(change(bag, Change(kind, bag.pieces, to=to)))
            movements += onward(bag, part)
        save_bags(bags)
        check = Check(
            lot=lot,
            plan=plan.strip() or "Looked over",
            found=found,
            verdict=verdict,
            reason=reason.strip(),
        )
        act.write(check, *movements)
        return Checked(lot=lot.number, verdict=verdict, bags=len(bags))

    sent = {
        "lot": lot_id,
        "accept": accept,
        "plan": plan,
        "found": found,
        "reason": reason,
    }
    return perform("give_verdict", sign=sign, sent=sent, gives=Checked, work=work)


def _check_entries(*, plan: str, found: int, reason: str) -> None:
    for what, text in (("plan", plan), ("reason", reason)):
        if len(text.strip()) > LONGEST[what]:
            raise Refused("entry_too_long", what=what, most=LONGEST[what])
    if not 0 <= found <= MOST_DEFECTS:
        raise Refused("defects_out_of_range", read=found, most=MOST_DEFECTS)
