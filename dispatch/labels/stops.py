"""The driver's copy: where to stop, in order, with what is handed over at each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from dispatch.labels.sheets import (
    BOLD,
    NOTE,
    SIDE,
    TITLE,
    Around,
    Band,
    beside,
    head_band,
    press,
    text_band,
    to_fill,
)
from kitting.domain.shown import spaced
from kitting.labels.bidi import isolated
from kitting.labels.stock import Stock


@dataclass(frozen=True)
class StopWords:
    """Every word on the driver's copy that is not data, in the workshop's language."""

    title: str = "Driver’s copy"
    stops: str = "Stops {stops}, boxes {boxes}"
    ship_to: str = "Ship to"
    asks: str = "Whom to ask"
    takes: str = "Takes deliveries"
    night: str = "At night"
    shipment: str = "Shipment"
    reference: str = "Reference"
    boxes: str = "Boxes {boxes}, sets {sets}"
    seal: str = "Seal"
    not_sent: str = "Not sent yet: what is on it may still change."
    signed: tuple[str, ...] = ("Received by", "When", "Signature")
    page: str = "Page {page} of {pages}"


@dataclass(frozen=True)
class Stop:
    """Where something is left, and what."""

    ship_to: tuple[str, ...]
    """Name and address from the top, the ward included."""
    shipment: str
    boxes: int
    sets: int
    contact: str = ""
    night_contact: str = ""
    opening: str = ""
    reference: str = ""
    seal: str = ""
    sent: bool = True


@dataclass(frozen=True)
class Round:
    """The stops of a driver on a day, in order."""

    day: date
    who: str
    """Haulier, driver and vehicle, as far as they are known."""
    ship_from: tuple[str, ...]
    stops: tuple[Stop, ...]
    mark: str | None = None
    words: StopWords = field(default_factory=StopWords)


_SIGN_IN_ROW: Final = 3


def drivers_copy(round_: Round, on: Stock) -> bytes:
    """Draw the driver's copy; a stop is never parted by the end of a page.

    Args:
        round_: The stops; at least one.
        on: The paper.

    Returns:
        The document, as PDF.

    Raises:
        NotFit: A character that the typeface lacks.
    """
    words, wide = round_.words, float(on.width_mm) - 2 * SIDE
    boxes = sum(stop.boxes for stop in round_.stops)
    title = f"{words.title} {round_.day.isoformat()}"
    said = words.stops.format(stops=len(round_.stops), boxes=boxes)
    who = ", ".join(each for each in (round_.who, said) if each)
    bands = [
        text_band(title, TITLE, wide, after=3.0),
        text_band(who, BOLD, wide, after=2.0),
        text_band(", ".join(round_.ship_from), NOTE, wide),
    ]
    for nth, stop in enumerate(round_.stops, start=1):
        bands += _stop(nth, stop, words, wide)
    around = Around(
        title=title,
        running=f"{title} · {round_.who}",
        foot=", ".join(round_.ship_from),
        page=words.page,
        mark=round_.mark,
    )
    return press(bands, around, on)


def _stop(nth: int, stop: Stop, words: StopWords, wide: float) -> Sequence[Band]:
    """A stop: to whom, whom to ask and when, what is handed over, who received it."""
    what = words.boxes.format(boxes=stop.boxes, sets=stop.sets)
    handed = [spaced(stop.shipment), what]
    asks = [each for each in (stop.contact,) if each]
    for title, said, to in (
        (words.seal, stop.seal, handed),
        (words.reference, stop.reference, handed),
        (words.night, stop.night_contact, asks),
        (words.takes, stop.opening, asks),
    ):
        if said:
            to.append(f"{title}: {isolated(said)}")
    blocks = [
        (words.ship_to, stop.ship_to),
        (words.asks, asks),
        (words.shipment, handed),
    ]
    late = [] if stop.sent else [text_band(words.not_sent, NOTE, wide, keep=True)]
    about = beside(blocks, wide)
    return [
        head_band(f"{nth}. {stop.ship_to[0]}", wide),
        *late,
        Band(about.high, about.draw, keep=True),
        to_fill(words.signed, wide, in_row=_SIGN_IN_ROW),
    ]
