"""The label of a box: 100 × 150 mm, what is inside, since when, and made by whom."""

from __future__ import annotations

from collections.abc import Sequence

from kitting.labels.box_face import BoxFace
from kitting.labels.box_label import BoxLabel, BoxWords, box_symbols
from kitting.labels.paper import Paper
from kitting.labels.stock import Stock

__all__ = ["BoxLabel", "BoxWords", "box_symbols", "draw_box", "draw_boxes"]


def draw_box(label: BoxLabel, stock: Stock) -> bytes:
    """Draw one box label.

    Args:
        label: What it says.
        stock: Paper of 100 × 150 mm and the printer's head.

    Returns:
        A PDF of one page; the same bytes for the same label and stock.

    Raises:
        CodeError: A number that breaks a rule of GS1 or cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    return draw_boxes([label], stock)


def draw_boxes(labels: Sequence[BoxLabel], stock: Stock) -> bytes:
    """Draw box labels, one to a page.

    Args:
        labels: What they say, at least one, in the order of the pages.
        stock: Paper of 100 × 150 mm and the printer's head.

    Returns:
        A PDF; the same bytes for the same labels and stock.

    Raises:
        CodeError: As in ``draw_box``.
        NotFit: As in ``draw_box``.
    """
    paper = Paper(stock, title=" ".join(label.serial for label in labels[:3]))
    for label in labels:
        BoxFace(paper, label, *box_symbols(label)).draw()
        paper.next_page()
    return paper.finish()
