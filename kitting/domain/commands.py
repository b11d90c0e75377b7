"""Command labels: what is scanned instead of touching the screen.

A command is plain text in Code 128 or a square code, capitals and hyphens only (a mass
is typed, with its point), and always begins with ``ACT-``, so that no number of Lotward can be mistaken for one::

    ACT-BOX-24          start a box of 24 sets
    ACT-BOX-FS1-24      the same, where two products have boxes of 24
    ACT-CLOSE           close the box and print its label
    ACT-MASS-1234.5     the box weighs so many grams: close it
    ACT-PRINT           print the label, or ask why it is printed again
    ACT-PRINT-SPOILT    print it again, with that reason
    ACT-HAND-OVER       ask to which free bench the open box goes
    ACT-UNDO            show what can be undone; ACT-YES undoes what was done last
    ACT-CANCEL          ask why the open box is cancelled
    ACT-CANCEL-SIZE     cancel it, with that reason
    ACT-COUNT           ask which bag holds other pieces than on record
    ACT-EMPTY           that bag is empty: what is on record in it is missing
    ACT-MORE            more is in it: ask how much
    ACT-EXTRA           one too many is in it: scrap that one
    ACT-BAD             a piece of it is bad: ask why
    ACT-BAD-1A2B3C4D    scrap a bad piece of it, with that reason of the workshop's
    ACT-TEN             ten more than the numbers that the screen shows
    ACT-YES             answer yes to what the screen asks; ACT-NO no
    ACT-2               answer two, or the second of what it shows
    ACT-STOP            let no other box start by itself after this one
    ACT-TAKE-OUT        take what is on hold, or open too long, out of the open box
    ACT-QUARANTINE      put what is on hold in quarantine: the box, or an open bag
    ACT-TAKE-OFF        ask which open bag is taken off the bench: the next one scanned
    ACT-SET-BACK        ask which bag was open for too long: the next one scanned
    ACT-CLEAR           show every open bag, to put it away: a bag, then its place
    ACT-NEXT            show the next thing to do

At a desk a command does what the page has by that name; the page's script reads it, and
no bench knows it::

    ACT-LOT-CHECK       go to the page where the lot is checked
    ACT-DEF-CRACK       count one more piece with that defect
    ACT-7               type a figure into the count
    ACT-REASON          write the reason: the next thing scanned is its text
    ACT-DO              do the act of the page
    ACT-BACK            leave the page without it
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final
from zlib import crc32

from kitting.domain.figures import scaled


class Do(StrEnum):
    """What a command asks for."""

    BOX = "BOX"
    CLOSE = "CLOSE"
    MASS = "MASS"
    PRINT = "PRINT"
    UNDO = "UNDO"
    CANCEL = "CANCEL"
    HAND_OVER = "HAND-OVER"
    TAKE_OFF = "TAKE-OFF"
    TAKE_OUT = "TAKE-OUT"
    QUARANTINE = "QUARANTINE"
    STOP = "STOP"
    CLEAR = "CLEAR"
    SET_BACK = "SET-BACK"
    COUNT = "COUNT"
    EMPTY = "EMPTY"
    MORE = "MORE"
    EXTRA = "EXTRA"
    BAD = "BAD"
    TEN = "TEN"
    NUMBER = "NUMBER"
    YES = "YES"
    NO = "NO"
    NEXT = "NEXT"


CANCEL_REASONS: Final = {
    "SIZE": "Wrong size",
    "PARTS": "Wrong parts",
    "DAMAGED": "Damaged",
    "SHORT": "Parts ran out",
}
"""Ends of ``ACT-CANCEL-…`` and the reason that goes into the record."""

DAMAGED: Final = "DAMAGED"
"""The one of them for which the screen asks what is damaged."""

PRINT_REASONS: Final = {
    "SPOILT": "Label spoilt",
    "LOST": "Label lost",
    "PRINTER": "Printer failed",
}
"""Ends of ``ACT-PRINT-…`` and the reason that goes into the record.

