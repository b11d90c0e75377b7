"""When inspection becomes stricter, goes back, stops, and eases: one part, one source.

The rules count lots on their first inspection only; a lot that is shown again after
sorting does not count. Reduced inspection never begins by itself: somebody decides it
(``sampling/reducing.py`` has what must be met first), and a lot that is not clearly
accepted ends it.

References:
    MIL-STD-105E, 4.7.1 to 4.7.4, 4.8 and 4.10.1.4, as reproduced in print; ISO 2859-1,
    9.3 and 9.4 from memory. MIL-STD-105D stopped after 10 lots on tightened inspection
    instead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias, get_args

from kitting.domain.errors import Refused
from kitting.domain.sampling.tables import Severity
from kitting.domain.shown import shown

Event: TypeAlias = Literal[
    "accepted", "between", "rejected", "resumed", "reduced", "restored"
]
EVENTS: tuple[str, ...] = get_args(Event)
Why: TypeAlias = Literal[
    "start",
    "two_of_five_rejected",
    "five_accepted",
    "five_rejected",
    "resumed",
    "reduced",
    "rejected_on_reduced",
    "between_on_reduced",
    "restored",
]

WINDOW: Final = 5
REJECTED_IN_WINDOW: Final = 2
ACCEPTED_TO_RETURN: Final = 5
REJECTED_TO_STOP: Final = 5
ACCEPTED_TO_REDUCE: Final = 10


@dataclass(frozen=True, slots=True)
class State:
    """How the next lot of a part from a source is inspected, and why."""

    severity: Severity
    stopped: bool
    """Nothing is accepted by sample until the source has corrected what is wrong."""
    why: Why
    """What led to this state."""
    at: int
    """Which lot, counted from 1, led to it; 0 at the start."""
    lots: int
    """How many lots decided it; 0 at the start and where a person did."""
    rejected: int
    """How many of those were rejected."""
    seen: int = 0
    """Lots inspected in all."""
    accepted_in_a_row: int = 0
    """Since this state began."""
    rejected_since: int = 0
    """Since this state began."""
    recent: tuple[bool, ...] = ()
    """The last verdicts since this state began, at most ``WINDOW``; True: accepted."""


START: Final = State("normal", stopped=False, why="start", at=0, lots=0, rejected=0)


def after(state: State, event: Event) -> State:
    """Tell how the next lot is inspected after one more thing happened.

    Args:
        state: The state before it.
        event: What happened to a lot of one part from one source on its first
            inspection: ``accepted``, ``rejected``, or ``between`` where it passed on
            reduced inspection with more bad pieces than its acceptance number; or what
            the quality officer decided: ``resumed`` let a stopped source deliver again,
            ``reduced`` began reduced inspection, ``restored`` ended it.

    Returns:
        The state after it. Verdicts while stopped change nothing.

    Raises:
        Refused: ``verdict_unknown``; ``inspection_not_stopped`` for a resumption where
            nothing was stopped; ``reduced_from_normal_only`` and
            ``reduced_needs_lots`` for reduced inspection too early;
            ``inspection_not_reduced`` for what only happens on it.
    """
    if event not in EVENTS:
        raise Refused("verdict_unknown", read=shown(str(event)))
    if event in ("resumed", "reduced", "restored"):
        return _decided(state, event)
    if state.stopped:
        return replace(state, seen=state.seen + 1)
    if event == "between" and state.severity != "reduced":
        raise Refused("inspection_not_reduced")
    accepted = event != "rejected"
    counted = replace(
        state,
        seen=state.seen + 1,
        accepted_in_a_row=state.accepted_in_a_row + 1 if accepted else 0,
        rejected_since=state.rejected_since + (not accepted),
        recent=(*state.recent, accepted)[-WINDOW:],
    )
    if state.severity == "normal":
        return _from_normal(counted)
    if state.severity == "reduced":
        return _from_reduced(counted, event)
    return _from_tightened(counted)


def _decided(state: State, event: Event) -> State:
    if event == "resumed":
        if not state.stopped:
            raise Refused("inspection_not_stopped")
        return _entered(state, "tightened", "resumed", lots=0, rejected=0)
    if event == "restored":
        if state.severity != "reduced":
            raise Refused("inspection_not_reduced")
        return _entered(state, "normal", "restored", lots=0, rejected=0)
    if state.severity != "normal":
        raise Refused("reduced_from_normal_only")
    lots = state.accepted_in_a_row
    if lots < ACCEPTED_TO_REDUCE:
        raise Refused("reduced_needs_lots", lots=lots, needed=ACCEPTED_TO_REDUCE)
    return _entered(state, "reduced", "reduced", lots=lots, rejected=0)


def _from_normal(state: State) -> State:
    rejected = state.recent.count(False)
    if rejected < REJECTED_IN_WINDOW:
        return state
    lots = len(state.recent) - state.recent.index(False)
    return _entered(
        state, "tightened", "two_of_five_rejected", lots=lots, rejected=rejected
    )


def _from_tightened(state: State) -> State:
    if state.accepted_in_a_row >= ACCEPTED_TO_RETURN:
        lots = state.accepted_in_a_row
        return _entered(state, "normal", "five_accepted", lots=lots, rejected=0)
    if state.rejected_since >= REJECTED_TO_STOP:
        stopped = _entered(
            state,
            "tightened",
            "five_rejected",
            lots=state.seen - state.at,
            rejected=state.rejected_since,
        )
        return replace(stopped, stopped=True)
    return state


def _from_reduced(state: State, event: Event) -> State:
    if event == "rejected":
        return _entered(state, "normal", "rejected_on_reduced", lots=1, rejected=1)
    if event == "between":
        return _entered(state, "normal", "between_on_reduced", lots=1, rejected=0)
    return state


def _entered(
    state: State, severity: Severity, why: Why, *, lots: int, rejected: int
) -> State:
    return State(
        severity=severity,
        stopped=False,
        why=why,
        at=state.seen,
        lots=lots,
        rejected=rejected,
        seen=state.seen,
    )
