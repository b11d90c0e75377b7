"""The picture of a stock: its page, the labels on it, and the edge not reached."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.stocks import StockFacts

SCALE_MM: Final = (100, 50, 20, 10)
EDGE_UM: Final = 400
"""Half the width that the line round the page may take, and more."""


@dataclass(frozen=True)
class Label:
    """One label on the page; lengths in µm."""

    nth: int
    """Its position, from 1, as it is asked for when a sheet was begun."""

    x: int
    y: int
    middle: int
    base: int
    """Where its number stands."""


@dataclass(frozen=True)
class Grid:
    """Everything that the template draws, in µm, so in proportion."""

    width: int
    height: int
    view: str
    """The box that is seen: the page and a hair around it."""

    label_width: int
    label_height: int
    margin: int
    """What the printer does not reach along the edges of a label or a sheet."""

    inner_width: int
    inner_height: int
    figure: int
    """Height of the numbers."""

    labels: tuple[Label, ...]
    sheet: bool
    scale_mm: int
    """Length of the line under the page by which its size can be told."""

    @property
    def scale_um(self) -> int:
        """The same in µm."""
        return self.scale_mm * 1000

    @property
    def scale_y(self) -> int:
        """Where that line stands."""
        return self.height + max(self.height // 40, 1500)


def grid_of(facts: StockFacts) -> Grid:
    """Lay a stock out for the screen.

    Args:
        facts: A stock that fits its page.

    Returns:
        The picture.
    """
    wide = facts.page_width_um or facts.width_um
    high = facts.page_height_um or facts.height_um
    figure = min(facts.height_um // 2, facts.width_um // 3, 12_000)
    across = facts.width_um + facts.gap_across_um
    down = facts.height_um + facts.gap_down_um
    spots = [
        (facts.left_um + column * across, facts.top_um + row * down)
        for row in range(facts.rows)
        for column in range(facts.columns)
    ]
    labels = tuple(
        Label(
            nth, x, y, x + facts.width_um // 2, y + facts.height_um // 2 + figure // 3
        )
        for nth, (x, y) in enumerate(spots if facts.sheet else [(0, 0)], start=1)
    )
    foot = max(high // 40, 1500) + EDGE_UM * 2
    return Grid(
        width=wide,
        height=high,
        view=f"{-EDGE_UM} {-EDGE_UM} {wide + 2 * EDGE_UM} {high + foot + EDGE_UM}",
        label_width=facts.width_um,
        label_height=facts.height_um,
        margin=facts.margin_um,
        inner_width=wide - 2 * facts.margin_um,
        inner_height=high - 2 * facts.margin_um,
        figure=figure,
        labels=labels,
        sheet=facts.sheet,
        scale_mm=next((mm for mm in SCALE_MM if mm * 2000 <= wide), 1),
    )
