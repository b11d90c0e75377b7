"""The label that a box gets when it is sent: 100 × 150 mm, to whom and which box.

Lengths are mm from the top left corner of the label.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from kitting.domain.errors import NotFit
from kitting.labels.carried import Carried, of_elements, of_number
from kitting.labels.kinds import Kind
from kitting.labels.large import LEFT, RIGHT, TITLE, WIDE, across, foot_symbol, maker
from kitting.labels.paper import Paper
from kitting.labels.text import Style, fit, width_mm, wrap

TOP: Final = 6.2
SIZES: Final = tuple(
    (Style(name, bold=True), Style(other))
    for name, other in ((5.6, 4.4), (4.8, 3.8), (4.0, 3.2), (3.2, 2.6))
)
"""Of the first line and of the others; the first that has room is taken."""

LINE_STEP: Final = 1.65
"""From line to line, in heights."""

FIGURES: Final = tuple((Style(high, bold=True), 1) for high in (15.0, 12.0, 9.0, 7.0))
NUMBER: Final = tuple((Style(high, bold=True), 1) for high in (4.2, 3.4, 2.6))


@dataclass(frozen=True)
class ShipmentWords:
    """Every word on the label that is not data, in the workshop's language."""

    ship_to: str = "Ship to"
    box: str = "Box"
    nth: str = "{nth} of {of}"
    shipment: str = "Shipment"
    serial: str = "Serial"
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class ShipmentLabel:
    """Where a box goes, and which of how many it is."""

    ship_to: tuple[str, ...]
    """Name and address from the top, in the order in which the workshop wrote them: as
    the post of that country wants them."""

    nth: int
    of: int
    shipment: str
    serial: str
    sscc: str | None
    maker_name: str
    maker_address: tuple[str, ...]
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
    top = _numbers(
        paper,
        label,
        maker(
            paper,
            label.maker_name,
            label.maker_address,
            again=label.words.reprint.format(copy=label.copy) if label.copy > 1 else "",
            foot=foot_symbol(paper, linear),
        ),
    )
    _address(paper, label, top)


def _address(paper: Paper, label: ShipmentLabel, foot: float) -> None:
    """Draw the address from the top, as large as all of it has room."""
    lines = [line for line in label.ship_to if line.strip()]
    if label.country:
        lines.append(label.country.upper())
    first = TOP + TITLE.high_mm
    paper.text(LEFT, first, label.words.ship_to, TITLE)
    y = first + 3.0
    for name, other in SIZES:
        set_lines = _set(lines, name, other)
        high = sum(down for _, down, _ in set_lines)
        if y + high + 4.0 <= foot:
            break
    else:
        raise NotFit(
            "label_full",
            number=label.serial,
            needed_mm=round(high + 4.0, 1),
            room_mm=round(foot - y, 1),
        )
    for line, down, style in set_lines:
        y += down
        paper.text(LEFT, y, line, style)


def _set(lines: list[str], name: Style, other: Style) -> list[tuple[str, float, Style]]:
    """Break an address into what is drawn: a line, its way down, its style."""
    found: list[tuple[str, float, Style]] = []
    for nth, line in enumerate(lines):
        style = other if nth else name
        for piece in wrap(line, style, room_mm=WIDE, lines=3):
            down = style.high_mm * (LINE_STEP if found else 1.0)
            found.append((piece, down + (1.0 if nth == 1 else 0.0), style))
    return found


def _numbers(paper: Paper, label: ShipmentLabel, foot: float) -> float:
    """Draw which box it is and of which shipment, up from the foot; give the top."""
    words = label.words
    rows = [(words.shipment, label.shipment)]
    if label.sscc is not None:
        rows.append((words.serial, label.serial))
    right = max(width_mm(title, TITLE) for title, _ in rows)
    style, figures = fit(
        words.nth.format(nth=label.nth, of=label.of), FIGURES, room_mm=WIDE
    )
    base = foot - 5.0
    for title, value in reversed(rows):
        heavy, shown = fit(value, NUMBER, room_mm=WIDE - right - 3)
        paper.text(LEFT, base, title, TITLE)
        paper.text(LEFT + right + 3, base, shown[0], heavy)
        base -= 6.4
    base -= 1.5
    # Large figures carry their own white; without it they stand on the margin.
    paper.text(LEFT - style.high_mm * 0.07, base, figures[0], style)
    base -= style.high_mm + 2.4
    paper.text(LEFT, base, words.box, TITLE)
    top = base - TITLE.high_mm - 3.0
    paper.rule(LEFT, top, RIGHT - LEFT, thick=3)
    return top


SHIPMENT: Final = Kind[ShipmentLabel](
    "shipment",
    Fraction(100),
    Fraction(150),
    number=lambda label: label.serial,
    symbols=shipment_symbols,
    draw=shipment_face,
    white_mm=Fraction(4),
)
