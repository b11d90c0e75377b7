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
from kitting.labels.text import Style, fit, width_mm

NAME: Final = ((Style(5.6, bold=True), 2), (Style(4.4, bold=True), 3))
LINE: Final = tuple((Style(high), 1) for high in (4.4, 3.8, 3.2, 2.6))
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
    y = _address(paper, label)
    if y > top:
        raise NotFit(
            "label_full",
            number=label.serial,
            needed_mm=round(y, 1),
            room_mm=round(top, 1),
        )


def _address(paper: Paper, label: ShipmentLabel) -> float:
    """Draw the address from the top; give its foot."""
    lines = [line for line in label.ship_to if line.strip()]
    if label.country:
        lines.append(label.country.upper())
    y = 6.2 + TITLE.high_mm
    paper.text(LEFT, y, label.words.ship_to, TITLE)
    y += 3.0
    for nth, line in enumerate(lines):
        style, broken = fit(line, LINE if nth else NAME, room_mm=WIDE)
        for at, piece in enumerate(broken):
            y += style.high_mm * (LINE_STEP if nth or at else 1)
            paper.text(LEFT, y, piece, style)
        y += 0 if nth else 1.0
    return y + 3.0


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
