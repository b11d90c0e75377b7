"""The label that a box gets when it is sent: 100 × 150 mm, to whom and which box.

Lengths are mm from the top left corner of the label.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from kitting.domain.errors import NotFit
from kitting.domain.shown import spaced
from kitting.labels.carried import Carried, of_elements, of_number
from kitting.labels.kinds import Kind
from kitting.labels.large import LEFT, RIGHT, TITLE, WIDE, across, foot_symbol, maker
from kitting.labels.paper import Paper
from kitting.labels.text import Style, fit, width_mm, wrap

TOP: Final = 6.2
SIZES: Final = tuple(
    (figures, Style(name, bold=True), Style(other))
    for figures, name, other in (
        (15.0, 5.6, 4.4),
        (15.0, 4.8, 3.8),
        (15.0, 4.0, 3.2),
        (10.0, 4.0, 3.2),
        (10.0, 3.2, 2.6),
    )
)
"""Of the figures, of the name and of the other lines of the address; the first that
has room is taken."""

ROW: Final = 6.4
NUMBERS_HIGH: Final = 14.0
"""Around the rows of numbers and the figures: titles, rules and white."""

LINE_STEP: Final = 1.65
"""From line to line, in heights."""

NUMBER: Final = tuple((Style(high, bold=True), 1) for high in (4.2, 3.4, 2.6))


@dataclass(frozen=True)
class ShipmentWords:
    """Every word on the label that is not data, in the workshop's language."""

    ship_to: str = "Ship to"
    box: str = "Box"
    nth: str = "{nth} of {of}"
    shipment: str = "Shipment"
    serial: str = "Serial"
    sender: str = "From"
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class ShipmentLabel:
    """Where a box goes, and which of how many it is."""

    ship_to: tuple[str, ...]
    """Name and address from the top, in the order of the country's post; an address
    that the workshop has only as a text, as it was written."""

    nth: int
    of: int
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
    first = TOP + TITLE.high_mm + 3.0
    numbers = _numbers(label)
    refused: list[NotFit] = []
    for figures, name, other in SIZES:
        style, shown = fit(
            label.words.nth.format(nth=label.nth, of=label.of),
            (*((Style(high, bold=True), 1) for high in (figures, 9.0, 7.0)),),
            room_mm=WIDE,
        )
        try:
            lines = _address(label, name, other)
        except NotFit as error:  # A word that is too wide may fit when it is smaller.
            refused.append(error)
            continue
        top = foot - NUMBERS_HIGH - style.high_mm - ROW * len(numbers)
        needed = sum(down for _, down, _ in lines) + 4.0
        if first + needed <= top:
            break
        room = {"needed_mm": round(needed, 1), "room_mm": round(top - first, 1)}
        refused.append(NotFit("label_full", number=label.serial, **room))
    else:
        raise refused[-1]
    paper.text(LEFT, TOP + TITLE.high_mm, label.words.ship_to, TITLE)
    y = first
    for line, down, of_line in lines:
        y += down
        paper.text(LEFT, y, line, of_line)
    paper.rule(LEFT, top, RIGHT - LEFT, thick=3)
    y = top + 3.0 + TITLE.high_mm
    paper.text(LEFT, y, label.words.box, TITLE)
    y += 2.4 + style.high_mm
    # Large figures carry their own white; without it they stand on the margin.
    paper.text(LEFT - style.high_mm * 0.07, y, shown[0], style)
    _draw_numbers(paper, numbers, y + 1.5)


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


def _numbers(label: ShipmentLabel) -> list[tuple[str, str]]:
    """List what the box is called: its serial only where the symbol has an SSCC."""
    numbers = [(label.words.shipment, spaced(label.shipment))]
    if label.sscc is not None:
        numbers.append((label.words.serial, spaced(label.serial)))
    return numbers


def _draw_numbers(paper: Paper, numbers: list[tuple[str, str]], y: float) -> None:
    indent = max(width_mm(title, TITLE) for title, _ in numbers) + 3
    for title, value in numbers:
        y += ROW
        style, shown = fit(value, NUMBER, room_mm=WIDE - indent)
        paper.text(LEFT, y, title, TITLE)
        paper.text(LEFT + indent, y, shown[0], style)


SHIPMENT: Final = Kind[ShipmentLabel](
    "shipment",
    Fraction(100),
    Fraction(150),
    number=lambda label: label.serial,
    symbols=shipment_symbols,
    draw=shipment_face,
    white_mm=Fraction(4),
)
