"""What consignees say became of boxes that a case reaches, counted to the set.

A consignee counts shields, so it answers in sets: for each box what became of all that
left in it and has not come back here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Answer(StrEnum):
    """What became of some sets of a box."""

    FOUND = "found"
    """They are still there and were not used."""
    QUARANTINE = "quarantine"
    """They are there, set aside so that nobody uses them."""
    RETURNED = "returned"
    """They are on the way back."""
    USED = "used"
    DESTROYED = "destroyed"
    PASSED = "passed"
    """Somebody else has them; who, is said in words."""
    UNKNOWN = "unknown"
    """Nobody knows."""


class By(StrEnum):
    """How an answer came."""

    CALL = "call"
    LETTER = "letter"
    """A letter, an e-mail or a reply form."""
    VISIT = "visit"
    LINK = "link"
    """From the consignee itself, on the page behind a signed link."""


OURS: Final = (By.CALL, By.LETTER, By.VISIT)
"""What somebody of the workshop wrote down."""

ACCOUNTS: Final = frozenset({Answer.USED, Answer.DESTROYED})
"""Answers that account for sets: nothing can come of them any more, and nobody can bring
them. What is found or set aside can still be used by mistake, what is on the way may not
arrive, who was passed some has not answered. So these wait: until they are here, until
another answer says that they are destroyed, or until a case is closed with a reason."""

LIKELY: Final = (
    *(Answer.RETURNED, Answer.QUARANTINE, Answer.FOUND, Answer.UNKNOWN),
    *(Answer.PASSED, Answer.DESTROYED, Answer.USED),
)
"""Of which sets those were that came back after an answer: the likeliest first."""

LONGEST: Final = {"told_by": 80, "whom": 80, "note": 200}
"""Characters that what is written with an answer may have."""

MOST_DAYS: Final = 90
"""For so many days at most a case waits for answers before it reminds."""


@dataclass(frozen=True)
class Line:
    """What became of some sets of one box."""

    box_id: int
    answer: str
    """As in ``Answer``."""
    sets: int
    whom: str = ""
    """Who has them now, in words; for those that were passed on alone."""
    consignee_id: int | None = None
    """That one, where it is on record."""


@dataclass(frozen=True)
class Standing:
    """What is known of the sets of a box that left."""

    back: int
    """They came back here."""
    said: Mapping[str, int]
    """Of the others, by answer."""
    unsaid: int
    """Of those nothing is said."""

    @property
    def unaccounted(self) -> int:
        """Sets of which something may still come; see ``ACCOUNTS``."""
        return self.unsaid + sum(
            sets for answer, sets in self.said.items() if answer not in ACCOUNTS
        )


def standing(sets: int, back: int, said: Mapping[str, int]) -> Standing:
    """Set what is said of a box against what came back of it.

    An answer speaks of all that was out then. What came back since is taken from it, the
    likeliest first; what turned out not to have come back has no answer.

    Args:
        sets: Sets that left in the box.
        back: Sets of it that came back here, by now.
        said: By answer the sets of the newest one; empty for none.

    Returns:
        All its sets, each counted once.
    """
    left = {answer: count for answer, count in said.items() if count}
    since = sum(left.values()) - (sets - back)
    for answer in LIKELY:
        gone = min(max(since, 0), left.get(answer, 0))
        since -= gone
        if gone:
            left[answer] -= gone
    left = {answer: count for answer, count in left.items() if count}
    return Standing(back=back, said=left, unsaid=sets - back - sum(left.values()))
