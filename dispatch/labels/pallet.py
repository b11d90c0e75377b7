"""The label of a pallet: 100 × 150 mm, a logistic label whose lowest symbol is its SSCC.

It is stuck on while the pallet is built, so that it can be scanned at once; what is on it
and to whom it goes stands there as soon as it is known.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Final

from dispatch.labels.addressed import SIZES, Face, Row, alone, draw_face, pair
from kitting.domain.shown import spaced
from kitting.labels.carried import of_sscc
from kitting.labels.kinds import Kind
from kitting.labels.paper import Paper
from kitting.labels.text import Style

AFAR: Final = (Style(10.0, bold=True), Style(4.4))
"""Of the number, while nothing else is to be read from afar."""


@dataclass(frozen=True)
class PalletWords:
    """Every word on the label that is not data, in the language of whom it is for."""

    pallet: str = "Pallet"
    ship_to: str = "Ship to"
    sent: str = "Sent"
    boxes: str = "Boxes"
    sets_inside: str = "Sets"
    shipment: str = "Shipment"
    shipment_reference: str = "Reference"
    ship_from: str = "From"
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class Going:
    """Where a pallet goes, and when."""

    ship_to: tuple[str, ...]
    """Name and address from the top, in the order of the country's post."""
    name: int
    """Which of these lines is the name, from 0: it is set bold and larger."""
    country: str
    """Stands last, in capitals; empty inside the workshop's own country."""
    sent_on: date
    """The day of sending: its date stamp."""
    shipment: str
    reference: str


@dataclass(frozen=True)
class PalletLabel:
    """Which pallet it is, what stands on it, and where it goes."""

    number: str
    sscc: str | None
    boxes: int
    """0 for one that was only begun: nothing is said of boxes then."""
    sets: int
    maker_name: str
    maker_address: tuple[str, ...]
    going: Going | None = None
    """None while it is on no shipment."""
    mark: str | None = None
    """Text across the face, such as "DEMONSTRATION – NOT FOR USE"."""
    copy: int = 1
    words: PalletWords = field(default_factory=PalletWords)


def pallet_face(paper: Paper, label: PalletLabel) -> None:
    """Draw the label where the paper stands.

    Args:
        paper: A label of 100 × 150 mm.
        label: What it says.

    Raises:
        CodeError: A number that breaks a rule of GS1 or cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    words, going = label.words, label.going
    counted = [str(each) if label.boxes else "" for each in (label.boxes, label.sets)]
    boxes, sets = counted
    if going is None:
        stamp, beside = (words.boxes, boxes), (words.sets_inside, sets)
        if not label.boxes:
            stamp = beside = ("", "")
    else:
        stamp, beside = (words.sent, going.sent_on.isoformat()), (words.boxes, boxes)
    face = Face(
        number=label.number,
        title=words.pallet if going is None else words.ship_to,
        lines=(spaced(label.number),) if going is None else going.ship_to,
        name=going.name if going else 0,
        country=going.country if going else "",
        stamp=stamp,
        beside=beside,
        rows=_rows(label, going, sets) if going else (),
        symbol=of_sscc(label.sscc, label.number),
        sender=words.ship_from,
        maker_name=label.maker_name,
        maker_address=label.maker_address,
        again=words.reprint.format(copy=label.copy) if label.copy > 1 else "",
        mark=label.mark,
        sizes=SIZES if going else (AFAR, *SIZES),
    )
    draw_face(paper, face)


def _rows(label: PalletLabel, going: Going, sets: str) -> list[Row]:
    words = label.words
    rows = [
        pair(words.sets_inside, sets),
        pair(words.pallet, spaced(label.number)),
        pair(words.shipment, spaced(going.shipment)),
    ]
    if going.reference:
        rows.append(alone(words.shipment_reference, going.reference))
    return rows


PALLET: Final = Kind[PalletLabel](
    "pallet",
    Fraction(100),
    Fraction(150),
    number=lambda label: label.number,
    symbols=lambda label: (of_sscc(label.sscc, label.number),),
    draw=pallet_face,
    white_mm=Fraction(4),
)
