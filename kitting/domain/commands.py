"""Command labels: what is scanned at a bench instead of touching the screen.

A command is plain text in Code 128 or a square code, capitals and hyphens only, and
always begins with ``ACT-``, so that no number of Lotward can be mistaken for one::

    ACT-BOX-24          start a box of 24 sets
    ACT-BOX-FS1-24      the same, where two products have boxes of 24
    ACT-CLOSE           close the box and print its label
    ACT-PRINT           print the label, or ask why it is printed again
    ACT-PRINT-SPOILT    print it again, with that reason
    ACT-UNDO            show what can be undone
    ACT-CANCEL          ask why the open box is cancelled
    ACT-CANCEL-SIZE     cancel it, with that reason
    ACT-TAKE-OUT        take what is on hold out of the open box, back into its bags
    ACT-QUARANTINE      put the box that is on hold in quarantine
    ACT-TAKE-OFF        ask which open bag is taken off the bench: the next one scanned
    ACT-NEXT            show the next thing to do
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Do(StrEnum):
    """What a command asks for."""

    BOX = "BOX"
    CLOSE = "CLOSE"
    PRINT = "PRINT"
    UNDO = "UNDO"
    CANCEL = "CANCEL"
    TAKE_OFF = "TAKE-OFF"
    TAKE_OUT = "TAKE-OUT"
    QUARANTINE = "QUARANTINE"
    NEXT = "NEXT"


CANCEL_REASONS: Final = {
    "SIZE": "Wrong size",
    "PARTS": "Wrong parts",
    "DAMAGED": "Damaged",
    "SHORT": "Parts ran out",
}
"""Ends of ``ACT-CANCEL-…`` and the reason that goes into the record."""

PRINT_REASONS: Final = {
    "SPOILT": "Label spoilt",
    "LOST": "Label lost",
    "PRINTER": "Printer failed",
}
"""Ends of ``ACT-PRINT-…`` and the reason that goes into the record.

Whoever scans one declares as well that the label before is destroyed, or will be if it
turns up; the screen and the command label say so.
"""

TAKE_OFF: Final = "take_off"
"""What the next scanned bag is for after ``ACT-TAKE-OFF``, sent along with its scan."""

_REASONS: Final = {Do.CANCEL: CANCEL_REASONS, Do.PRINT: PRINT_REASONS}
_COMMAND: Final = re.compile(
    r"ACT-(?P<do>BOX|CLOSE|PRINT|UNDO|CANCEL|TAKE-OFF|TAKE-OUT|QUARANTINE|NEXT)(?:-(?P<rest>.+))?"
)
_SIZE: Final = re.compile(r"(?:(?P<product>[A-Z0-9]{1,8})-)?(?P<sets>[0-9]{1,6})")


@dataclass(frozen=True)
class Command:
    """A command that was read."""

    do: Do
    sets: int = 0
    """Sets of the box for ``BOX``."""

    product: str = ""
    """Product code for ``BOX``, where the label names one."""

    reason: str = ""
    """The reason in words, where the label names one."""


def is_command(text: str) -> bool:
    """Tell whether a scan means to be a command.

    Args:
        text: Any text.

    Returns:
        True for ``ACT-…`` in capitals or small letters.
    """
    return text.strip()[:4].upper() == "ACT-"


def read_command(text: str) -> Command | None:
    """Read a command.

    Args:
        text: Any text; blanks around it and small letters do not matter.

    Returns:
        The command, or None for any other text.
    """
    found = _COMMAND.fullmatch(text.strip().upper())
    if found is None:
        return None
    do, rest = Do(found["do"]), found["rest"]
    if do is Do.BOX:
        return _size(rest or "")
    if rest is None:
        return Command(do)
    reason = _REASONS.get(do, {}).get(rest)
    return None if reason is None else Command(do, reason=reason)


def _size(rest: str) -> Command | None:
    found = _SIZE.fullmatch(rest)
    if found is None or int(found["sets"]) == 0:
        return None
    return Command(Do.BOX, sets=int(found["sets"]), product=found["product"] or "")
