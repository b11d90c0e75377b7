"""Where things stand on a box label.

From the top: the product, the count and the dates, the numbers beside the matrix
symbol. From the foot: the linear symbol, the maker, the cautions. What is left between
them stays white. Lengths are mm from the top left corner unless named otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from kitting.domain.errors import NotFit
from kitting.domain.shown import spaced
from kitting.labels.bidi import filled, isolated
from kitting.labels.box_label import BoxLabel, box_symbols
from kitting.labels.carried import Carried
from kitting.labels.geometry import MATRIX, MATRIX_QUIET, fit_matrix
from kitting.labels.large import (
    GAP,
    LEFT,
    RIGHT,
    TITLE,
    WIDE,
    across,
    foot_symbol,
    maker,
)
from kitting.labels.marks import MARKS
from kitting.labels.paper import Paper
from kitting.labels.text import Style, fit, width_mm, wrap, wrap_sentences

DATES_LEFT: Final = 39.0
MARK_SIDE: Final = 5.0
MARK_STEP: Final = 7.0
MATRIX_ROOM: Final = 33.0


@dataclass(frozen=True)
class Spacing:
    """How much white there is between things."""

    name: tuple[tuple[Style, int], ...]
    count: float
    """Height of the figures that tell how many sets."""

    row: float
    """From one date to the next."""

    gap: float
    """Above and below the dates, and above the numbers."""

    readable: float
    """From line to line of the text under the matrix."""

    caution: Style
    caution_step: float


SPACINGS: Final = (
    Spacing(
        name=((Style(4.2, bold=True), 2), (Style(3.4, bold=True), 3)),
        count=15.0,
        row=6.2,
        gap=3.5,
        readable=2.9,
        caution=Style(2.2),
        caution_step=3.7,
    ),
    Spacing(
        name=((Style(3.4, bold=True), 2), (Style(2.8, bold=True), 3)),
        count=13.0,
        row=5.0,
        gap=2.2,
        readable=2.5,
        caution=Style(1.9),
        caution_step=3.0,
    ),
    Spacing(
        name=((Style(2.8, bold=True), 2), (Style(2.4, bold=True), 3)),
        count=10.0,
        row=4.4,
        gap=1.6,
        readable=2.3,
        caution=Style(1.7),
        caution_step=2.6,
    ),
)
"""Wide, and tighter where there is no room."""

COUNT_LOWEST: Final = 7.0
PACKED: Final = Style(7.0, bold=True)
DATE: Final = Style(3.2, bold=True)
SERIAL: Final = tuple((Style(high, bold=True), 1) for high in (3.6, 2.8, 2.2, 1.9))
BATCH: Final = tuple((Style(high, bold=True), 1) for high in (2.8, 2.2, 1.9))
SMALLEST: Final = (Style(1.6, bold=True), 1)
NUMBER_STEP: Final = 3.6
LOT: Final = Style(2.1)
LOT_NUMBER: Final = Style(2.1, bold=True)
LOT_STEP: Final = 1.65
"""From line to line, in heights."""

LOT_RUNNING: Final = tuple(Style(high) for high in (2.1, 1.9, 1.7, 1.5))
"""Lots that do not stand in columns are set as running text, as large as they can be;
1.5 mm are 5.8 points."""

READABLE_SMALL: Final = Style(1.8)
READABLE_ROOM: Final = 36.0
READABLE_MOST: Final = 46.0
"""For one identifier, which is never split."""


class BoxFace:
    """Draws one box label on the page that is open.

    Args:
        paper: Paper of 100 × 150 mm.
        label: What the label says.
        linear: The symbol at the foot.
        matrix: The symbol beside the numbers.
        spacing: How much white there is.
    """

    def __init__(
        self,
        paper: Paper,
        label: BoxLabel,
        linear: Carried,
        matrix: Carried,
        spacing: Spacing,
    ) -> None:
        self.paper = paper
        self.label = label
        self.linear = linear
        self.matrix = matrix
        self.spacing = spacing
        # The marks of ISO 15223-1 are for medical devices only. What PPE must carry
        # (Regulation (EU) 2016/425: type, serial, name and address) stands on every
        # label in words; its conformity mark is the maker's own to put on.
        self.device = label.profile == "device"
        self._shift = MARK_SIDE + 0.8 if self.device else 0.0

    def draw(self) -> None:
        """Draw everything.

        Raises:
            CodeError: Data that a symbol cannot carry.
            NotFit: A symbol or a text that has no room.
        """
        label = self.label
        across(self.paper, label.mark)
        notes = self._notes()
        y = self._dates(self._name())
        foot = maker(
            self.paper,
            label.maker_name,
            self._address(),
            again=label.words.reprint.format(copy=label.copy) if label.copy > 1 else "",
            foot=foot_symbol(self.paper, self.linear),
            mark=self._mark,
            indent=self._shift,
        )
        foot = self._cautions(notes, foot)
        needed = self._numbers(y, foot)
        if needed > foot:
            raise self._full(needed - y, foot - y)

    def _address(self) -> tuple[str, ...]:
        """The maker's address, and whom a ward asks."""
        label = self.label
        if not label.contact:
            return label.maker_address
        # A telephone number is never split.
        contact = label.contact.replace(" ", "\N{NO-BREAK SPACE}")
        asked = filled(label.words.contact, contact=contact)
        return (*label.maker_address, asked)

    def _name(self) -> float:
        style, lines = fit(self.label.product_name, self.spacing.name, room_mm=WIDE)
        y = 5.0
        for line in lines:
            y += style.high_mm * 1.6 if y > 5.0 else style.high_mm + 1.2
            self.paper.text(LEFT, y, line, style)
        y += 3.5
        self.paper.rule(LEFT, y, WIDE, thick=3)
        return y

    def _dates(self, top: float) -> float:
        """Draw the count at the left and the dates at the right of it."""
        label, words = self.label, self.label.words
        count = str(label.sets)
        room = DATES_LEFT - LEFT - 4
        high = min(self.spacing.count, room / width_mm(count, Style(1, bold=True)))
        if high < COUNT_LOWEST:
            raise NotFit("text_too_long", text=count, lines=1, room_mm=room)
        base = top + 0.5 + self.spacing.gap + self.spacing.count
        # Large figures carry their own white; without it they stand on the margin.
        self.paper.text(LEFT - high * 0.07, base, count, Style(high, bold=True))
        unit = words.set_one if label.sets == 1 else words.sets
        self._word(LEFT, base + 6, unit, room, Style(3.4))
        y = top + 0.5 + self.spacing.gap + TITLE.high_mm
        left = self._mark("made", DATES_LEFT, y)
        self._word(left, y, words.packed, RIGHT - left)
        y += 2.4 + PACKED.high_mm
        self.paper.text(DATES_LEFT, y, label.packed_on.isoformat(), PACKED)
        y += self.spacing.gap - 0.5
        for title, on in label.disinfected:
            y = self._date_row(y, title, on)
        if label.use_by is not None:
            y = self._date_row(y, words.use_by, label.use_by, mark="use_by")
        y = max(y, base + 6) + self.spacing.gap - 0.5
        self.paper.rule(LEFT, y, WIDE)
        return y

    def _date_row(self, y: float, title: str, on: date, *, mark: str = "") -> float:
        """Draw a title with its date at the right; give the foot of the row."""
        shown = on.isoformat()
        base = y + self.spacing.row - 1.2
        left = self._mark(mark, DATES_LEFT, base)
        room = RIGHT - left - width_mm(shown, DATE) - 2
        lines = wrap(title, TITLE, room_mm=room, lines=3)
        for index, line in enumerate(lines):
            self.paper.text(left, base + index * 3.4, line, TITLE)
        self.paper.text(RIGHT, base, shown, DATE, align="right")
        return y + self.spacing.row + 3.4 * max(0, len(lines) - 1)

    def _numbers(self, top: float, foot: float) -> float:
        """Draw the matrix with its text at the right, the numbers at the left."""
        column, under = self._matrix(top + self.spacing.gap, foot)
        room = column - LEFT - 3
        words, label = self.label.words, self.label
        rows = [("serial", spaced(label.serial), SERIAL)]
        rows.append(("batch", spaced(label.kit_batch), BATCH))
        if self.device and label.reference:
            rows.append(("reference", label.reference, BATCH))
        titles = max(width_mm(getattr(words, what), TITLE) for what, *_ in rows)
        parts = max((width_mm(part, LOT) for part, _ in label.lots), default=0.0)
        indent = max(self._shift + titles, parts) + GAP
        if indent + max(width_mm(said, high[0][0]) for _, said, high in rows) > room:
            indent = self._shift + titles + GAP
        y = top + self.spacing.gap
        for what, said, styles in rows:
            y = self._number(y, what, said, styles, indent=indent, room=room)
        return max(self._lots(y + 1.5, indent, room, foot), under)

    def _matrix(self, top: float, foot: float) -> tuple[float, float]:
        """Draw the matrix; give the left of its column and the foot of its text."""
        paper, stock = self.paper, self.paper.stock
        lines = _packed(self.matrix.readable(), READABLE_SMALL)
        cells = self.matrix.matrix()
        below = self.spacing.readable * len(lines) + 0.6
        least = stock.mm((cells.cells + 2 * MATRIX_QUIET) * MATRIX.floor_dots(stock))
        if least <= MATRIX_ROOM and top + least + below > foot:
            raise self._full(least + below, foot - top)
        room = min(MATRIX_ROOM, foot - top - below)
        size = fit_matrix(cells, module=MATRIX, room=stock.dots(room), stock=stock)
        widest = max(width_mm(line, READABLE_SMALL) for line in lines)
        left = stock.dots(RIGHT - max(widest, stock.mm(size.side)))
        high = stock.dots(top)
        quiet = size.quiet
        paper.clear(left - quiet, high - quiet, size.whole, size.whole)
        paper.matrix(left, high, cells, size)
        y = stock.mm(high + size.side) + 0.6
        for line in lines:
            y += self.spacing.readable
            paper.text(stock.mm(left), y, line, READABLE_SMALL)
        column = stock.mm(left - quiet)
        if self.device and self.matrix.pairs:
            # Beside what carries the identifier (ISO 15223-1, 5.7.10).
            column -= MARK_SIDE + 0.5
            MARKS["udi"](paper.mark(column, top, MARK_SIDE))
        return column, y

    def _full(self, needed: float, room: float) -> NotFit:
        """Tell that the numbers need more height than is left, in mm."""
        return NotFit(
            "label_full",
            number=self.label.serial,
            needed_mm=round(needed, 1),
            room_mm=round(room, 1),
        )

    def _number(
        self,
        top: float,
        what: str,
        number: str,
        styles: tuple[tuple[Style, int], ...],
        *,
        indent: float,
        room: float,
    ) -> float:
        """Draw a title with its number beside it; give the top of the next row."""
        base = top + 3.6
        title = getattr(self.label.words, what)
        self._word(self._mark(what, LEFT, base), base, title, room - self._shift)
        if indent + width_mm(number, styles[-1][0]) > room:
            # A number that is too wide for its title's side stands below it.
            base += NUMBER_STEP
            indent, styles = self._shift, (*styles, SMALLEST)
        style, lines = fit(number, styles, room_mm=room - indent)
        self.paper.text(LEFT + indent, base, lines[0], style)
        return base + 2.0

    def _lots(self, top: float, indent: float, room: float, foot: float) -> float:
        """Draw the lots by part, or the line that says where they stand."""
        lots, words = _by_part(self.label.lots), self.label.words
        y = top + 2.2
        step = LOT_STEP * LOT.high_mm
        names = max((width_mm(part, LOT) for part, _ in lots), default=0) + GAP
        wide = max((width_mm(number, LOT_NUMBER) for _, number in lots), default=0)
        indent = indent if names <= indent else names
        titled = width_mm(words.lots, TITLE) <= room
        if titled and y + step * len(lots) <= foot and indent + wide <= room:
            self.paper.text(LEFT, y, words.lots, TITLE)
            for part, number in lots:
                y += step
                self.paper.text(LEFT, y, part, LOT)
                self.paper.text(LEFT + indent, y, number, LOT_NUMBER)
            return y
        running = self._running(lots, room, foot - y + step)
        if running is None:
            lines = wrap(words.lots_elsewhere, TITLE, room_mm=room, lines=2)
            return self._lines(lines, TITLE, y - step) if lots else y
        return self._lines(*running, y - LOT_STEP * running[1].high_mm)

    def _running(
        self, lots: list[tuple[str, str]], room: float, high: float
    ) -> tuple[tuple[str, ...], Style] | None:
        """Set lots as running text, if any type is small enough."""
        runs = "; ".join(
            f"{isolated(part)} {isolated(numbers)}" for part, numbers in lots
        )
        text = f"{self.label.words.lots}: {runs}"
        styles = tuple(
            (style, int(high / (LOT_STEP * style.high_mm))) for style in LOT_RUNNING
        )
        try:
            style, lines = fit(text, styles, room_mm=room)
        except NotFit as error:
            if error.code != "text_too_long":
                raise
            return None
        return lines, style

    def _lines(self, lines: tuple[str, ...], style: Style, y: float) -> float:
        """Draw lines under a base; give the base of the last."""
        for line in lines:
            y += LOT_STEP * style.high_mm
            self.paper.text(LEFT, y, line, style)
        return y

    def _word(
        self, x: float, y: float, said: str, room: float, style: Style = TITLE
    ) -> None:
        """Draw a word of the label's language; one that is too wide is refused."""
        for line in wrap(said, style, room_mm=room, lines=1):
            self.paper.text(x, y, line, style)

    def _notes(self) -> list[str]:
        """Break the cautions into lines."""
        cautions = list(self.label.cautions)
        if self.label.latex:
            cautions.append(self.label.words.latex)
        if self.device:
            # In words: the frame of ISO 15223-1, 5.2.7, is only for what is sold both
            # sterile and not.
            cautions.append(self.label.words.non_sterile)
        room = WIDE - (MARK_STEP * len(self._alone()) + 1 if self.device else 0)
        return wrap_sentences(cautions, self.spacing.caution, room_mm=room)

    def _cautions(self, lines: list[str], foot: float) -> float:
        """Draw cautions and the marks that stand alone; give the top of the block."""
        style, step = self.spacing.caution, self.spacing.caution_step
        y = foot - 2.2 - step * (len(lines) - 1)
        for index, line in enumerate(lines):
            self.paper.text(LEFT, y + step * index, line, style)
        if self.device:
            for nth, name in enumerate(reversed(self._alone()), start=1):
                left = RIGHT + MARK_STEP - MARK_SIDE - MARK_STEP * nth
                MARKS[name](self.paper.mark(left, foot - 7, MARK_SIDE))
        return min(y - style.high_mm, foot - (7 if self.device else 0)) - 2

    def _alone(self) -> list[str]:
        """Name the marks of a device that stand beside no text."""
        once = ["single_use"] if self.label.single_use else []
        return ["device", *once, "keep_dry", "instructions"]

    def _mark(self, name: str, x: float, base: float) -> float:
        """Draw a mark of the profile before a title; give where the title starts."""
        if not self.device or not name:
            return x
        MARKS[name](self.paper.mark(x, base - 3.4, MARK_SIDE - 0.5))
        return x + self._shift


