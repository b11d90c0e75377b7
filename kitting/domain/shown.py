"""How foreign text and identifiers are shown."""

from __future__ import annotations

import re
from typing import Final

_LIMIT: Final = 60
_RUNS: Final = re.compile(r"([A-Za-z0-9]*)([^A-Za-z0-9]*)")
_LONGEST_UNDIVIDED: Final = 6
_GAP: Final = "\N{NARROW NO-BREAK SPACE}"

UNSEEN: Final = dict.fromkeys(map(ord, "\u061c\u200c\u200d\u200e\u200f"))
"""Joiners and direction marks, which a text that is copied brings along: nobody sees
them, and Persian is not written right without the first."""


def is_legible(text: str) -> bool:
    """Tell whether a text has nothing that would not be seen, or turn what is read.

    Args:
        text: Any text.

    >>> is_legible("A\u200e"), is_legible("A\u202e")
    (True, False)
    """
    return text.translate(UNSEEN).isprintable()


def shown(text: str) -> str:
    """Make a text that somebody typed or scanned fit for a sentence about it.

    Args:
        text: Any text; control characters and lone surrogates, which no page can
            carry, included.

    Returns:
        At most 60 characters and an ellipsis, each of them printable.

    >>> shown("A" + chr(29) + "B")
    'A\ufffdB'
    """
    cut = text[:_LIMIT] + ("…" if len(text) > _LIMIT else "")
    return "".join(
        character if character.isprintable() else "\N{REPLACEMENT CHARACTER}"
        for character in cut
    )


def fours(identifier: str) -> tuple[str, ...]:
    """Divide an identifier into the groups in which people read it, on all that shows it.

    Args:
        identifier: Any text, such as a lot's number, a serial, an SSCC or a kit batch.

    Returns:
        Its pieces in order, at least one. A run of up to six letters or digits between
        two separators stays whole: "260301" is a day and reads better so.

    >>> fours("B1000042T")
    ('B100', '0042', 'T')
    >>> fours("1-FS1EN-26329-3")
    ('1-FS1EN-26329-3',)
    """
    groups = [""]
    for run, separator in _RUNS.findall(identifier):
        if len(run) <= _LONGEST_UNDIVIDED:
            groups[-1] += run + separator
            continue
        first, *others = (run[at : at + 4] for at in range(0, len(run), 4))
        groups[-1] += first
        groups += others
        groups[-1] += separator
    return tuple(groups)


def spaced(identifier: str) -> str:
    """Write an identifier for paper: its groups with thin spaces between them.

    Args:
        identifier: As ``fours`` takes it.

    Returns:
        One text, at whose spaces no line breaks.
    """
    return _GAP.join(fours(identifier))
