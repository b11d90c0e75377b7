"""Switching by worked sequences of verdicts.

The rules: MIL-STD-105E, 4.7.1 (2 of 5 or fewer lots in a row rejected), 4.7.2 (5 in a
row accepted), 4.7.3 (reduced: 10 in a row accepted on normal inspection, and a decision),
4.7.4 (back: a lot rejected, or accepted between the two numbers, or a decision) and 4.8
(5 rejected while on tightened inspection); ISO 2859-1, 9.3 and 9.4, of tightened
inspection the same from memory. The sequences are worked by hand.
"""

from __future__ import annotations

import re
from functools import reduce

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import sampling
from kitting.domain.errors import Refused
from kitting.domain.sampling import Event, State

WORDS: dict[str, Event] = {
    "A": "accepted",
    "R": "rejected",
    "B": "between",
    "+": "resumed",
    "-": "reduced",
    "=": "restored",
}
TEN = "A" * 10


def after(letters: str) -> State:
    return switched([WORDS[letter] for letter in letters])


def switched(history: list[Event]) -> State:
    return reduce(sampling.after, history, sampling.START)


@pytest.mark.parametrize(
    ("letters", "severity", "stopped", "why", "at", "lots", "rejected"),
    [
        ("", "normal", False, "start", 0, 0, 0),
        ("R", "normal", False, "start", 0, 0, 0),
        # Ten and more accepted: reduced inspection is allowed, nobody decided it.
        ("A" * 15, "normal", False, "start", 0, 0, 0),
        # Two rejected, next to each other or up to three apart.
        ("RR", "tightened", False, "two_of_five_rejected", 2, 2, 2),
        ("AARAR", "tightened", False, "two_of_five_rejected", 5, 3, 2),
        ("RAAAR", "tightened", False, "two_of_five_rejected", 5, 5, 2),
        # Six lots with two rejected are not five.
        ("RAAAAR", "normal", False, "start", 0, 0, 0),
        ("RAAAARAAAR", "tightened", False, "two_of_five_rejected", 10, 5, 2),
        # Back after five in a row, not before, and not if one is rejected in between.
        ("RRAAAA", "tightened", False, "two_of_five_rejected", 2, 2, 2),
        ("RRAAAAA", "normal", False, "five_accepted", 7, 5, 0),
        ("RRAAAARAAAA", "tightened", False, "two_of_five_rejected", 2, 2, 2),
        ("RRAAAARAAAAA", "normal", False, "five_accepted", 12, 5, 0),
        # What was rejected before tightened inspection does not count after it.
        ("RRAAAAAR", "normal", False, "five_accepted", 7, 5, 0),
        ("RRAAAAARR", "tightened", False, "two_of_five_rejected", 9, 2, 2),
        # Five rejected on tightened, in a row or not; the two before do not count.
        ("RRRRRR", "tightened", False, "two_of_five_rejected", 2, 2, 2),
        ("RRRRRRR", "tightened", True, "five_rejected", 7, 5, 5),
        ("RRRARARARAR", "tightened", True, "five_rejected", 11, 9, 5),
        # Stopped stays stopped until resumed; then tightened from the beginning.
        ("RRRRRRRAAAAAA", "tightened", True, "five_rejected", 7, 5, 5),
        ("RRRRRRR+", "tightened", False, "resumed", 7, 0, 0),
        ("RRRRRRR+RRRR", "tightened", False, "resumed", 7, 0, 0),
        ("RRRRRRR+RRRRR", "tightened", True, "five_rejected", 12, 5, 5),
        ("RRRRRRR+AAAAA", "normal", False, "five_accepted", 12, 5, 0),
        # Reduced after ten in a row and a decision; it goes on while lots are accepted.
        (TEN + "-", "reduced", False, "reduced", 10, 10, 0),
        ("R" + TEN + "-", "reduced", False, "reduced", 11, 10, 0),
        (TEN + "AA-" + "A" * 20, "reduced", False, "reduced", 12, 12, 0),
        # One rejected, one between the two numbers, or a decision: normal.
        (TEN + "-AR", "normal", False, "rejected_on_reduced", 12, 1, 1),
        (TEN + "-AAB", "normal", False, "between_on_reduced", 13, 1, 0),
        (TEN + "-AA=", "normal", False, "restored", 12, 0, 0),
        # The lot rejected on reduced inspection was none on normal inspection.
        (TEN + "-RR", "normal", False, "rejected_on_reduced", 11, 1, 1),
        (TEN + "-RRR", "tightened", False, "two_of_five_rejected", 13, 2, 2),
        # Ten on normal inspection again before it is reduced again.
        (TEN + "-B" + TEN + "-", "reduced", False, "reduced", 21, 10, 0),
        # From tightened the way leads over normal.
        ("RRAAAAA" + TEN + "-", "reduced", False, "reduced", 17, 10, 0),
    ],
)
def test_worked_sequences(letters, severity, stopped, why, at, lots, rejected):
    state = after(letters)
    assert (state.severity, state.stopped) == (severity, stopped)
    assert (state.why, state.at) == (why, at)
    assert (state.lots, state.rejected) == (lots, rejected)
    assert state.seen == len(re.sub(r"[-+=]", "", letters))


