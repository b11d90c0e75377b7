"""The label of what is cleared: 70 × 40 mm, hung over the label of a bag or carrier."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from kitting.domain.shown import spaced
from kitting.labels.bidi import filled
from kitting.labels.paper import Paper
from kitting.labels.small import BASE, LEFT, NOTE, TITLE, VALUE, frame, in_rows
from kitting.labels.text import Style, fit, wrap_sentences

HEADING: Final = tuple((Style(high, bold=True), 1) for high in (3.4, 2.4))
NOTE_STEP: Final = 2.5


@dataclass(frozen=True)
class ClearedWords:
    """Every word on the label that is not data, in the workshop's language."""

    cleared: str = "Cleared"
    run: str = "Run"
    protocol: str = "Protocol"
    version: str = "{code} v{version}"
    released: str = "Released"
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class ClearedLabel:
    """What was cleared, in which run and by which protocol."""

    number: str
    what: str
    """What the number is of, as it is printed: "Bag" or "Carrier"."""

    run: str
    protocol: tuple[str, str]
    """Code and version."""

    released_at: str
    """Local date and time, YYYY-MM-DD HH:MM."""

    cautions: tuple[str, ...] = ()
    words: ClearedWords = field(default_factory=ClearedWords)
    mark: str | None = None
    """Text on a black band across the top."""

    copy: int = 1


def cleared_face(paper: Paper, label: ClearedLabel) -> None:
    """Draw the label where the paper stands.

    Args:
        paper: A label of 70 × 40 mm.
        label: What it says.

    Raises:
        CodeError: A number that cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    words = label.words
    code, version = label.protocol
    room = frame(
        paper,
        label.number,
        mark=label.mark,
        again=words.reprint.format(copy=label.copy) if label.copy > 1 else "",
        text=spaced(label.number),
        low=True,
    )
    paper.text(LEFT, BASE, label.what, TITLE)
    lines = wrap_sentences(label.cautions, NOTE, room_mm=room.wide)
    below = room.foot
    if lines:
        below -= NOTE_STEP * len(lines) + 0.8 + NOTE.below_mm - VALUE.below_mm
    disc = 4.4
    style, heading = fit(words.cleared, HEADING, room_mm=room.wide - disc)
    y = room.top + 1 + style.high_mm
    paper.disc(LEFT + style.high_mm / 2, y - style.high_mm / 2, style.high_mm / 2)
    paper.text(LEFT + disc, y, heading[0], style)
    cells = [
        (words.run, spaced(label.run)),
        (words.protocol, filled(words.version, code=code, version=version)),
        (words.released, label.released_at),
    ]
    y = in_rows(paper, room, cells, y=y, foot=below)
    for line in lines:
        y += NOTE_STEP
        paper.text(LEFT, y + 0.8, line, NOTE)