Whoever scans one declares as well that the label before is destroyed, or will be if it
turns up; the screen and the command label say so.
"""

PURPOSE: Final = r"[a-z_]*(:[0-9A-Z,]*(:[0-9A-Z]*(:[0-9]{0,9})?)?)?"
"""What ``Asked`` is as text."""


@dataclass(frozen=True)
class Asked:
    """What the screen asks, sent along with the scan that answers it."""

    menu: str = ""
    """Which choice it shows; empty where it asks for the next thing."""
    bags: tuple[str, ...] = ()
    """Numbers of the bags that it is about."""
    end: str = ""
    """What was chosen before, such as the end of a command."""
    moves: str = ""
    """How many movements the bag had when it was shown, where it is about one."""

    def __str__(self) -> str:
        found = (self.menu, ",".join(self.bags), self.end, self.moves)
        return ":".join(found).rstrip(":")

    @classmethod
    def read(cls, text: str) -> Asked:
        """Read it out of its text.

        Args:
            text: As ``str`` gives it, or anything else.

        Returns:
            The question; none where it cannot be read.
        """
        if re.fullmatch(PURPOSE, text) is None:
            return cls()
        menu, bags, end, moves, *_ = (*text.split(":"), "", "", "")
        return cls(menu, tuple(filter(None, bags.split(","))), end, moves)


NOTHING: Final = Asked()
TAKE_OFF: Final = Asked("take_off")
"""After ``ACT-TAKE-OFF``: which bag; the next one scanned."""

BEGUN_BY_MISTAKE: Final = "Begun by mistake"
"""Why a box comes to nothing whose start is undone."""

SHORT_OF_RECORD: Final = "Fewer in the bag than on record, met while packing"
MORE_THAN_ON_RECORD: Final = "More in the bag than on record, met while packing"
"""The usual reasons of counts at a bench."""


def end_of(words: str) -> str:
    """Give what stands for words in a command or a question.

    Args:
        words: Such as a reason of the workshop's own list, in any language.

    Returns:
        Eight hexadecimal digits, a check sum of the words: a label whose reason is not
        in the list any more does nothing.
    """
    return f"{crc32(words.encode()):08X}"


_REASONS: Final = {Do.CANCEL: CANCEL_REASONS, Do.PRINT: PRINT_REASONS}
_IDENTIFIER: Final = re.compile(r"\A\][A-Z][0-9]")
_COMMAND: Final = re.compile(
    rf"ACT-(?P<do>{'|'.join(set(Do) - {Do.NUMBER})})(?:-(?P<rest>.+))?"
)
_END: Final = re.compile(r"[0-9A-F]{8}")
_NUMBER: Final = re.compile(r"ACT-([0-9]{1,2})")
_MASS: Final = re.compile(r"\s*([0-9]{1,7}(?:[.,][0-9]{1,3})?)\s*G?")
"""As a keypad sends it, or a scale that types what it shows, with blanks and unit."""
_SIZE: Final = re.compile(r"(?:(?P<product>[A-Z0-9]{1,8})-)?(?P<sets>[0-9]{1,6})")


@dataclass(frozen=True)
class Command:
    """A command that was read."""

    do: Do
    sets: int = 0
    """Sets of the box for ``BOX``; for ``NUMBER`` that number."""

    product: str = ""
    """Product code for ``BOX``, where the label names one."""

    reason: str = ""
    """The reason in words, where the label names one."""

    end: str = field(default="", compare=False)
    """The same as the label has it; for ``BAD`` see ``end_of``."""

    mass_mg: int | None = None
    """The mass of the box for ``MASS``."""


def is_command(text: str) -> bool:
    """Tell whether a scan means to be a command.

    Args:
        text: Any text.

    Returns:
        True for ``ACT-…`` in capitals or small letters, also behind a symbology
        identifier.
    """
    return _tidy(text).startswith("ACT-")


def _tidy(text: str) -> str:
    return _IDENTIFIER.sub("", text.strip().upper(), count=1)


def read_command(text: str) -> Command | None:
    """Read a command.

    Args:
        text: Any text; blanks around it, a symbology identifier and small letters do
            not matter.

    Returns:
        The command, or None for any other text.
    """
    text = _tidy(text)
    if number := _NUMBER.fullmatch(text):
        return Command(Do.NUMBER, sets=int(number[1]))
    found = _COMMAND.fullmatch(text)
    if found is None:
        return None
    do, rest = Do(found["do"]), found["rest"]
    if do is Do.BOX:
        return _size(rest or "")
    if rest is None:
        return Command(do)
    if do is Do.MASS:
        mass = _MASS.fullmatch(rest)
        return None if mass is None else Command(do, mass_mg=scaled(mass[1], 1000))
    if do is Do.BAD:
        return Command(do, end=rest) if _END.fullmatch(rest) else None
    reason = _REASONS.get(do, {}).get(rest)
    return None if reason is None else Command(do, reason=reason, end=rest)


def _size(rest: str) -> Command | None:
    found = _SIZE.fullmatch(rest)
    if found is None or int(found["sets"]) == 0:
        return None
    return Command(Do.BOX, sets=int(found["sets"]), product=found["product"] or "")
