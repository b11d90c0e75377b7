"""The label that a box gets when it is sent: 100 × 150 mm, to whom, when and which box."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Final

from dispatch.labels.addressed import Face, Row, alone, draw_face, pair
from kitting.domain.shown import spaced
from kitting.labels.carried import of_sscc
from kitting.labels.kinds import Kind
from kitting.labels.paper import Paper


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
    words = label.words
    face = Face(
        number=label.serial,
        title=words.ship_to,
        lines=label.ship_to,
        name=label.name,
        country=label.country,
        stamp=(words.sent_on, label.sent_on.isoformat()),
        beside=(words.box, words.nth.format(nth=label.nth, of=label.of)),
        rows=_rows(label),
        symbol=of_sscc(label.sscc, label.serial),
        sender=words.sender,
        maker_name=label.maker_name,
        maker_address=label.maker_address,
        again=words.reprint.format(copy=label.copy) if label.copy > 1 else "",
        mark=label.mark,
    )
    draw_face(paper, face)


def _rows(label: ShipmentLabel) -> list[Row]:
    """Say what is in the box and what it is called, row by row.

    The serial stands only where the symbol has an SSCC: else the symbol says it.
    """
    words = label.words
    of_all = words.of_all.format(sets=label.sets, all=label.all_sets)
    serial = spaced(label.serial) if label.sscc is not None else ""
    rows = [
        alone(words.product, label.product),
        pair(words.sets, of_all, words.packed, label.packed_on.isoformat()),
        pair(words.shipment, spaced(label.shipment), words.serial, serial),
    ]
    if label.reference:
        rows.append(alone(words.reference, label.reference))
    return rows


SHIPMENT: Final = Kind[ShipmentLabel](
    "shipment",
    Fraction(100),
    Fraction(150),
    number=lambda label: label.serial,
    symbols=lambda label: (of_sscc(label.sscc, label.serial),),
    draw=shipment_face,
    white_mm=Fraction(4),
)
