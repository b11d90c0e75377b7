"""The label that a box gets when it is sent: 100 × 150 mm, to whom, when and which box.

Lengths are mm from the top left corner of the label.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Final

from kitting.domain.errors import NotFit
from kitting.domain.shown import spaced
from kitting.labels.carried import Carried, of_elements, of_number
from kitting.labels.kinds import Kind
from kitting.labels.large import (
    GAP,
    LEFT,
    RIGHT,
    TITLE,
    WIDE,
    across,
    foot_symbol,
    maker,
)
from kitting.labels.paper import Paper
from kitting.labels.text import Style, fit, width_mm, wrap

TOP: Final = 6.2
SIZES: Final = tuple(
    (Style(name, bold=True), Style(other))
    for name, other in ((5.6, 4.4), (4.8, 3.8), (4.0, 3.2), (3.2, 2.6), (2.8, 2.3))
)
"""Of the name and of the other lines of the address; the first that has room is taken."""

DATE: Final = Style(7.0, bold=True)
"""The day of sending, as large as the pack date of a box."""
DATE_WIDE: Final = 60.0
NTH: Final = tuple((Style(high, bold=True), 1) for high in (5.6, 4.4, 3.4, 2.6))
ROW: Final = 5.6
STAMP_HIGH: Final = 19.0
"""The day and which box it is, with titles, rules and white, above the rows below them."""
HALF: Final = 46.0
"""Where the second of two facts in a row begins, from the left."""

LINE_STEP: Final = 1.65
"""From line to line, in heights."""

NUMBER: Final = tuple((Style(high, bold=True), 1) for high in (3.2, 2.6, 2.2, 1.9))
TEXT: Final = (
    *NUMBER[:2],
    *((Style(2.2, bold=True), 2), (Style(1.8, bold=True), 3), (Style(1.4), 3)),
)
"""The last is for what no blank breaks, such as a reference of forty capitals."""


@dataclass(frozen=True)
class ShipmentWords:
    """Every word on the label that is not data, in the workshop's language."""

    ship_to: str = "Ship to"
    sent_on: str = "Sent on"
    box: str = "Box"
    nth: str = "{nth} of {of}"
    product: str = "Product"
    sets: str = "Sets"
    of_all: str = "{sets} of {all}"
    packed: str = "Packed"
    shipment: str = "Shipment"
    reference: str = "Reference"
    serial: str = "Serial"
    sender: str = "From"
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class ShipmentLabel:
    """Where a box goes and when, what is in it, and which of how many it is."""

    ship_to: tuple[str, ...]
    """Name and address from the top, in the order of the country's post; an address
    that the workshop has only as a text, as it was written."""

    sent_on: date
    """The day of sending: its date stamp."""
    nth: int
    of: int
    product: str
    sets: int
    all_sets: int
    """Sets in the whole shipment."""
    packed_on: date
    shipment: str
    serial: str
    sscc: str | None
    maker_name: str
    maker_address: tuple[str, ...]
    name: int = 0
    """Which of these lines is the name, from 0: it is set bold and larger."""

    country: str = ""
    """Stands last, in capitals; empty inside the workshop's own country."""

    mark: str | None = None
    """Text across the face, such as "DEMONSTRATION – NOT FOR USE"."""

    reference: str = ""
    """The consignee's own, where there is one."""
    copy: int = 1
    words: ShipmentWords = field(default_factory=ShipmentWords)


def shipment_symbols(label: ShipmentLabel) -> tuple[Carried]:
    """Tell what the symbol carries: the SSCC, or the serial without a GS1 prefix.

    Args:
        label: The label.

    Returns:
        The linear symbol.

    Raises:
        CodeError: An SSCC that breaks a rule of GS1.
    """
    if label.sscc is None:
        return (of_number(label.serial, linear=True),)
    return (of_elements([("00", label.sscc)], linear=True),)


