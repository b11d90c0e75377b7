"""Letters about a recall: what it is, what to do at once, whom to call, a form to reply.

What one has to say is published in 21 CFR 7.49.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from dispatch.labels.scanned import scanned_band
from dispatch.labels.sheets import (
    BOLD,
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
    press_all,
    table,
    text_band,
    to_fill,
)
from kitting.domain.shown import spaced
from kitting.labels.bidi import filled, isolated
from kitting.labels.stock import Stock


@dataclass(frozen=True)
class Recalled:
    """A box that is recalled."""

    serial: str
    product: str
    sets: int
    lots: tuple[str, ...]
    shipment: str
    sent_on: date | None
    passed_to: str = ""
    new: bool = True


@dataclass(frozen=True)
class Notice:
    """A letter to one consignee."""

    words: Mapping[str, str]
    case: str
    urgent: bool
    written_on: date
    to: tuple[str, ...]
    """Name and address from the top."""
    sender: tuple[str, ...]
    contact: str
    night_contact: str
    hazard: str
    to_do: str
    boxes: tuple[Recalled, ...]
    """At least one."""
    parts: tuple[tuple[str, str, str], ...]
    """Part, revision and number of each lot."""
    address: str = ""
    """Where the consignee may reply; empty where it has no link."""
    answer_by: date | None = None
    head: str = ""
    """Number and first digits of the link that seals it."""
    mark: str | None = None

    @property
    def title(self) -> str:
        """What it is, and about which case."""
        words = self.words
        said = f"{words['recall']} {spaced(self.case)}"
        return f"{words['urgent']}: {said}" if self.urgent else said

    @property
    def reply_by(self) -> str:
        """By when to answer, in a sentence; empty where it asks for no day."""
        day = self.answer_by
        return filled(self.words["reply_by"], day=day.isoformat()) if day else ""

    def sizes(self) -> list[tuple[str, int, int, int]]:
        """Product, sets in a box, boxes and their sets."""
        found: dict[tuple[str, int], int] = {}
        for box in self.boxes:
            found[box.product, box.sets] = found.get((box.product, box.sets), 0) + 1
        return [(name, sets, n, n * sets) for (name, sets), n in sorted(found.items())]


def letters(notices: Sequence[Notice], on: Stock) -> bytes:
    """Draw letters, each with pages of its own.

    Args:
        notices: The letters; at least one.
        on: The paper.

    Returns:
        The document, as PDF.

    Raises:
        NotFit: A character that the typeface lacks.
    """
    wide = float(on.width_mm) - 2 * SIDE
    return press_all([(_bands(one, wide), _around(one)) for one in notices], on)


def _around(notice: Notice) -> Around:
    words = notice.words
    return Around(
        title=notice.title,
        running=f"{notice.title} · {notice.to[0]}",
        foot=f"{words['newest_link']} {notice.head}",
        page=words["page"],
        mark=notice.mark,
    )


def _bands(notice: Notice, wide: float) -> list[Band]:
    words = notice.words
    new = [box for box in notice.boxes if box.new]
    before = [box for box in notice.boxes if not box.new]
    reply = f"{words['reply']} {notice.reply_by}".strip()
    to_do = (words["aside"], notice.to_do, words["tell_on"], reply)
    bands = [
        text_band(notice.title, TITLE, wide, after=3.0),
        *_addition(words, wide, new=bool(new), before=bool(before)),
        beside(
            [
                (words["to"], notice.to),
                (words["from"], notice.sender),
                (words["written"], (notice.written_on.isoformat(),)),
            ],
            wide,
        ),
        text_band(words["stop"], BOLD, wide, after=1.0),
        head_band(words["why"], wide),
        _space(),
        *_paragraphs(notice.hazard, wide),
        head_band(words["to_do"], wide),
        _space(),
        *_steps(to_do, wide),
        head_band(words["call"], wide),
        _space(),
        text_band(
            f"{words['by_day']}: {isolated(notice.contact)}", BOLD, wide, after=1.0
        ),
        text_band(f"{words['at_night']}: {isolated(notice.night_contact)}", BOLD, wide),
        head_band(words["what"], wide),
        *_sizes(notice, wide),
    ]
    for title, boxes in ((words["new"], new), (words["before"], before)):
        if boxes:
            named = title if before else words["boxes"]
            bands += [head_band(named, wide), *_boxes(words, boxes, wide)]
    bands += [
        head_band(words["known"], wide),
        _space(),
        text_band(words["slip"], TEXT, wide),
        text_band(words["marks"], TEXT, wide, keep=True),
        *_parts(notice, wide),
    ]
    return [*bands, *_form(notice, wide)]


def _addition(
    words: Mapping[str, str], wide: float, *, new: bool, before: bool
) -> list[Band]:
    """What it adds to; one is by itself where none that arrived names a box of it."""
    if not before:
        return []
    said = words["addition_help" if new else "repeated_help"]
    return [
        text_band(words["addition"], BOLD, wide, after=1.0),
        text_band(said, TEXT, wide, after=3.0),
    ]


def _space() -> Band:
    return Band(1.6, lambda _paper, _top: None, keep=True)


def _paragraphs(text: str, wide: float) -> list[Band]:
    lines = [line for line in text.splitlines() if line.strip()]
    return [text_band(line, TEXT, wide, after=1.0) for line in lines]


def _steps(said: Sequence[str], wide: float) -> list[Band]:
    return [
        band
        for nth, text in enumerate(said, start=1)
        for band in _paragraphs(f"{nth}. {isolated(text)}", wide)
    ]


_FIGURE: Final = 22.0
_SERIAL: Final = 29.0
_SHIPMENT: Final = 32.0
_DAY: Final = 25.0
_ANSWER: Final = 21.0


def _sizes(notice: Notice, wide: float) -> list[Band]:
    words = notice.words
    titles = ("sets_per_box", "boxes", "sets_inside")
    columns = [
        Column(words["product"], wide - 3 * _FIGURE),
        *(Column(words[each], _FIGURE, right=True) for each in titles),
    ]
    sizes = notice.sizes()
    rows = [Line((name, *(str(each) for each in figures))) for name, *figures in sizes]
    boxes, sets = sum(size[2] for size in sizes), sum(size[3] for size in sizes)
    total = Line((words["total"], "", str(boxes), str(sets)), total=True)
    return table(columns, [*rows, total])


def _boxes(
    words: Mapping[str, str], boxes: Sequence[Recalled], wide: float
) -> list[Band]:
    rest = wide - _SERIAL - _SHIPMENT - _DAY - 14.0
    columns = [
        Column(words["serial"], _SERIAL, bold=True),
        Column(words["product"], rest * 0.55),
        Column(words["sets_inside"], 14.0, right=True),
        Column(words["lots"], rest * 0.45),
        Column(words["shipment"], _SHIPMENT),
        Column(words["sent"], _DAY),
    ]
    rows = [
        Line(
            (
                spaced(box.serial),
                *(box.product, str(box.sets), ", ".join(box.lots)),
                *(
                    spaced(box.shipment),
                    box.sent_on.isoformat() if box.sent_on else "–",
                ),
            ),
            below=filled(words["passed"], whom=box.passed_to) if box.passed_to else "",
        )
        for box in boxes
    ]
    return table(columns, rows)


def _parts(notice: Notice, wide: float) -> list[Band]:
    words = notice.words
    columns = [
        Column(words["part"], wide / 2),
        Column(words["revision"], wide / 4),
        Column(words["lot"], wide / 4),
    ]
    return table(columns, [Line(part) for part in notice.parts])


def _form(notice: Notice, wide: float) -> list[Band]:
    words = notice.words
    answers = ("unused", "used", "quarantine", "returned", "destroyed", "passed_on")
    columns = [
        Column(words["serial"], wide - 14.0 - len(answers) * _ANSWER, bold=True),
        Column(words["sets_inside"], 14.0, right=True),
        *(Column(words[each], _ANSWER) for each in answers),
    ]
    blank = ("",) * len(answers)
    rows = [
        Line((spaced(box.serial), str(box.sets), *blank), below=" ")
        for box in notice.boxes
    ]
    filled = ("passed_whom", "receiver", "telephone", "received_on", "signature")
    bands = [
        head_band(f"{words['form']} · {words['case']} {spaced(notice.case)}", wide),
        *(
            [text_band(notice.reply_by, BOLD, wide, after=1.0, keep=True)]
            if notice.reply_by
            else []
        ),
        text_band(words["form_help"], NOTE, wide, after=1.0, keep=True),
        *table(columns, rows),
        to_fill([words[each] for each in filled], wide),
    ]
    if notice.address:
        bands.append(scanned_band(notice.address, words["read_and_say"], wide))
    return bands
