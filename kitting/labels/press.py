"""Labels as a document for a printer: drawn, and read back from the document's pixels."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from typing import TypeVar

from kitting.domain.errors import NotFit
from kitting.labels.kinds import Kind
from kitting.labels.layout import Layout
from kitting.labels.paper import Measured, Paper
from kitting.labels.pressed import Pressed
from kitting.labels.readback import check_raster, rasters
from kitting.labels.stock import Sheet, Stock

L = TypeVar("L")

TITLED = 3
"""How many labels the title of a document names."""


def draw(
    kind: Kind[L], labels: Sequence[L], on: Stock | Sheet, *, start: int = 1
) -> Pressed:
    """Draw labels of one kind, one to a page or in the places of a sheet.

    Larger stock carries a label in its middle.

    Args:
        kind: What kind of label they are.
        labels: What they say, in the order in which they are printed; at least one.
        on: The paper and the printer's head.
        start: Where on the first sheet the first label goes, from 1, row by row.

    Returns:
        The document; the same bytes for the same labels, paper and start.

    Raises:
        CodeError: A number that breaks a rule or cannot be encoded.
        NotFit: ``start_beyond_sheet``, ``no_labels``; paper too small as in
            ``lay_out``; a symbol or a text that the label has no room for, or a
            character that the typeface lacks.
    """
    layout = _checked(kind, labels, on, start)
    named = [kind.number(label) for label in labels[:TITLED]]
    paper = Paper(layout.label, title=" ".join(named), page=layout.page)
    at = 0
    for nth, label in enumerate(labels):
        page, spot = layout.place(nth, start=start)
        if page > at:
            paper.next_page()
            at = page
        with paper.label_at(*spot):
            kind.draw(paper, label)
    paper.next_page()
    return Pressed(paper.finish(), at + 1)


def try_on(kind: Kind[L], label: L, on: Stock | Sheet) -> None:
    """Lay a label out to see whether it fits; no document is made of it.

    Args:
        kind: As in ``draw``.
        label: What it says.
        on: As in ``draw``.

    Raises:
        CodeError: As in ``draw``.
        NotFit: As in ``draw``.
    """
    layout = _checked(kind, [label], on, 1)
    paper = Measured(layout.label, title="", page=layout.page)
    with paper.label_at(*layout.place(0, start=1)[1]):
        kind.draw(paper, label)


def press(
    kind: Kind[L], labels: Sequence[L], on: Stock | Sheet, *, start: int = 1
) -> Pressed:
    """Draw labels and read every symbol back at the printer's resolution.

    Args:
        kind: As in ``draw``.
        labels: As in ``draw``.
        on: As in ``draw``.
        start: As in ``draw``.

    Returns:
        The document; only if every symbol of every label, in its own place, carries
        what it must and every bar and space is its whole dots wide.

    Raises:
        CodeError: As in ``draw``.
        LotwardError: ``label_unreadable``, ``bars_uneven`` or
            ``quiet_zone_not_white`` with the label's number.
        NotFit: As in ``draw``.
    """
    pressed = draw(kind, labels, on, start=start)
    prove(pressed, kind, labels, on, start=start)
    return pressed


def prove(
    pressed: Pressed,
    kind: Kind[L],
    labels: Sequence[L],
    on: Stock | Sheet,
    *,
    start: int = 1,
) -> None:
    """Read a document back, each label in its own place.

    Args:
        pressed: The document.
        kind: As in ``draw``.
        labels: What the document must say.
        on: As in ``draw``.
        start: As in ``draw``.

    Raises:
        LotwardError: As in ``press``.
        NotFit: As in ``draw``.
    """
    layout = _checked(kind, labels, on, start)
    size = (layout.label.width_dots, layout.label.height_dots)
    with closing(rasters(pressed.pdf, layout.page)) as pages:
        at, raster = 0, next(pages)
        for nth, label in enumerate(labels):
            page, spot = layout.place(nth, start=start)
            if page > at:
                at, raster = page, next(pages)
            check_raster(
                raster.part(*spot, *size),
                kind.symbols(label),
                number=kind.number(label),
                secret=kind.secret,
            )


def _checked(
    kind: Kind[L], labels: Sequence[L], on: Stock | Sheet, start: int
) -> Layout:
    if not labels:
        raise NotFit("no_labels", kind=kind.name)
    layout = kind.on(on)
    if not 1 <= start <= len(layout.spots):
        raise NotFit("start_beyond_sheet", start=start, labels=len(layout.spots))
    return layout
