"""A sheet of label stock to draw on: text in mm, symbols in whole printer dots.

Both count from the top left corner of the page. Bars survive every rasteriser because
they start on a dot, are whole dots wide and are drawn 0.05 dot smaller on each side:
some rasterisers blacken every dot that is merely touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Final

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from kitting.domain.errors import NotFit
from kitting.labels.code128 import Bars
from kitting.labels.datamatrix import Matrix
from kitting.labels.geometry import LinearFit, MatrixFit
from kitting.labels.marks import MarkPen
from kitting.labels.stock import Stock
from kitting.labels.text import Line, Style, drawn, load_font, printable, width_mm

_INSET: Final = 0.05
_SHAVED_POINTS: Final = 0.01
"""Taken off each side of the page: a rasteriser that rounds up would stretch it."""

_NON_ZERO: Final = 1
_RECTANGLE: Final = "%.4f %.4f %.4f %.4f re"
"""In points: a ten-thousandth is far below any printer's dot."""

_POINTS_PER_MM: Final = 72 / 25.4
_PLAIN: Final = Style(1)
_HEAVY: Final = Style(1, bold=True)

# Binary streams: smaller and faster than ASCII ones, and every reader takes them.
rl_config.useA85 = 0

Dots = tuple[float, float, float, float]
"""Left, top, width and height in dots."""


