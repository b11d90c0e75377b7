"""Command labels: what is scanned at a bench instead of touching the screen.

A command is plain text in Code 128 or a square code, capitals and hyphens only, and
always begins with ``DO-``, so that no number of Lotward can be mistaken for one::

    DO-SIZE-24              start a box of 24 sets
    DO-SIZE-FS1-24          the same, where two products have boxes of 24
    DO-CLOSE                close the box and print its label
    DO-PRINT                print the label, or ask why it is printed again
    DO-PRINT-SPOILT         print it again, with that reason
    DO-TAKE-BACK            show what can be taken back
    DO-CALL-OFF             ask why the open box is called off
    DO-CALL-OFF-SIZE        call it off, with that reason
    DO-LAY-ASIDE            ask which open bag is laid aside: the next bag scanned
    DO-GO-ON                show the next thing to do
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Do(StrEnum):
    """What a command asks for."""

    SIZE = "SIZE"
    CLOSE = "CLOSE"
    PRINT = "PRINT"
    TAKE_BACK = "TAKE-BACK"
    CALL_OFF = "CALL-OFF"
    LAY_ASIDE = "LAY-ASIDE"
    GO_ON = "GO-ON"


CALL_OFF_REASONS: Final = {
    "SIZE": "Wrong size",
    "PARTS": "Wrong parts",
    "DAMAGED": "Damaged",
    "SHORT": "Parts ran out",
}
"""Ends of ``DO-CALL-OFF-…`` and the reason that goes into the record."""

PRINT_REASONS: Final = {
    "SPOILT": "Label spoilt",
    "LOST": "Label lost",
    "PRINTER": "Printer failed",
}
"""Ends of ``DO-PRINT-…`` and the reason that goes into the record.

Whoever scans one declares as well that the label before is destroyed, or will be if it
turns up; the screen and the command label say so.
"""

LAY_ASIDE: Final = "lay_aside"
"""What the next scanned bag is for after ``DO-LAY-ASIDE``, sent along with its scan."""

_REASONS: Final = {Do.CALL_OFF: CALL_OFF_REASONS, Do.PRINT: PRINT_REASONS}
_COMMAND: Final = re.compile(
    r"DO-(?P<do>SIZE|CLOSE|PRINT|TAKE-BACK|CALL-OFF|LAY-ASIDE|GO-ON)(?:-(?P<rest>.+))?"
)
_SIZE: Final = re.compile(r"(?:(?P<product>[A-Z0-9]{1,8})-)?(?P<sets>[0-9]{1,6})")


@dataclass(frozen=True)
class Command:
    """A command that was read."""

    do: Do
    sets: int = 0
    """Sets of the box for ``SIZE``."""

    product: str = ""
    """Product code for ``SIZE``, where the label names one."""

    reason: str = ""
    """The reason in words, where the label names one."""


def is_command(text: str) -> bool:
    """Tell whether a scan means to be a command.

    Args:
        text: Any text.

    Returns:
        True for ``DO-…`` in capitals or small letters.
    """
    return text.strip()[:3].upper() == "DO-"


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
    if do is Do.SIZE:
        return _size(rest or "")
    if rest is None:
        return Command(do)
    reason = _REASONS.get(do, {}).get(rest)
    return None if reason is None else Command(do, reason=reason)


def _size(rest: str) -> Command | None:
    found = _SIZE.fullmatch(rest)
    if found is None or int(found["sets"]) == 0:
        return None
    return Command(Do.SIZE, sets=int(found["sets"]), product=found["product"] or "")
