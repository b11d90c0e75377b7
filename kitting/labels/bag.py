"""The label of a bag: 70 × 40 mm, its number twice and what is in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Final

from kitting.domain.shown import spaced
from kitting.labels.paper import Paper
from kitting.labels.small import frame, in_rows, title_lines
from kitting.labels.text import Style

PART: Final = (
    (Style(3.0, bold=True), 1),
    (Style(2.4, bold=True), 2),
    (Style(1.9, bold=True), 2),
)


@dataclass(frozen=True)
class BagWords:
    """Every word on the label that is not data, in the workshop's language."""

    revision: str = "Revision"
    lot: str = "Lot"
    piece: str = "Pieces"
    gram: str = "Mass"
    mm: str = "Length"
    made_on: str = "Made"
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class BagContent:
    """What is in a bag that has come to life."""

    part: str
    revision: str
    lot: str
    pieces: str
    """The count as it is printed, with its unit where that is not pieces."""

    made_on: date
    unit: str = "piece"
    """What is counted: ``piece``, ``gram`` or ``mm``."""


@dataclass(frozen=True)
class BagLabel:
    """A bag's number, and what is in the bag once that is known."""

    number: str
    content: BagContent | None = None
    """None for a number printed ahead on a blank label."""

    mark: str | None = None
    """Text on a black band across the top, such as "DEMONSTRATION – NOT FOR USE"."""

    words: BagWords = field(default_factory=BagWords)
    copy: int = 1
    """Which print of this label it is; from the second on the label says so."""


def bag_face(paper: Paper, label: BagLabel) -> None:
    """Draw a bag label where the paper stands.

    Args:
        paper: A label of 70 × 40 mm.
        label: What it says; without content only its number is drawn.

    Raises:
        CodeError: A number that cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    words, content = label.words, label.content
    room = frame(
        paper,
        label.number,
        mark=label.mark,
        again=words.reprint.format(copy=label.copy) if label.copy > 1 else "",
        text=spaced(label.number),
    )
    if content is None:
        return
    y = title_lines(paper, room, content.part, PART)
    cells = [
        (words.lot, spaced(content.lot)),
        (words.revision, content.revision),
        (getattr(words, content.unit), content.pieces),
        (words.made_on, content.made_on.isoformat()),
    ]
    in_rows(paper, room, cells, y=y, foot=room.foot)
