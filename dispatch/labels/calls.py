"""The call sheet of a recall: whom to telephone, about which boxes, and what they said."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Final

from dispatch.labels.sheets import (
    BOLD,
    HEAD,
    NOTE,
    SIDE,
    TEXT,
    TITLE,
    Around,
    Band,
    Column,
    Line,
    beside,
    head_band,
    press,
    table,
    text_band,
    to_fill,
)
from kitting.domain.shown import spaced
from kitting.labels.bidi import filled, isolated
from kitting.labels.stock import Stock


@dataclass(frozen=True)
class CallWords:
    """Every word on the call sheet that is not data, in the workshop's language."""

    title: str = "Whom to call about"
    at: str = "At"
    asks: str = "By day"
    night: str = "At night"
    none: str = "not on record"
    boxes: str = "Boxes {boxes}, pieces {pieces}"
    serial: str = "Serial"
    pieces: str = "Pieces"
    sets: str = "Sets"
    point: str = "Left at"
    shipment: str = "Shipment"
    sent: str = "Sent"
    passed: str = "passed on by {giver}"
    passed_to: str = "passed on to {whom}"
    back: str = "came back"
    short: str = "received short, sets counted: {sets}"
    filled: tuple[str, ...] = ("Spoke to", "When", "Boxes they have still")
    before: str = "What was said before"
    said: str = "What they said"
    as_of: str = "As of"
    link: str = "Newest link"
    page: str = "Page {page} of {pages}"


@dataclass(frozen=True)
class Away:
    """A box that left, with pieces of what is looked for."""

    serial: str
    pieces: int
    sets: int
    shipment: str
    sent_on: date | None
    point: str = ""
    passed_by: str = ""
    short: int | None = None
    """Sets that were counted in it where it was received short."""
    product: str = ""
    passed_to: str = ""
    back: bool = False
    """Whether it came back to the workshop."""


@dataclass(frozen=True)
class Call:
    """Somebody who must be told."""

    name: str
    address: tuple[str, ...]
    boxes: tuple[Away, ...]
    """At least one."""
    contact: str = ""
    night_contact: str = ""
    before: tuple[str, ...] = ()
    """What was said of it in calls before, the newest first."""


@dataclass(frozen=True)
class CallSheet:
    """All who must be told about one number."""

    about: str
    """What was looked up, in words."""
    said: str
    """Where all of it is, in one sentence."""
    at: str
    """When that was so."""
    calls: tuple[Call, ...]
    head: str = ""
    """Number and first digits of the newest link of the journal."""
    mark: str | None = None
    words: CallWords = field(default_factory=CallWords)


_SERIAL: Final = 29.0
_FIGURE: Final = 16.0
_SHIPMENT: Final = 32.0
_DAY: Final = 25.0


def call_sheet(sheet: CallSheet, on: Stock) -> bytes:
    """Draw the call sheet: by consignee whom to call, its boxes, lines to write on.

    Args:
        sheet: Who must be told; at least one.
        on: The paper.

    Returns:
        The document, as PDF.

    Raises:
        NotFit: A character that the typeface lacks.
    """
    words, wide = sheet.words, float(on.width_mm) - 2 * SIDE
    title = f"{words.title} {sheet.about}"
    bands = [
        text_band(title, TITLE, wide, after=3.0),
        text_band(sheet.said, BOLD, wide, after=2.0),
        text_band(f"{words.as_of} {sheet.at}", NOTE, wide),
    ]
    for nth, call in enumerate(sheet.calls, start=1):
        bands += _call(nth, call, words, wide)
    around = Around(
        title=title,
        running=f"{title} · {sheet.at}",
        foot=f"{words.link} {sheet.head}" if sheet.head else title,
        page=words.page,
        mark=sheet.mark,
    )
    return press(bands, around, on)


def _call(nth: int, call: Call, words: CallWords, wide: float) -> list[Band]:
    pieces = sum(box.pieces for box in call.boxes)
    what = words.boxes.format(boxes=len(call.boxes), pieces=pieces)
    about = beside(
        [
            (words.asks, (call.contact or words.none,)),
            (words.night, (call.night_contact or words.none,)),
            (words.at, (call.name, *call.address)),
        ],
        wide,
    )
    to_write = to_fill(words.filled, wide)
    return [
        head_band(f"{nth}. {isolated(call.name)}: {what}", wide),
        Band(about.high, about.draw, keep=True),
        *_boxes(call, words, wide),
        *_before(call, words, wide),
        Band(to_write.high, to_write.draw, keep=True),
        to_fill([words.said], wide, in_row=1),
    ]


def _before(call: Call, words: CallWords, wide: float) -> list[Band]:
    if not call.before:
        return []
    head = text_band(words.before, HEAD, wide, after=0.5, keep=True)
    return [head, *(text_band(said, TEXT, wide, after=0.6) for said in call.before)]


def _boxes(call: Call, words: CallWords, wide: float) -> list[Band]:
    rest = wide - _SERIAL - 2 * _FIGURE - _SHIPMENT - _DAY
    columns = [
        Column(words.serial, _SERIAL, bold=True),
        Column(words.pieces, _FIGURE, right=True),
        Column(words.sets, _FIGURE, right=True),
        Column(words.shipment, _SHIPMENT),
        Column(words.sent, _DAY),
        Column(words.point, rest),
    ]
    rows = [
        Line(
            (
                spaced(box.serial),
                *(str(box.pieces), str(box.sets), spaced(box.shipment)),
                box.sent_on.isoformat() if box.sent_on else "–",
                box.point,
            ),
            below=_beside(box, words),
        )
        for box in call.boxes
    ]
    return table(columns, rows)


def _beside(box: Away, words: CallWords) -> str:
    """What is told of a box below its row."""
    told = [box.product] if box.product else []
    if box.passed_by:
        told.append(filled(words.passed, giver=box.passed_by))
    if box.passed_to:
        told.append(filled(words.passed_to, whom=box.passed_to))
    if box.back:
        told.append(words.back)
    if box.short is not None:
        told.append(words.short.format(sets=box.short))
    return ", ".join(told)
