"""Marks of ISO 15223-1 as simple vectors, for the profile *medical device* only.

Numbers and titles are those of ISO 15223-1:2021. The drawings are simple renderings
from memory of the described shapes: whoever declares a product a medical device
compares them with the official graphics before the first label leaves the house.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from kitting.labels.text import Style

_POINTS_PER_MM: Final = 72 / 25.4
_FACTORY: Final = (
    (0.04, 0.08),
    (0.04, 0.92),
    (0.22, 0.92),
    (0.22, 0.46),
    (0.46, 0.66),
    (0.46, 0.46),
    (0.71, 0.66),
    (0.71, 0.46),
    (0.96, 0.66),
    (0.96, 0.08),
)


class MarkPen:
    """Draws a small vector mark in a unit square, (0, 0) at its lower left.

    Args:
        canvas: The page.
        left: Left side in points.
        bottom: Lower side in points.
        side: Length of a side in points.
    """

    def __init__(
        self, canvas: Canvas, *, left: float, bottom: float, side: float
    ) -> None:
        self._canvas = canvas
        self._left = left
        self._bottom = bottom
        self._side = side

    def shape(
        self,
        points: Iterable[tuple[float, float]],
        *,
        filled: bool = False,
        closed: bool = True,
    ) -> None:
        """Draw straight lines through points, filled or as an outline."""
        path: PDFPathObject = self._canvas.beginPath()
        for index, (x, y) in enumerate(points):
            go = path.lineTo if index else path.moveTo
            go(self._left + x * self._side, self._bottom + y * self._side)
        if closed:
            path.close()
        self._paint(path, filled=filled)

    def arc(
        self, x: float, y: float, radius: float, start: float, sweep: float
    ) -> None:
        """Draw part of a circle around (x, y); degrees against the clock."""
        path: PDFPathObject = self._canvas.beginPath()
        middle_x = self._left + x * self._side
        middle_y = self._bottom + y * self._side
        r = radius * self._side
        path.arc(middle_x - r, middle_y - r, middle_x + r, middle_y + r, start, sweep)
        self._paint(path, filled=False)

    def letters(self, x: float, y: float, text: str, high: float) -> None:
        """Draw bold letters of height ``high``, middle of the base line at (x, y)."""
        style = Style(high * self._side / _POINTS_PER_MM, bold=True)
        self._canvas.setFillGray(0)
        self._canvas.setFont(style.font, style.points)
        self._canvas.drawCentredString(
            self._left + x * self._side, self._bottom + y * self._side, text
        )

    def _paint(self, path: PDFPathObject, *, filled: bool) -> None:
        self._canvas.setFillGray(0)
        self._canvas.setStrokeGray(0)
        self._canvas.setLineWidth(self._side / 18)
        self._canvas.setLineJoin(0)
        self._canvas.drawPath(path, fill=int(filled), stroke=1)


def _batch(pen: MarkPen) -> None:
    """5.1.5 Batch code."""
    _framed(pen, "LOT")


def _reference(pen: MarkPen) -> None:
    """5.1.6 Catalogue number."""
    _framed(pen, "REF")


def _udi(pen: MarkPen) -> None:
    """5.7.10 Unique device identifier."""
    _framed(pen, "UDI")


def _single_use(pen: MarkPen) -> None:
    """5.4.2 Do not re-use."""
    pen.arc(0.5, 0.5, 0.46, 0, 360)
    pen.letters(0.5, 0.27, "2", 0.46)
    pen.shape([(0.17, 0.83), (0.83, 0.17)], closed=False)


def _serial(pen: MarkPen) -> None:
    """5.1.7 Serial number."""
    _framed(pen, "SN")


def _device(pen: MarkPen) -> None:
    """5.7.7 Medical device."""
    _framed(pen, "MD")


def _maker(pen: MarkPen) -> None:
    """5.1.1 Manufacturer."""
    pen.shape(_FACTORY, filled=True)


def _made(pen: MarkPen) -> None:
    """5.1.3 Date of manufacture."""
    pen.shape(_FACTORY)


def _use_by(pen: MarkPen) -> None:
    """5.1.4 Use-by date."""
    pen.shape([(0.2, 0.94), (0.8, 0.94), (0.2, 0.06), (0.8, 0.06)])
    pen.shape([(0.12, 0.94), (0.88, 0.94)], closed=False)
    pen.shape([(0.12, 0.06), (0.88, 0.06)], closed=False)


def _keep_dry(pen: MarkPen) -> None:
    """5.3.4 Keep dry."""
    pen.arc(0.5, 0.34, 0.42, 0, 180)
    pen.shape([(0.08, 0.34), (0.92, 0.34)], closed=False)
    pen.shape([(0.5, 0.76), (0.5, 0.1)], closed=False)
    pen.arc(0.59, 0.1, 0.09, 180, 180)
    for x, y in ((0.2, 0.78), (0.4, 0.88), (0.6, 0.88), (0.8, 0.78)):
        pen.shape([(x, y), (x, y + 0.1)], closed=False)


def _instructions(pen: MarkPen) -> None:
    """5.4.3 Consult instructions for use."""
    pen.shape([(0.5, 0.2), (0.05, 0.3), (0.05, 0.86), (0.5, 0.76)])
    pen.shape([(0.5, 0.2), (0.95, 0.3), (0.95, 0.86), (0.5, 0.76)])
    pen.letters(0.72, 0.36, "i", 0.34)


def _framed(pen: MarkPen, letters: str) -> None:
    pen.shape([(0.02, 0.2), (0.98, 0.2), (0.98, 0.8), (0.02, 0.8)])
    pen.letters(0.5, 0.34, letters, 0.32)


MARKS: Final[dict[str, Callable[[MarkPen], None]]] = {
    "batch": _batch,
    "serial": _serial,
    "reference": _reference,
    "udi": _udi,
    "single_use": _single_use,
    "device": _device,
    "maker": _maker,
    "made": _made,
    "use_by": _use_by,
    "keep_dry": _keep_dry,
    "instructions": _instructions,
}
"""Every mark by the name that the layouts use."""
