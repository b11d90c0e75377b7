"""The quality officer begins and ends reduced inspection, and lets a source go on.

Nothing goes to reduced inspection by itself. A lot that is not clearly accepted on it
brings normal inspection back without an act.
"""

from __future__ import annotations

from dataclasses import dataclass

from kitting.checking.queries.checks import aqls_of
from kitting.checking.queries.switching import (
    SWITCHED,
    ClassStanding,
    standings_of,
    states_of,
)
from kitting.domain.errors import Refused
from kitting.domain.sampling import need_reducible
from kitting.domain.shown import shown
from kitting.ledger import locking
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Part, Resumption, Switching
from kitting.models.evidence import Inspected


@dataclass(frozen=True)
class Target:
    """One class of defect of a part from a source."""

    part_id: int
    source: str
    """As it is spelt on its lots."""
    defect_class: str
    """Major or minor."""


@dataclass(frozen=True)
class Switched:
    """How a class is inspected from its next lot on, and what was on record."""

    part: str
    source: str
    defect_class: str
    to: str
    lots: int = 0
    """Lots accepted in a row on normal inspection before it was reduced."""
    found: int = 0
    """Bad pieces in the samples of the last ten."""
    looked_at: int = 0
    """Pieces in these samples."""


def reduce_inspection(*, of: Target, steady: bool, reason: str, sign: Sign) -> Switched:
    """Begin reduced inspection of a class; its next lot has the smaller sample.

    Args:
        of: Part, source and class.
        steady: The officer says that production is at a steady rate.
        reason: Why reduced inspection is wanted.
        sign: The quality officer, when and the operation key.

    Returns:
        The class, and the figures on which it was decided.

    Raises:
        Missing: If there is no such part.
        Refused: ``class_unknown``, ``part_not_sampled``, ``reduced_from_normal_only``,
            ``reduced_needs_lots``, ``reduced_too_many_bad``,
            ``production_not_steady``, ``reason_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.

    References:
        MIL-STD-105E, 4.7.3.
    """

    def work(act: Act) -> Switched:
        why = need_reason(reason)
        part, now = _locked(of)
        need_reducible(now.standing, steady=steady)
        _write(act, part, of, Inspected.REDUCED, why)
        figures = now.standing
        return Switched(
            part=part.code,
            source=of.source,
            defect_class=of.defect_class,
            to=Inspected.REDUCED,
            lots=figures.lots,
            found=figures.found,
            looked_at=figures.looked_at,
        )

    return perform(
        "reduce_inspection", work, Switched, sign, **_sent(of, reason), steady=steady
    )


def restore_inspection(*, of: Target, reason: str, sign: Sign) -> Switched:
    """End reduced inspection of a class; its next lot is on normal inspection.

    Args:
        of: Part, source and class.
        reason: What calls for it: production irregular or delayed, or another cause.
        sign: The quality officer, when and the operation key.

    Returns:
        The class.

    Raises:
        Missing: If there is no such part.
        Refused: ``class_unknown``, ``part_not_sampled``, ``inspection_not_reduced``,
            ``reason_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.

    References:
        MIL-STD-105E, 4.7.4 c and d.
    """

    def work(act: Act) -> Switched:
        why = need_reason(reason)
        part, now = _locked(of)
        if now.state.severity != "reduced":
            raise Refused("inspection_not_reduced")
        _write(act, part, of, Inspected.NORMAL, why)
        return Switched(part.code, of.source, of.defect_class, Inspected.NORMAL)

    return perform("restore_inspection", work, Switched, sign, **_sent(of, reason))


def _locked(of: Target) -> tuple[Part, ClassStanding]:
    """Lock the part as a check does, so that no lot is judged meanwhile."""
    if of.defect_class not in SWITCHED:
        known = ", ".join(SWITCHED)
        raise Refused("class_unknown", read=shown(of.defect_class), known=known)
    part = locking.lock_row(Part, of.part_id)
    if not (part.needs_check and part.sampled):
        raise Refused("part_not_sampled", part=part.name)
    standings = standings_of(part.pk, of.source, aqls_of(part))
    return part, standings[of.defect_class]


def _write(act: Act, part: Part, of: Target, to: Inspected, why: str) -> None:
    row = Switching(
        part=part,
        source=of.source,
        defect_class=of.defect_class,
        to=to,
        reason=why,
    )
    act.write(row)


def _sent(of: Target, reason: str) -> dict[str, object]:
    return {
        "part": of.part_id,
        "source": of.source,
        "class": of.defect_class,
        "reason": reason,
    }


@dataclass(frozen=True)
class Resumed:
    """A source that may deliver a part again."""

    part: str
    source: str


def resume_source(*, part_id: int, source: str, reason: str, sign: Sign) -> Resumed:
    """Let lots of a part from a stopped source be accepted again, on tightened plans.

    Args:
        part_id: The part.
        source: The source, as it is spelt on its lots.
        reason: What was corrected.
        sign: The quality officer, when and the operation key.

    Returns:
        Part and source.

    Raises:
        Missing: If there is no such part.
        Refused: ``inspection_not_stopped``, ``reason_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Resumed:
        why = need_reason(reason)
        part = locking.lock_row(Part, part_id)
        states = states_of(part.pk, source)
        if not any(state.stopped for state in states.values()):
            raise Refused("inspection_not_stopped")
        act.write(Resumption(part=part, source=source, reason=why))
        return Resumed(part.code, source)

    return perform(
        "resume_source", work, Resumed, sign, part=part_id, source=source, reason=reason
    )
