"""PINs: which are good enough, and how long one waits after a wrong one.

Four digits are ten thousand, so what keeps a PIN is how seldom it may be tried: eight
times in a row, each wait twice the one before, and then not at all until somebody else
says so. Of the PINs that are left, those are refused that people choose first.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Final

from kitting.domain.errors import CodeError

SHORTEST: Final = 4
LONGEST: Final = 12
LONGEST_WAIT_S: Final = 64
BADGE_TRIES: Final = 8
"""Wrong PINs in a row with one badge, wherever; then it is blocked."""
TABLET_TRIES: Final = 20
"""Wrong PINs in a row at one tablet, with whatever badges; then it is blocked."""

_PIN: Final = re.compile(rf"[0-9]{{{SHORTEST},{LONGEST}}}", re.ASCII)


def is_pin(text: str) -> bool:
    """Tell whether a text may be anybody's PIN.

    Args:
        text: Any text.

    Returns:
        True for 4 to 12 of the digits 0 to 9.
    """
    return _PIN.fullmatch(text) is not None


def need_good_pin(text: str) -> None:
    """Refuse a text that is no PIN, or one that is tried first.

    Args:
        text: What somebody chose.

    Raises:
        CodeError: ``pin_malformed``; ``pin_easy`` for digits that are all the same,
            that follow each other up or down, or that repeat: 1111, 1234, 9876, 1212.

    >>> need_good_pin("4071")
    >>> need_good_pin("8901")
    Traceback (most recent call last):
    ...
    kitting.domain.errors.CodeError: pin_easy()
    """
    if not is_pin(text):
        raise CodeError("pin_malformed", least=SHORTEST, most=LONGEST)
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(text)}
    half = len(text) // 2
    repeats = len(text) % 2 == 0 and text[:half] == text[half:]
    if repeats or (len(steps) == 1 and steps <= {0, 1, 9}):
        raise CodeError("pin_easy")


def wait_s(wrong: int) -> int:
    """Give how long nothing is tried after wrong PINs.

    Args:
        wrong: How many there were in a row.

    Returns:
        Seconds: 1, 2, 4 and so on, 64 at most.
    """
    return min(2 ** (wrong - 1), LONGEST_WAIT_S) if wrong > 0 else 0