def _packed(pieces: tuple[str, ...], style: Style) -> list[str]:
    """Set pieces of readable text side by side while they fit; never split one."""
    lines: list[str] = []
    for piece in pieces:
        if width_mm(piece, style) > READABLE_MOST:
            raise NotFit("text_too_long", text=piece, lines=1, room_mm=READABLE_MOST)
        if lines and width_mm(lines[-1] + piece, style) <= READABLE_ROOM:
            lines[-1] += piece
        else:
            lines.append(piece)
    return lines


def _by_part(lots: tuple[tuple[str, str], ...]) -> list[tuple[str, str]]:
    """Join the lot numbers of one part, in the order in which they came."""
    found: dict[str, list[str]] = {}
    for part, number in lots:
        found.setdefault(part, []).append(spaced(number))
    return [(part, ", ".join(numbers)) for part, numbers in found.items()]


def box_face(paper: Paper, label: BoxLabel) -> None:
    """Draw a box label where the paper stands.

    Args:
        paper: A label of 100 × 150 mm.
        label: What it says.

    Raises:
        CodeError: A number that breaks a rule of GS1 or cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    symbols = box_symbols(label)
    *wide, tight = SPACINGS
    for spacing in wide:
        try:
            with paper.taken_back():
                BoxFace(paper, label, *symbols, spacing).draw()
        except NotFit as error:
            if error.code not in ("label_full", "text_too_long"):
                raise
        else:
            return
    BoxFace(paper, label, *symbols, tight).draw()
