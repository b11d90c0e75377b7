"""A QR code on a paper of several pages, beside what it is for."""

from __future__ import annotations

from typing import Final

from dispatch.labels.sheets import BOLD, GAP, SIDE, STEP, TEXT, Band, lines_at, lines_in
from kitting.labels.datamatrix import qr_matrix
from kitting.labels.geometry import MatrixFit
from kitting.labels.paper import Paper

_CELL_MM: Final = 0.6
_QR_QUIET: Final = 4
"""Cells of white around a QR code: ISO/IEC 18004, 9.1, from memory."""


def scanned_band(text: str, said: str, wide: float) -> Band:
    """A QR code, what it is for beside it, and what it carries for whoever types it.

    Args:
        text: What it carries.
        said: What it is for.
        wide: How much room there is.

    Returns:
        The band.
    """
    symbol = qr_matrix(text)
    white = _QR_QUIET * _CELL_MM
    side = symbol.cells * _CELL_MM
    left = SIDE + side + white + GAP
    room = SIDE + wide - left
    cut = text.rstrip("/").rfind("/") + 1
    above = lines_in(said, BOLD, room)
    below = (*lines_in(text[:cut], TEXT, room), *lines_in(text[cut:], TEXT, room))
    step = TEXT.high_mm * STEP

    def draw(paper: Paper, top: float) -> None:
        dots, x = paper.stock.dots, paper.stock.dots(_CELL_MM)
        fit = MatrixFit(x=x, side=symbol.cells * x, quiet=_QR_QUIET * x)
        paper.matrix(dots(SIDE), dots(top + 2 * white), symbol, fit)
        lines_at(paper, left, top + 2 * white, above, BOLD)
        low = top + 2 * white + (len(above) + 0.5) * step
        lines_at(paper, left, low, below, TEXT)

    high = max(side, (len(above) + len(below) + 0.5) * step)
    return Band(high + 3 * white, draw)