class Paper:
    """Pages of one stock, drawn one after the other.

    Args:
        stock: The label and the printer's head: what everything is measured from.
        title: Title of the document.
        page: The page, where it is larger than the label.
    """

    def __init__(self, stock: Stock, *, title: str, page: Stock | None = None) -> None:
        for style in (_PLAIN, _HEAVY):
            load_font(style.font)
        self.stock = stock
        page = page or stock
        self._dot = float(stock.points_per_dot)
        self._top = page.height_dots * self._dot - _SHAVED_POINTS
        self._file = BytesIO()
        self._canvas = Canvas(
            self._file,
            pagesize=(page.width_dots * self._dot - _SHAVED_POINTS, self._top),
            invariant=1,
            pageCompression=1,
            initialFontName=_PLAIN.font,
        )
        self._canvas.setTitle(title)
        self._canvas.setCreator("Lotward")
        self._canvas.setProducer("Lotward")

    def finish(self) -> bytes:
        """Close the document and give its bytes, the same for the same drawing."""
        self._canvas.save()
        return self._file.getvalue()

    def next_page(self) -> None:
        """Go on with an empty page."""
        self._canvas.showPage()

    @contextmanager
    def taken_back(self) -> Iterator[None]:
        """Take back what was drawn meanwhile, if it turns out not to fit."""
        drawn = len(self._canvas._code)
        try:
            yield
        except NotFit:
            del self._canvas._code[drawn:]
            raise

    @contextmanager
    def label_at(self, left: int, top: int) -> Iterator[None]:
        """Draw one label somewhere on the page; nothing of it leaves its place.

        Args:
            left: Dots from the left of the page to the label.
            top: Dots from the top of the page to the label.

        Yields:
            Nothing; whatever is drawn meanwhile counts from the label's corner.
        """
        pen, stock = self._canvas, self.stock
        wide, high = stock.width_dots * self._dot, stock.height_dots * self._dot
        pen.saveState()
        if left or top:
            pen.translate(left * self._dot, -top * self._dot)
        outline, hair = pen.beginPath(), _INSET * self._dot
        outline.rect(hair, self._top - high + hair, wide - 2 * hair, high - 2 * hair)
        pen.clipPath(outline, stroke=0, fill=0)
        yield
        pen.restoreState()

    def text(
        self,
        x_mm: float,
        base_mm: float,
        text: str,
        style: Style,
        *,
        align: str = "left",
    ) -> None:
        """Draw one line of text.

        Args:
            x_mm: Left end, middle or right end of the line.
            base_mm: Base line, measured from the top of the page.
            text: The line; refused rather than printed with gaps.
            style: Weight and size.
            align: ``left``, ``centre`` or ``right``.

        Raises:
            NotFit: As in ``printable``.
        """
        shown = printable(text, style)
        back = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
        left = x_mm - back * width_mm(shown, style)
        if align == "left" and isinstance(shown, Line):
            left += shown.indent_mm
        self._canvas.setFillGray(0)
        self._show(left * _POINTS_PER_MM, self._y(base_mm), shown, style)

    def slanted_outline(
        self, x_mm: float, y_mm: float, text: str, style: Style, *, degrees: float
    ) -> None:
        """Draw hollow text around a point, turned against the clock.

        Args:
            x_mm: Middle of the text from the left.
            y_mm: Middle of the text from the top.
            text: One line.
            style: Weight and size.
            degrees: How far it is turned.

        Raises:
            NotFit: As in ``printable``.
        """
        shown = printable(text, style)
        pen = self._canvas
        pen.saveState()
        pen.translate(x_mm * _POINTS_PER_MM, self._y(y_mm))
        pen.rotate(degrees)
        pen.setLineWidth(0.25 * _POINTS_PER_MM)
        left = -width_mm(shown, style) / 2 * _POINTS_PER_MM
        self._show(left, -style.high_mm / 2 * _POINTS_PER_MM, shown, style, mode=1)
        pen.restoreState()

    def band(self, high_mm: float, text: str, style: Style) -> None:
        """Draw white text on a black band across the top of the label.

        The text stands low in it: the uppermost edge may be out of the printer's reach.

        Args:
            high_mm: Height of the band.
            text: One line, centred.
            style: Weight and size.

        Raises:
            NotFit: As in ``printable``.
        """
        shown = printable(text, style)
        self._fill([(0, 0, self.stock.width_dots, self.stock.dots(high_mm))])
        left = (self.stock.mm(self.stock.width_dots) - width_mm(shown, style)) / 2
        self._canvas.setFillGray(1)
        base = self._y(high_mm - 0.2 * style.high_mm)
        self._show(left * _POINTS_PER_MM, base, shown, style)

    def rule(
        self, x_mm: float, y_mm: float, length_mm: float, *, thick: int = 2
    ) -> None:
        """Draw a horizontal rule, ``thick`` dots high, on the dot grid."""
        dots = self.stock.dots
        self._fill([(dots(x_mm), dots(y_mm), dots(length_mm), thick)])

    def disc(self, x_mm: float, y_mm: float, radius_mm: float) -> None:
        """Draw a solid disc around a point."""
        self._canvas.setFillGray(0)
        self._canvas.circle(
            x_mm * _POINTS_PER_MM,
            self._y(y_mm),
            radius_mm * _POINTS_PER_MM,
            stroke=0,
            fill=1,
        )

    def block(self, left: int, top: int, wide: int, high: int) -> None:
        """Blacken a rectangle of dots."""
        self._fill([(left, top, wide, high)])

    def clear(self, left: int, top: int, wide: int, high: int) -> None:
        """Make a rectangle of dots white again."""
        self._fill([(left, top, wide, high)], gray=1)

    def bars(self, left: int, top: int, bars: Bars, fit: LinearFit) -> None:
        """Draw a linear symbol; ``left`` is its first bar, not its quiet zone."""
        boxes: list[Dots] = []
        at = left
        for index, modules in enumerate(bars.widths):
            if index % 2 == 0:
                boxes.append((at, top, modules * fit.x, fit.high))
            at += modules * fit.x
        self._fill(boxes)

    def matrix(self, left: int, top: int, matrix: Matrix, fit: MatrixFit) -> None:
        """Draw a matrix symbol; ``left`` and ``top`` are its own edge.

        Dark cells are drawn once as rows and once as columns, so that the small inset
        leaves no white hairline between neighbours.
        """
        across = _runs(matrix.rows)
        down = _runs(tuple(zip(*matrix.rows, strict=True)))
        x = fit.x
        self._fill(
            [(left + a * x, top + row * x, n * x, x) for row, a, n in across]
            + [(left + col * x, top + a * x, x, n * x) for col, a, n in down]
        )

    def mark(self, left_mm: float, top_mm: float, side_mm: float) -> MarkPen:
        """Give a pen whose unit square is this square of the page."""
        return MarkPen(
            self._canvas,
            left=left_mm * _POINTS_PER_MM,
            bottom=self._y(top_mm + side_mm),
            side=side_mm * _POINTS_PER_MM,
        )

    def _show(
        self, left: float, base: float, text: str, style: Style, mode: int | None = None
    ) -> None:
        """Draw a line from a point of the page."""
        self._canvas.setFont(style.font, style.points)
        for piece in drawn(text, style):
            x, y = left + piece.right * style.points, base + piece.up * style.points
            self._canvas.drawString(x, y, piece.glyphs, mode=mode)

    def _y(self, from_top_mm: float) -> float:
        return self._top - from_top_mm * _POINTS_PER_MM

    def _fill(self, boxes: Iterable[Dots], *, gray: float = 0) -> None:
        code = [
            _RECTANGLE
            % (
                (left + _INSET) * self._dot,
                self._top - (top + high - _INSET) * self._dot,
                (wide - 2 * _INSET) * self._dot,
                (high - 2 * _INSET) * self._dot,
            )
            for left, top, wide, high in boxes
        ]
        self._canvas.setFillGray(gray)
        path = PDFPathObject(code=code)
        self._canvas.drawPath(path, fill=1, stroke=0, fillMode=_NON_ZERO)


class Measured(Paper):
    """Paper that refuses what a page would, and keeps nothing of what it has room for.

    A writer spends most of a label's time on turning figures into text.
    """

    def _show(
        self, left: float, base: float, text: str, style: Style, mode: int | None = None
    ) -> None:
        pass

    def _fill(self, boxes: Iterable[Dots], *, gray: float = 0) -> None:
        pass


def _runs(rows: tuple[tuple[bool, ...], ...]) -> list[tuple[int, int, int]]:
    """List the runs of dark cells: (row, first cell, cells)."""
    found: list[tuple[int, int, int]] = []
    for index, row in enumerate(rows):
        start: int | None = None
        for at, dark in enumerate((*row, False)):
            if dark and start is None:
                start = at
            elif not dark and start is not None:
                found.append((index, start, at - start))
                start = None
    return found
