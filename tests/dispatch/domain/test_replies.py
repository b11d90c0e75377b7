"""Each set of a box is counted once, whatever is said of it and whatever comes back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dispatch.domain.replies import ACCOUNTS, LIKELY, Answer, standing

counts = st.dictionaries(st.sampled_from([str(a) for a in Answer]), st.integers(0, 30))


@pytest.mark.parametrize(
    ("back", "said", "left", "unsaid", "unaccounted"),
    [
        (0, {}, {}, 20, 20),
        (0, {"used": 12, "found": 8}, {"used": 12, "found": 8}, 0, 8),
        (0, {"used": 12, "destroyed": 8}, {"used": 12, "destroyed": 8}, 0, 0),
        # Of those on the way 5 came: the rest is still waited for.
        (5, {"used": 12, "returned": 8}, {"used": 12, "returned": 3}, 0, 3),
        (8, {"used": 12, "returned": 8}, {"used": 12}, 0, 0),
        # They had come before the answer, which speaks of the other 12.
        (8, {"used": 12}, {"used": 12}, 0, 0),
        # It turned out that they were of another box: nothing is said of them.
        (0, {"used": 12}, {"used": 12}, 8, 8),
        # More came than were on the way: what was set aside or found came along.
        (9, {"found": 4, "quarantine": 2, "returned": 4, "used": 10}, None, 0, 1),
        # All of it came although it was said to be used.
        (20, {"used": 20}, {}, 0, 0),
    ],
)
def test_what_came_back_is_set_against_what_was_said(
    back: int,
    said: dict[str, int],
    left: dict[str, int] | None,
    unsaid: int,
    unaccounted: int,
) -> None:
    known = standing(20, back, said)
    assert known.said == ({"found": 1, "used": 10} if left is None else left)
    assert (known.unsaid, known.unaccounted) == (unsaid, unaccounted)


@given(said=counts, before=st.integers(0, 9), since=st.integers(0, 300))
def test_every_set_is_counted_once(
    said: dict[str, int], before: int, since: int
) -> None:
    """An answer was about all that was out; then any number of those came back."""
    sets = sum(said.values()) + before
    back = before + min(since, sum(said.values()))
    known = standing(sets, back, said)
    assert known.back + sum(known.said.values()) + known.unsaid == sets
    assert known.unsaid == 0
    assert all(0 < n <= said[answer] for answer, n in known.said.items())
    # The likeliest came first: none of a later kind while an earlier one has some left.
    came = [
        answer for answer in LIKELY if said.get(answer, 0) > known.said.get(answer, 0)
    ]
    if came:
        assert not any(known.said.get(a) for a in LIKELY[: LIKELY.index(came[-1])])
    assert known.unaccounted == sum(
        n for answer, n in known.said.items() if answer not in ACCOUNTS
    )


def test_every_answer_has_its_turn_to_come_back() -> None:
    assert sorted(LIKELY) == sorted(Answer)
