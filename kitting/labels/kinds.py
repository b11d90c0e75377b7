"""Every kind of label, described alike, so that any can be drawn on any paper."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final, Generic, TypeVar

from kitting.labels.bag import BagLabel, bag_face
from kitting.labels.box_face import box_face
from kitting.labels.box_label import BoxLabel, box_symbols
from kitting.labels.cards import (
    BadgeLabel,
    CommandLabel,
    PlaceLabel,
    badge_face,
    badge_symbols,
    command_face,
    place_face,
)
from kitting.labels.carried import Carried, twice
from kitting.labels.cleared import ClearedLabel, cleared_face
from kitting.labels.layout import Layout, lay_out
from kitting.labels.paper import Paper
from kitting.labels.slip import SetSlip, slip_face, slip_symbols
from kitting.labels.stock import Sheet, Stock

L = TypeVar("L")


@dataclass(frozen=True)
class Kind(Generic[L]):
    """One kind of label; ``L`` is the dataclass of what one label of it says."""

    name: str
    width_mm: Fraction
    """The size that it is designed for."""

    height_mm: Fraction
    number: Callable[[L], str]
    """What a label is called when it is refused."""

    symbols: Callable[[L], tuple[Carried, ...]]
    draw: Callable[[Paper, L], None]
    white_mm: Fraction = Fraction("1.5")
    """Along each edge; a printer may be unable to reach as much."""

    secret: bool = False
    """Whether what its symbols carry must not be told in an error."""

    many: bool = False
    """Whether many copies may be in use: each bench and desk has its own."""

    def on(self, paper: Stock | Sheet) -> Layout:
        """Find the places of this label on paper.

        Args:
            paper: What is in the printer.

        Returns:
            Page, label size and places.

        Raises:
            NotFit: As in ``lay_out``.
        """
        return lay_out(
            self.name,
            width_mm=self.width_mm,
            height_mm=self.height_mm,
            white_mm=self.white_mm,
            on=paper,
        )


_SMALL: Final = (Fraction(70), Fraction(40))

BOX: Final = Kind[BoxLabel](
    "box",
    Fraction(100),
    Fraction(150),
    number=lambda label: label.serial,
    symbols=box_symbols,
    draw=box_face,
    white_mm=Fraction(4),
)
BAG: Final = Kind[BagLabel](
    "bag",
    *_SMALL,
    number=lambda label: label.number,
    symbols=lambda label: twice(label.number),
    draw=bag_face,
)
CLEARED: Final = Kind[ClearedLabel](
    "cleared",
    *_SMALL,
    number=lambda label: label.number,
    symbols=lambda label: twice(label.number),
    draw=cleared_face,
)
SET_SLIP: Final = Kind[SetSlip](
    "set_slip",
    Fraction(50),
    Fraction(25),
    number=lambda label: f"{label.serial} {label.nth}/{label.of}",
    symbols=slip_symbols,
    draw=slip_face,
)
BADGE: Final = Kind[BadgeLabel](
    "badge",
    *_SMALL,
    number=lambda label: label.name,
    symbols=badge_symbols,
    draw=badge_face,
    secret=True,
)
PLACE: Final = Kind[PlaceLabel](
    "place",
    *_SMALL,
    number=lambda label: label.code,
    symbols=lambda label: twice(label.code),
    draw=place_face,
)
COMMAND: Final = Kind[CommandLabel](
    "command",
    *_SMALL,
    number=lambda label: label.command,
    symbols=lambda label: twice(label.command),
    draw=command_face,
    many=True,
)

KINDS: Final[Mapping[str, Kind[Any]]] = {
    kind.name: kind for kind in (BOX, BAG, CLEARED, SET_SLIP, BADGE, PLACE, COMMAND)
}
"""By name; the kinds of other rooms are not among them."""
