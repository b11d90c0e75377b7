"""Where labels stand on the paper that is in the printer. Lengths are whole dots."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from kitting.domain.errors import NotFit
from kitting.labels.stock import Sheet, Stock, shown_mm


@dataclass(frozen=True)
class Layout:
    """Pages of one size with places for labels of one size."""

    page: Stock
    label: Stock
    """The size that the label was designed for, on this printer head."""

    spots: tuple[tuple[int, int], ...]
    """Left and top of each label on a page, in the order in which they are filled."""

    def pages(self, labels: int, *, start: int = 1) -> int:
        """Tell how many pages a number of labels takes."""
        return -(-(labels + start - 1) // len(self.spots))

    def place(self, nth: int, *, start: int = 1) -> tuple[int, tuple[int, int]]:
        """Give the page, from 0, and the spot of a label, counted from 0."""
        page, at = divmod(nth + start - 1, len(self.spots))
        return page, self.spots[at]


def lay_out(
    name: str,
    *,
    width_mm: Fraction,
    height_mm: Fraction,
    white_mm: Fraction,
    on: Stock | Sheet,
) -> Layout:
    """Find the places of a label; on larger stock it stands in the middle.

    Args:
        name: Name of the kind of label.
        width_mm: Width that it was designed for.
        height_mm: Height that it was designed for.
        white_mm: White that it keeps along its edges.
        on: The paper in the printer.

    Returns:
        Page, label size and places.

    Raises:
        NotFit: ``stock_too_small``; ``stock_is_turned`` when it would fit the other
            way round; ``stock_edge_too_wide`` when the printer does not reach all of
            the label.
    """
    stock = on if isinstance(on, Stock) else on.label
    spare_x, spare_y = stock.width_mm - width_mm, stock.height_mm - height_mm
    sizes = {
        "kind": name,
        "needed_width_mm": shown_mm(width_mm),
        "needed_height_mm": shown_mm(height_mm),
        "width_mm": shown_mm(stock.width_mm),
        "height_mm": shown_mm(stock.height_mm),
    }
    if spare_x < 0 or spare_y < 0:
        turned = stock.width_mm >= height_mm and stock.height_mm >= width_mm
        raise NotFit("stock_is_turned" if turned else "stock_too_small", **sizes)
    edge_x, edge_y = (
        (Fraction(0), Fraction(0)) if isinstance(on, Stock) else on.edges_mm
    )
    reached = white_mm + min(spare_x / 2 + edge_x, spare_y / 2 + edge_y)
    if stock.margin_mm > reached:
        raise NotFit(
            "stock_edge_too_wide",
            **sizes,
            margin_mm=shown_mm(stock.margin_mm),
            most_mm=shown_mm(reached),
        )
    label = Stock(width_mm, height_mm, stock.dots_per_mm)
    in_x, in_y = (
        (stock.width_dots - label.width_dots) // 2,
        (stock.height_dots - label.height_dots) // 2,
    )
    if isinstance(on, Stock):
        return Layout(on, label, ((in_x, in_y),))
    spots = tuple((left + in_x, top + in_y) for left, top in on.spots())
    return Layout(on.page, label, spots)
