"""Label stock as the set-up shows it, and as the paper that labels are laid out on."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, fields
from fractions import Fraction
from typing import Any, Final

from django.db.models import Prefetch

from kitting.domain.errors import Missing, Refused
from kitting.domain.stocks import StockFacts
from kitting.labels.kinds import BADGE, Kind
from kitting.labels.stock import Sheet, Stock
from kitting.models import Printer
from kitting.models import Stock as StockRow
from kitting.printing.queries.labels import LABELLED

_UM: Final = 1000
_LAID: Final = re.compile(
    r"(?P<w>\d+)x(?P<h>\d+) margin (?P<m>\d+) at (?P<dots>\d+)/(?P<um>\d+)"
    r"(?: on (?P<pw>\d+)x(?P<ph>\d+) from (?P<l>\d+),(?P<t>\d+)"
    r" (?P<c>\d+)x(?P<r>\d+) gaps (?P<ga>\d+),(?P<gd>\d+) start (?P<start>\d+))?"
)
Head = tuple[int, int]
"""Dots of a printer's head, and on how many µm they stand."""


@dataclass(frozen=True)
class Laid:
    """What a document is laid out on: enough to make the same one again."""

    on: Stock | Sheet
    start: int
    """Position of the first label on the first sheet, from 1; 1 on a roll."""

    page_um: tuple[int, int]
    """Width and height of the page that the printer is asked for."""

    text: str
    """The same in writing, as the print log keeps it."""


def laid_out(stock: StockRow, *, head: Head | None = None, start: int = 1) -> Laid:
    """Give what a stock is to the drawing.

    Args:
        stock: The record.
        head: Dots of the printer that has it; without one, the dots of the record.
        start: Position of the first label on the first sheet, from 1.

    Returns:
        The paper.

    Raises:
        NotFit: ``sheet_too_small`` if its labels leave the page.
        Refused: ``start_out_of_range`` if there is no such position.
    """
    dots, um = head or (stock.head_dots, stock.head_um)
    text = f"{stock.width_um}x{stock.height_um} margin {stock.margin_um} at {dots}/{um}"
    if stock.sheet:
        text += (
            f" on {stock.page_width_um}x{stock.page_height_um}"
            f" from {stock.left_um},{stock.top_um} {stock.columns}x{stock.rows}"
            f" gaps {stock.gap_across_um},{stock.gap_down_um} start {start}"
        )
    elif start != 1:
        raise Refused("start_out_of_range", read=start, most=1)
    return laid_as(text)


def of_kind(kind: Kind[Any]) -> Laid:
    """Give paper of just the size that a kind of label is designed for.

    Args:
        kind: The kind.

    Returns:
        The paper: one label a page.
    """
    wide, high = (round(side * _UM) for side in (kind.width_mm, kind.height_mm))
    return laid_as(f"{wide}x{high} margin 0 at 8/{_UM}")


def laid_as(text: str) -> Laid:
    """Read what the print log keeps of a document's layout.

    Args:
        text: As ``Laid.text``.

    Returns:
        The same paper again.

    Raises:
        NotFit: ``sheet_too_small`` if its labels leave the page.
        Refused: ``start_out_of_range``.
        ValueError: If the text is none of ours.
    """
    found = _LAID.fullmatch(text)
    if found is None:
        msg = f"no layout: {text!r}"
        raise ValueError(msg)
    part = {name: int(value) for name, value in found.groupdict("0").items()}
    mm = {name: Fraction(value, _UM) for name, value in part.items()}
    dots = Fraction(part["dots"], part["um"]) * _UM
    label = Stock(mm["w"], mm["h"], dots, margin_mm=mm["m"])
    if found["pw"] is None:
        return Laid(label, 1, (part["w"], part["h"]), text)
    sheet = Sheet(
        page_width_mm=mm["pw"],
        page_height_mm=mm["ph"],
        label=label,
        left_mm=mm["l"],
        top_mm=mm["t"],
        columns=part["c"],
        rows=part["r"],
        gap_across_mm=mm["ga"],
        gap_down_mm=mm["gd"],
    )
    most = part["c"] * part["r"]
    if not 1 <= part["start"] <= most:
        raise Refused("start_out_of_range", read=part["start"], most=most)
    return Laid(sheet, part["start"], (part["pw"], part["ph"]), text)


def stock_of(code: str) -> StockRow:
    """The stock in use that has a code.

    Args:
        code: Its code.

    Returns:
        The stock.

    Raises:
        Missing: If there is none, or it is out of use.
    """
    stock = StockRow.objects.filter(code=code, active=True).first()
    if stock is None:
        raise Missing("row_missing", what="stock")
    return stock


def fits(stock: StockRow, kind: Kind[Any]) -> bool:
    """Tell whether a kind of label has the size of a stock's labels."""
    return (stock.width_um, stock.height_um) == (
        round(kind.width_mm * _UM),
        round(kind.height_mm * _UM),
    )


def stocks_for(kind: Kind[Any]) -> list[StockRow]:
    """The stocks in use whose labels have the size of a kind, rolls first."""
    rows: Iterable[StockRow] = StockRow.objects.filter(active=True)
    return sorted(
        (row for row in rows if fits(row, kind)), key=lambda row: (row.sheet, row.code)
    )


@dataclass(frozen=True)
class StockLine:
    """A stock, and what it is for."""

    stock: StockRow
    labels: tuple[str, ...]
    """Names of the labels that have its size, as the print log has them."""

    printers: tuple[Printer, ...]
    """The printers in use that have it."""

    @property
    def labels_a_page(self) -> int:
        """How many labels stand on a page."""
        return self.stock.columns * self.stock.rows if self.stock.sheet else 1


def stock_lines() -> list[StockLine]:
    """Every stock, those in use first.

    Returns:
        In the order of their codes.
    """
    printers = Printer.objects.filter(active=True)
    rows = StockRow.objects.prefetch_related(Prefetch("printers", queryset=printers))
    return [
        StockLine(row, labels_for(row), tuple(row.printers.all()))
        for row in rows.order_by("-active", "code")
    ]


def labels_for(stock: StockRow) -> tuple[str, ...]:
    """What can be printed on a stock just as large.

    Args:
        stock: The stock.

    Returns:
        Names of labels as the print log has them, and "badge".
    """
    # Badges are printed on their own page, once: no log names them.
    known = [(one.name, one.kind) for one in LABELLED.values()] + [("badge", BADGE)]
    return tuple(name for name, kind in known if fits(stock, kind))


def facts_of(stock: StockRow) -> StockFacts:
    """A stock as a manager entered it.

    Args:
        stock: The stock.

    Returns:
        Its facts.
    """
    return StockFacts(
        **{one.name: getattr(stock, one.name) for one in fields(StockFacts)}
    )
