"""The trial of a scanner: its symbols, and what a scan names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from kitting.domain import gs1
from kitting.domain.commands import is_command
from kitting.domain.errors import CodeError, LotwardError
from kitting.domain.scanner import COMMAND, ELEMENTS
from kitting.domain.shown import shown
from kitting.labels.carried import Carried, of_elements, of_number
from kitting.labels.geometry import LINEAR_QUIET, MATRIX_QUIET
from kitting.packing.queries.commands import words_of_command
from kitting.web import scans
from kitting.web.messages import sentence

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

HIGH: Final = 40
"""Height of bars, in their narrowest."""

KINDS: Final[dict[str, _StrPromise]] = {
    "bag": gettext_lazy("Bag %(number)s"),
    "box": gettext_lazy("Box %(number)s"),
    "carrier": gettext_lazy("Carrier %(number)s"),
    "lot": gettext_lazy("Lot %(number)s"),
    "number": gettext_lazy("Shipment %(number)s"),
    "place": gettext_lazy("Place %(number)s"),
    "run": gettext_lazy("Run %(number)s"),
}


@dataclass(frozen=True)
class Symbol:
    """A symbol to scan, as a drawing whose unit is its narrowest bar or its cell."""

    words: str
    readable: str
    wide: int
    high: int
    path: str
    linear: bool


def symbols() -> list[Symbol]:
    """Give what is scanned for a trial: two fields as bars and square, and a command."""
    return [
        _drawn(_("Two fields, as bars"), of_elements(ELEMENTS, linear=True)),
        _drawn(_("The same as a square code"), of_elements(ELEMENTS, linear=False)),
        _drawn(_("A command label"), of_number(COMMAND, linear=True)),
    ]


def _drawn(words: str, carried: Carried) -> Symbol:
    readable = " ".join(carried.readable())
    if carried.linear:
        bars = carried.bars()
        wide = bars.modules + 2 * LINEAR_QUIET
        path = "".join(_bars(bars.widths))
        return Symbol(words, readable, wide, HIGH, path, linear=True)
    matrix = carried.matrix()
    side = matrix.cells + 2 * MATRIX_QUIET
    path = "".join(_cells(matrix.rows))
    return Symbol(words, readable, side, side, path, linear=False)


def _bars(widths: tuple[int, ...]) -> Iterator[str]:
    at = LINEAR_QUIET
    for place, wide in enumerate(widths):
        if place % 2 == 0:
            yield f"M{at} 0h{wide}v{HIGH}h-{wide}z"
        at += wide


def _cells(rows: tuple[tuple[bool, ...], ...]) -> Iterator[str]:
    for down, row in enumerate(rows, MATRIX_QUIET):
        at = MATRIX_QUIET
        for dark, cells in groupby(row):
            wide = len(list(cells))
            if dark:
                yield f"M{at} {down}h{wide}v1h-{wide}z"
            at += wide


def means(text: str) -> str:
    """Say what a scan names, or why it names nothing.

    Args:
        text: As it arrived.

    Returns:
        The sentence.
    """
    if is_command(text):
        command = text.strip().upper()
        does = words_of_command(command[command.index("ACT-") :])
        return does or sentence(CodeError("command_unknown", read=shown(text)))
    try:
        found = scans.read(text)
    except LotwardError as error:
        return sentence(error)
    said = str(KINDS[found.kind]) % {"number": found.text}
    read = [f"({ai}) {value}" for ai, value in gs1.read_scan(text).elements]
    return f"{said}: {', '.join(read)}" if read else said
