"""What label stock and printers may be: sizes and dots.

Lengths are whole µm, so that a page of 215.9 mm or a gap of 2.54 mm is exact. Dots are
a fraction, so many on so many µm: 8 on 1,000 for what is sold as 203 dpi (and has 203.2
of them), 300 on 25,400 for a head that counts in inches.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import NotFit, Refused

LARGEST_UM: Final = 500_000
"""Half a metre: no label, and no page that a workshop prints on, is larger."""

COARSEST, FINEST = 4, 48
"""Dots per mm: heads under 4 print no symbol of ours, and none has twice 24."""

LONGEST_PITCH_UM: Final = 254_000
"""Dots are told on at most so many µm: tenths of a dot per inch."""

MOST_ON_A_SHEET: Final = 500
MOST_DOTS: Final = 80_000_000
"""Of a page, which is read back whole, in memory: A3 with 600 dots per inch has 70
million. A printer with 1,200 prints whole dots of 600 as well."""


@dataclass(frozen=True)
class StockFacts:
    """A stock as it is to be; lengths in µm. No page for labels on a roll."""

    code: str
    name: str
    width_um: int
    height_um: int
    margin_um: int = 0
    gap_um: int = 0
    head_dots: int = 8
    head_um: int = 1000
    page_width_um: int | None = None
    page_height_um: int | None = None
    left_um: int = 0
    top_um: int = 0
    columns: int = 1
    rows: int = 1
    gap_across_um: int = 0
    gap_down_um: int = 0
    active: bool = True

    @property
    def sheet(self) -> bool:
        """Whether its labels stand n up on a page."""
        return self.page_width_um is not None


@dataclass(frozen=True)
class PrinterFacts:
    """A printer as it is to be."""

    code: str
    name: str
    address: str
    stock: str
    head_dots: int = 8
    head_um: int = 1000
    bench: str = ""
    active: bool = True


def need_head(dots: int, um: int) -> None:
    """Refuse dots that no head has.

    Args:
        dots: So many dots …
        um: … on so many µm.

    Raises:
        Refused: ``head_out_of_range``.

    >>> need_head(8, 1000)
    >>> need_head(300, 25_400)
    """
    known = dots >= 1 and 1 <= um <= LONGEST_PITCH_UM
    if not known or not COARSEST * um <= dots * 1000 <= FINEST * um:
        read = round(dots * 1000 / um, 2) if um else 0
        raise Refused("head_out_of_range", read=read, most=FINEST)


def need_size(facts: StockFacts) -> None:
    """Refuse lengths, dots and numbers of labels that no stock has.

    Whether the labels stay on the page is for ``labels.stock.Sheet`` to tell.

    Args:
        facts: The stock.

    Raises:
        NotFit: ``sheet_has_no_labels``, ``sheet_too_many``.
        Refused: ``size_out_of_range``, ``gap_out_of_range``, ``margin_too_wide``,
            ``head_out_of_range``, ``page_too_fine``.
    """
    sides = [facts.width_um, facts.height_um]
    page = (facts.page_width_um, facts.page_height_um)
    if page != (None, None):
        sides += [side or 0 for side in page]
    for side in sides:
        if not 1000 <= side <= LARGEST_UM:
            raise Refused("size_out_of_range", read_mm=side / 1000)
    # Of a sheet, or of a label on a roll: what passes the head as a page.
    if facts.margin_um < 0 or facts.margin_um * 2 >= min(sides[-2:]):
        raise Refused("margin_too_wide", read_mm=facts.margin_um / 1000)
    for gap in (
        facts.gap_um,
        facts.left_um,
        facts.top_um,
        facts.gap_across_um,
        facts.gap_down_um,
    ):
        if not 0 <= gap <= LARGEST_UM:
            raise Refused("gap_out_of_range", read_mm=gap / 1000)
    grid = {"columns": facts.columns, "rows": facts.rows}
    if min(grid.values()) < 1:
        raise NotFit("sheet_has_no_labels", **grid)
    if facts.columns * facts.rows > MOST_ON_A_SHEET:
        raise NotFit("sheet_too_many", **grid, most=MOST_ON_A_SHEET)
    need_head(facts.head_dots, facts.head_um)
    need_dots(sides[-2], sides[-1], facts.head_dots, facts.head_um)


def need_dots(width_um: int, height_um: int, dots: int, um: int) -> None:
    """Refuse a page with more dots than can be read back.

    Args:
        width_um: Its width.
        height_um: Its height.
        dots: So many dots …
        um: … on so many µm.

    Raises:
        Refused: ``page_too_fine``.

    >>> need_dots(297_000, 420_000, 600, 25_400)
    """
    whole = width_um * height_um * dots * dots // (um * um)
    if whole > MOST_DOTS:
        raise Refused(
            "page_too_fine",
            width_mm=width_um / 1000,
            height_mm=height_um / 1000,
            read=round(dots * 1000 / um, 2),
            millions=whole // 1_000_000,
            most=MOST_DOTS // 1_000_000,
        )