def shipment_face(paper: Paper, label: ShipmentLabel) -> None:
    """Draw the label where the paper stands.

    Args:
        paper: A label of 100 × 150 mm.
        label: What it says.

    Raises:
        CodeError: A number that breaks a rule of GS1 or cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    across(paper, label.mark)
    (linear,) = shipment_symbols(label)
    foot = maker(
        paper,
        label.maker_name,
        label.maker_address,
        again=label.words.reprint.format(copy=label.copy) if label.copy > 1 else "",
        foot=foot_symbol(paper, linear),
        title=label.words.sender,
    )
    rows = _rows(label)
    top = foot - STAMP_HIGH - sum(row.high for row in rows)
    lines = _address_above(label, top)
    paper.text(LEFT, TOP + TITLE.high_mm, label.words.ship_to, TITLE)
    y = _FIRST
    for line, down, of_line in lines:
        y += down
        paper.text(LEFT, y, line, of_line)
    paper.rule(LEFT, top, RIGHT - LEFT, thick=3)
    _draw_stamp(paper, label, top)
    _draw_rows(paper, rows, top + STAMP_HIGH - 3.0)


_FIRST: Final = TOP + TITLE.high_mm + 3.0
"""Where the address begins."""


def _address_above(label: ShipmentLabel, top: float) -> list[tuple[str, float, Style]]:
    """Break the address in the first sizes in which it ends above a line."""
    refused: list[NotFit] = []
    for name, other in SIZES:
        try:
            lines = _address(label, name, other)
        except NotFit as error:  # A word that is too wide may fit when it is smaller.
            refused.append(error)
            continue
        needed = sum(down for _, down, _ in lines) + 4.0
        if _FIRST + needed <= top:
            return lines
        room = {"needed_mm": round(needed, 1), "room_mm": round(top - _FIRST, 1)}
        refused.append(NotFit("label_full", number=label.serial, **room))
    raise refused[-1]


def _draw_stamp(paper: Paper, label: ShipmentLabel, top: float) -> None:
    """Draw the day of sending, and which of how many boxes it is beside it."""
    words = label.words
    y = top + 3.0 + TITLE.high_mm
    right = LEFT + DATE_WIDE
    paper.text(LEFT, y, words.sent_on, TITLE)
    paper.text(right, y, words.box, TITLE)
    y += 2.4 + DATE.high_mm
    # Large figures carry their own white; without it they stand on the margin.
    paper.text(LEFT - DATE.high_mm * 0.07, y, label.sent_on.isoformat(), DATE)
    nth = words.nth.format(nth=label.nth, of=label.of)
    style, shown = fit(nth, NTH, room_mm=WIDE - DATE_WIDE)
    paper.text(right, y, shown[0], style)


def _address(
    label: ShipmentLabel, name: Style, other: Style
) -> list[tuple[str, float, Style]]:
    """Break the address into what is drawn: a line, its way down, its style."""
    lines = [
        (line, name if nth == label.name else other)
        for nth, line in enumerate(label.ship_to)
        if line.strip()
    ]
    if label.country:
        lines.append((label.country.upper(), other))
    found: list[tuple[str, float, Style]] = []
    for nth, (line, style) in enumerate(lines):
        for piece in wrap(line, style, room_mm=WIDE, lines=3):
            down = style.high_mm * (LINE_STEP if found else 1.0)
            found.append((piece, down + (1.0 if nth == 1 else 0.0), style))
    return found


@dataclass(frozen=True)
class _Fact:
    """A title and what stands beside it, from some way to the right."""

    left: float
    title: str
    indent: float
    lines: tuple[str, ...]
    style: Style


@dataclass(frozen=True)
class _Row:
    facts: tuple[_Fact, ...]

    @property
    def high(self) -> float:
        more = max(len(fact.lines) for fact in self.facts) - 1
        return ROW + more * max(fact.style.high_mm for fact in self.facts) * LINE_STEP


def _rows(label: ShipmentLabel) -> list[_Row]:
    """Say what is in the box and what it is called, row by row.

    The serial stands only where the symbol has an SSCC: else the symbol says it.
    """
    words = label.words
    of_all = words.of_all.format(sets=label.sets, all=label.all_sets)
    pairs = [
        (words.sets, of_all, words.packed, label.packed_on.isoformat()),
        (
            *(words.shipment, spaced(label.shipment)),
            *(
                (words.serial, spaced(label.serial))
                if label.sscc is not None
                else ("", "")
            ),
        ),
    ]
    rows = [_Row((_fact(0.0, words.product, label.product, TEXT, WIDE),))]
    for title, value, other, its in pairs:
        facts = [_fact(0.0, title, value, NUMBER, HALF - GAP)]
        if its:
            facts.append(_fact(HALF, other, its, NUMBER, WIDE - HALF))
        rows.append(_Row(tuple(facts)))
    if label.reference:
        rows.append(_Row((_fact(0.0, words.reference, label.reference, TEXT, WIDE),)))
    return rows


def _fact(
    left: float,
    title: str,
    value: str,
    styles: tuple[tuple[Style, int], ...],
    room: float,
) -> _Fact:
    indent = width_mm(title, TITLE) + 2.0
    style, lines = fit(value, styles, room_mm=room - indent)
    return _Fact(left, title, indent, lines, style)


def _draw_rows(paper: Paper, rows: list[_Row], y: float) -> None:
    for row in rows:
        y += ROW
        for fact in row.facts:
            paper.text(LEFT + fact.left, y, fact.title, TITLE)
            left = LEFT + fact.left + fact.indent
            for nth, line in enumerate(fact.lines):
                down = nth * fact.style.high_mm * LINE_STEP
                paper.text(left, y + down, line, fact.style)
        y += row.high - ROW


SHIPMENT: Final = Kind[ShipmentLabel](
    "shipment",
    Fraction(100),
    Fraction(150),
    number=lambda label: label.serial,
    symbols=shipment_symbols,
    draw=shipment_face,
    white_mm=Fraction(4),
)
