"""Effectiveness checks of a recall: how many consignees are asked, and which ones.

References:
    21 CFR 7.42(b)(3): levels A to E.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from kitting.domain.errors import Refused


class Level(StrEnum):
    """How large a share of the consignees is asked."""

    A = "A"
    B = "B"
    C = "C"
    D = "D"
    E = "E"


OWN_SHARES: Final = range(11, 100)
"""Per cent that may be set for level B: above 10 and below 100."""

_SHARES: Final = {Level.A: 100, Level.C: 10, Level.D: 2, Level.E: 0}


def share_of(level: str, own: int | None) -> int:
    """Give the share of a level.

    Args:
        level: One of ``Level``.
        own: Per cent that was set, for level B alone.

    Returns:
        Per cent.

    Raises:
        Refused: ``effect_level_unknown``; ``effect_share`` where level B has none of
            ``OWN_SHARES``, or another level has one that is not its own.

    >>> share_of("C", None)
    10
    """
    if level not in list(Level):
        raise Refused("effect_level_unknown")
    fixed = _SHARES.get(Level(level))
    if fixed is None:
        if own is None or own not in OWN_SHARES:
            raise Refused("effect_share")
        return own
    if own not in (None, fixed):
        raise Refused("effect_share")
    return fixed


def how_many(consignees: int, share: int) -> int:
    """Count who is asked, rounded up.

    Args:
        consignees: How many there are.
        share: Per cent.

    Returns:
        How many of them.

    >>> how_many(40, 2)
    1
    """
    return -(-consignees * share // 100)


def in_order(seed: str, codes: Iterable[str]) -> list[str]:
    """Put consignees into the order of a draw; whoever is asked comes first.

    The place of each is the SHA-256 of the seed, a colon and its code, in UTF-8, as a
    hexadecimal number: the smallest first. So anybody can draw again.

    Args:
        seed: The seed.
        codes: Their codes, in any order, each once.

    Returns:
        The codes.

    >>> in_order("42", ["ESK", "LOD", "THO"])
    ['THO', 'ESK', 'LOD']
    """
    return sorted(
        codes, key=lambda code: hashlib.sha256(f"{seed}:{code}".encode()).hexdigest()
    )


@dataclass(frozen=True)
class Answer:
    """What a consignee that was asked said."""

    got: bool
    """Whether it received the notice."""
    understood: bool
    acted: bool
    """Whether it did what the notice says."""

    @property
    def effective(self) -> bool:
        """Whether the recall reached it as it should."""
        return self.got and self.understood and self.acted


@dataclass(frozen=True)
class Result:
    """How far a check is."""

    drawn: int
    asked: int
    effective: int

    @property
    def open(self) -> int:
        """How many are still to be asked."""
        return self.drawn - self.asked

    @property
    def share(self) -> int | None:
        """Per cent of those asked, rounded down; None while nobody was."""
        return self.effective * 100 // self.asked if self.asked else None


def result_of(answers: Collection[Answer | None]) -> Result:
    """Sum up a check.

    Args:
        answers: One for each that was drawn; None for who was not asked yet.

    Returns:
        The result.
    """
    asked = [answer for answer in answers if answer is not None]
    effective = sum(answer.effective for answer in asked)
    return Result(len(answers), len(asked), effective)