def test_the_state_counts_since_it_began():
    state = after("RRARAA")
    assert (state.accepted_in_a_row, state.rejected_since) == (2, 1)
    assert after("AAA").accepted_in_a_row == 3


@pytest.mark.parametrize(
    ("history", "code"),
    [
        (["accepted", "passed"], "verdict_unknown"),
        ([""], "verdict_unknown"),
        ([True], "verdict_unknown"),
        (["resumed"], "inspection_not_stopped"),
        (["rejected", "rejected", "resumed"], "inspection_not_stopped"),
        (["reduced"], "reduced_needs_lots"),
        (["accepted"] * 9 + ["reduced"], "reduced_needs_lots"),
        (["accepted"] * 9 + ["rejected", "accepted", "reduced"], "reduced_needs_lots"),
        (["rejected"] * 2 + ["accepted"] * 4 + ["reduced"], "reduced_from_normal_only"),
        (["rejected"] * 7 + ["reduced"], "reduced_from_normal_only"),
        (["accepted"] * 10 + ["reduced", "reduced"], "reduced_from_normal_only"),
        (["accepted", "restored"], "inspection_not_reduced"),
        (["accepted", "between"], "inspection_not_reduced"),
        (
            ["accepted"] * 10 + ["reduced", "between", "between"],
            "inspection_not_reduced",
        ),
    ],
)
def test_what_cannot_have_happened_is_refused(history, code):
    with pytest.raises(Refused) as error:
        switched(history)
    assert error.value.code == code


def by_the_letter(verdicts: str) -> tuple[str, bool]:
    """Read the rules anew at each lot, from the verdicts of the present period only.

    A minus asks for reduced inspection; where ten lots do not allow it, it is let go.
    """
    severity, period = "normal", ""
    for verdict in verdicts:
        if verdict == "-":
            if severity == "normal" and period.endswith(TEN):
                severity, period = "reduced", ""
            continue
        period += verdict
        if severity == "normal":
            if any(period[-n:].count("R") >= 2 for n in (2, 3, 4, 5)):
                severity, period = "tightened", ""
        elif severity == "reduced":
            if verdict != "A":
                severity, period = "normal", ""
        elif period.endswith("AAAAA"):
            severity, period = "normal", ""
        elif period.count("R") == 5:
            return "tightened", True
    return severity, False


def allowed(letters: str) -> str:
    """Leave out what could not have happened: B off reduced, a minus too early."""
    kept = ""
    for letter in letters:
        state = after(kept)
        if letter == "B" and (state.severity != "reduced" or state.stopped):
            continue
        early = state.severity != "normal" or state.accepted_in_a_row < len(TEN)
        if letter == "-" and early:
            continue
        kept += letter
    return kept


@given(
    st.text(alphabet="AAAR", max_size=60)
    | st.text(alphabet="AR", max_size=60)
    | st.text(alphabet="A" * 30 + "RB-----", max_size=90)
)
def test_any_sequence_follows_the_rules_read_by_the_letter(letters):
    letters = allowed(letters)
    state = after(letters)
    assert (state.severity, state.stopped) == by_the_letter(letters)
