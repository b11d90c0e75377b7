"""The incoming check of a lot: the verdict follows the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from kitting.checking.queries.checks import CheckPlan, plan_of
from kitting.checking.steps import Found, found_of, found_rows, said
from kitting.domain import sampling
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger import locking
from kitting.ledger.needs import LONGEST_REASON, need_length
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.bags import Change, change, onward, save_bags
from kitting.models import Bag, Check, Lot, Movement, Part
from kitting.models.lots import LotStage, Verdict


@dataclass(frozen=True)
class Checked:
    """The verdict on a lot."""

    lot: str
    verdict: str
    bags: int
    """Bags that it moved."""
    ended_reduced: bool = False
    """A class is on normal inspection again from the next lot on."""


def give_verdict(
    *,
    lot_id: int,
    accept: bool,
    sign: Sign,
    defects: Sequence[tuple[int, int]] = (),
    found: int = 0,
    reason: str = "",
    shown: str = "",
    looked: bool = False,
) -> Checked:
    """Accept or reject a closed lot as its plan says; its arrived bags move with it.

    Accepted bags of a part that needs no disinfection are cleared at once. A rejected
    bag keeps its pieces: sorting, sending back and accepting under concession
    are acts of their own.

    Args:
        lot_id: The lot.
        accept: The verdict that the checker read off the plan.
        sign: Who, when and the operation key.
        defects: Id of each kind of defect found and bad pieces of it; a piece with
            several counts once, under its worst.
        found: Bad pieces with a defect that is not on the list; they count as major.
        reason: Why, needed for a rejection.
        shown: The plan's mark as the checker saw it; empty where nobody looked.
        looked: Whether the checker says that all was looked at that the plan asks for,
            and that what is not counted was not there.

    Returns:
        The verdict and how many bags moved.

    Raises:
        Conflict: ``plan_changed`` if the plan is another one by now.
        Missing: If there is no such lot.
        Refused: ``plan_accepts`` or ``plan_rejects`` for the other verdict;
            ``inspection_stopped``; ``defects_out_of_range``, ``defect_kind_twice``,
            ``defect_kind_not_looked_for``, ``found_out_of_range``,
            ``entry_too_long``, ``lot_has_no_pieces``, ``lot_needs_no_check``,
            ``reason_missing``.
        WrongStage: ``lot_still_open`` or ``lot_has_a_verdict``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Checked:
        checking = _begin(lot_id, reason, shown)
        verdict = checking.judged(defects, found)
        lot = checking.lot
        if accept and not verdict.accepted:
            raise Refused("plan_rejects", lot=lot.number, found=said(verdict))
        if not accept and verdict.accepted:
            raise Refused("plan_accepts", lot=lot.number, found=said(verdict))
        if accept and checking.plan.stopped:
            raise Refused("inspection_stopped", part=lot.part.name, source=lot.source)
        return checking.end(act, accept=accept, looked=looked)

    return perform(
        "give_verdict",
        work,
        Checked,
        sign,
        lot=lot_id,
        accept=accept,
        defects=list(defects),
        found=found,
        reason=reason,
        looked=looked,
    )


def reject_against_plan(
    *,
    lot_id: int,
    reason: str,
    sign: Sign,
    defects: Sequence[tuple[int, int]] = (),
    found: int = 0,
    shown: str = "",
) -> Checked:
    """Reject a closed lot for a reason that its plan does not ask for.

    Switching counts the lot by what its sample showed, not by this verdict.

    Args:
        lot_id: The lot.
        reason: Why.
        sign: The quality officer, when and the operation key.
        defects: What was found, as in ``give_verdict``.
        found: As in ``give_verdict``.
        shown: As in ``give_verdict``.

    Returns:
        The verdict and how many bags moved.

    Raises:
        Conflict: As in ``give_verdict``.
        Missing: If there is no such lot.
        Refused: As in ``give_verdict``, without those that name the plan's verdict.
        WrongStage: As in ``give_verdict``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Checked:
        checking = _begin(lot_id, reason, shown)
        checking.judged(defects, found)
        return checking.end(act, accept=False)

    return perform(
        "reject_against_plan",
        work,
        Checked,
        sign,
        lot=lot_id,
        defects=list(defects),
        found=found,
        reason=reason,
    )


@dataclass
class _Checking:
    """One check at work, on locked rows."""

    lot: Lot
    bags: list[Bag]
    plan: CheckPlan
    reason: str
    found: Found = field(default_factory=lambda: Found({}, 0))
    ended_reduced: bool = False

    def judged(
        self, defects: Sequence[tuple[int, int]], unlisted: int
    ) -> sampling.Verdict:
        self.found = found_of(self.lot.part, defects, unlisted)
        verdict = sampling.judge(self.plan.plans, self.found.by_class())
        self.ended_reduced = any(each.ends_reduced for each in verdict.classes)
        return verdict

    def end(self, act: Act, *, accept: bool, looked: bool = False) -> Checked:
        if not accept and not self.reason:
            raise Refused("reason_missing")
        self.lot.verdict = Verdict.ACCEPTED if accept else Verdict.REJECTED
        self.lot.save(update_fields=["verdict"])
        check = Check(
            lot=self.lot,
            plan=self.plan.words,
            found=self.found.pieces,
            verdict=self.lot.verdict,
            reason=self.reason,
            severity=self.plan.severity,
            level=self.plan.level,
            lot_pieces=self.plan.lot_pieces,
            sample_size=self.plan.sample_size,
            looked=self.plan.lot_pieces if looked else None,
        )
        act.write(check)
        act.write(*found_rows(check, self.plan, self.found), *self._moved())
        return Checked(
            self.lot.number, self.lot.verdict, len(self.bags), self.ended_reduced
        )

    def _moved(self) -> list[Movement]:
        accept = self.lot.verdict == Verdict.ACCEPTED
        kind = MovementKind.ACCEPTED if accept else MovementKind.REJECTED
        to = BagStage.ACCEPTED if accept else BagStage.REJECTED
        movements: list[Movement] = []
        for bag in self.bags:
            movements.append(change(bag, Change(kind, bag.pieces, to=to)))
            movements += onward(bag, self.lot.part)
        save_bags(self.bags)
        return movements


def _begin(lot_id: int, reason: str, shown: str) -> _Checking:
    why = need_length("reason", reason, LONGEST_REASON)
    lot = locking.lock_row(Lot, lot_id)
    # Two lots of a part are not judged at once: the first may switch the second.
    lot.part = locking.lock_row(Part, lot.part_id)
    if not lot.part.needs_check:
        raise Refused("lot_needs_no_check", lot=lot.number)
    if lot.stage == LotStage.OPEN:
        raise WrongStage("lot_still_open", lot=lot.number)
    if lot.verdict:
        raise WrongStage("lot_has_a_verdict", lot=lot.number, verdict=lot.verdict)
    bags = locking.lock_found(Bag.objects.filter(lot=lot, stage=BagStage.ARRIVED))
    plan = plan_of(lot, bags)
    if plan is None:
        raise Refused("lot_has_no_pieces", lot=lot.number)
    if shown and shown != plan.mark:
        raise Conflict("plan_changed", lot=lot.number)
    return _Checking(lot, bags, plan, why)
