"""What may be said of a call, and the telephone numbers in a text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Outcome(StrEnum):
    """What came of a call."""

    REACHED = "reached"
    SILENT = "no_answer"
    WRONG = "wrong_number"


class Way(StrEnum):
    """How a letter went."""

    EMAIL = "email"
    PAPER = "paper"


LONGEST: Final = {"spoke_to": 80, "said": 200, "hazard": 500, "to_do": 500}
"""Characters of what is written down of a call, and of what a letter says."""


@dataclass(frozen=True)
class Heard:
    """What came of a call."""

    outcome: str
    """Such as ``Outcome`` has."""
    spoke_to: str = ""
    """Who was reached; empty where nobody was."""
    said: str = ""
    stopped: bool = False
    """Whether nobody uses the boxes or passes them on any more."""
    set_aside: bool = False
    told_on: bool = False
    """Whether those are told whom they passed boxes on to."""


_NUMBER: Final = re.compile(r"\+?\(?[0-9][0-9\s()/.\-]{3,}[0-9]")
_FEWEST: Final = 5
"""Digits of a number that can be called from outside: fewer are an extension."""


@dataclass(frozen=True)
class Piece:
    """A piece of a text that may be a telephone number."""

    text: str
    tel: str = ""
    """As it stands in a ``tel`` address (RFC 3966), without what only separates; empty
    for what is no number."""


def telephones(text: str) -> list[Piece]:
    """Find the telephone numbers in a text, so that each can be called by one touch.

    Args:
        text: Whom to ask somewhere, as it was written.

    Returns:
        The whole text in pieces.
    """
    pieces, end = [], 0
    for found in _NUMBER.finditer(text):
        number = found.group()
        # Of "+44 (0)20" the zero is dialled inside the country alone.
        bare = number.replace("(0)", "") if number.startswith("+") else number
        tel = "".join(sign for sign in bare if sign in "+0123456789")
        if len(tel.lstrip("+")) < _FEWEST:
            continue
        pieces += [Piece(text[end : found.start()]), Piece(number, tel)]
        end = found.end()
    pieces.append(Piece(text[end:]))
    return [piece for piece in pieces if piece.text]
