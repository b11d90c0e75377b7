"""The label of a bag: 70 × 40 mm, its number twice and what is in it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from kitting.labels.bag_label import BagContent, BagLabel, BagWords, bag_symbols
from kitting.labels.paper import Paper
from kitting.labels.small import frame, in_rows, title_lines
from kitting.labels.stock import Stock
from kitting.labels.text import Style

__all__ = ["BagContent", "BagLabel", "BagWords", "bag_symbols", "draw_bag", "draw_bags"]

PART: Final = ((Style(3.0, bold=True), 1), (Style(2.4, bold=True), 2))


def draw_bag(label: BagLabel, stock: Stock) -> bytes:
    """Draw one bag label.

    Args:
        label: What it says; without content only the number is drawn.
        stock: Paper of 70 × 40 mm and the printer's head.

    Returns:
        A PDF of one page; the same bytes for the same label and stock.

    Raises:
        CodeError: A number that cannot be encoded.
        NotFit: A symbol or a text that the paper has no room for, or a character that
            the typeface lacks.
    """
    return draw_bags([label], stock)


def draw_bags(labels: Sequence[BagLabel], stock: Stock) -> bytes:
    """Draw bag labels, one to a page.

    Args:
        labels: What they say, at least one, in the order of the pages.
        stock: Paper of 70 × 40 mm and the printer's head.

    Returns:
        A PDF; the same bytes for the same labels and stock.

    Raises:
        CodeError: As in ``draw_bag``.
        NotFit: As in ``draw_bag``.
    """
    paper = Paper(stock, title=" ".join(label.number for label in labels[:3]))
    for label in labels:
        bag_face(paper, label)
        paper.next_page()
    return paper.finish()


def bag_face(paper: Paper, label: BagLabel) -> None:
    """Draw a bag label where the paper stands.

    Args:
        paper: A label of 70 × 40 mm.
        label: What it says.

    Raises:
        CodeError: As in ``draw_bag``.
        NotFit: As in ``draw_bag``.
    """
    words, content = label.words, label.content
    room = frame(
        paper,
        bag_symbols(label),
        number=label.number,
        mark=label.mark,
        again=words.reprint.format(copy=label.copy) if label.copy > 1 else "",
        text=label.number,
    )
    if content is None:
        return
    y = title_lines(paper, room, content.part, PART)
    cells = [
        (words.lot, content.lot),
        (words.revision, content.revision),
        (words.pieces, content.pieces),
        (words.made_on, content.made_on.isoformat()),
    ]
    in_rows(paper, room, cells, y=y, foot=room.foot)
