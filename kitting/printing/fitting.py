"""Whether every label has room, decided when what it says is set up.

Each room registers the longest labels that its rows can ever get. They are drawn on
every head in use, at the end of the act that touched what they rest on: a code, a name
or an address that some label could not carry is refused there, and not at a bench.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from django.db.models import Model, QuerySet

from kitting.domain.errors import CodeError, LotwardError, NotFit
from kitting.labels.kinds import Kind
from kitting.labels.press import draw
from kitting.labels.stock import Stock
from kitting.ledger import upheld
from kitting.ledger.upheld import Rows
from kitting.models import Printer
from kitting.models import Stock as StockRow
from kitting.printing.queries.stocks import laid_out, of_kind

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

Faces: TypeAlias = Iterable[tuple[str, Any]]
"""What each label is of, as people know it, and the longest that it can be."""

LAST_DAY: Final = date(2026, 12, 31)
LAST_COPY: Final = 99
LONGEST_NUMBER: Final = "K9999999999999W"
"""As long as a number of ours can be."""

_PAPER: Final = (StockRow, Printer)


@dataclass(frozen=True)
class Longest:
    """The longest labels of one purpose."""

    kind: Kind[Any]
    words: _StrPromise
    """What one of them is called."""

    faces: Callable[[Rows], Faces]
    """Of the rows that were touched; of every row where none of them is named."""

    own: tuple[type[Model], ...]
    """Tables whose rows have such labels."""

    shared: tuple[type[Model], ...] = ()
    """Tables of which something stands on the labels of every such row."""


ALL: Final[list[Longest]] = []


def register(*longest: Longest) -> None:
    """Add the longest labels of a room; once, when it is loaded."""
    ALL.extend(longest)
    for one in longest:
        upheld.register(
            partial(faults, one),
            *one.own,
            *one.shared,
            *_PAPER,
        )


def those(rows: QuerySet[Any], touched: Rows) -> QuerySet[Any]:
    """Give the rows of a table that are named, or all where none is."""
    ids = touched.get(rows.model)
    return rows if ids is None else rows.filter(pk__in=ids)


def faults(longest: Longest, touched: Rows) -> Iterator[LotwardError]:
    """Draw the longest labels on every head in use.

    Args:
        longest: Which.
        touched: Rows that changed.

    Yields:
        ``label_would_not_fit`` for each label, on the first head that has no room; what
        stops one from being composed.
    """
    every = not touched.keys().isdisjoint((*longest.shared, *_PAPER))
    named = {} if every else {model: touched.get(model, set()) for model in longest.own}
    heads = heads_for(longest.kind)
    try:
        faces = list(longest.faces(named))
    except (CodeError, NotFit) as error:
        yield error
        return
    for of, face in faces:
        for head in heads:
            try:
                draw(longest.kind, [face], head)
            except (CodeError, NotFit) as error:
                yield NotFit(
                    "label_would_not_fit",
                    label=str(longest.words),
                    of=of,
                    dpi=round(float(head.dots_per_inch)),
                    why=error,
                )
                break


def heads_for(kind: Kind[Any]) -> list[Stock]:
    """Labels of a kind on every head that may print them, coarsest first.

    Args:
        kind: The kind.

    Returns:
        Its own size on the head of each stock and printer in use that has room for it,
        and on that of a PDF.
    """
    stocks = StockRow.objects.filter(active=True)
    laid = [of_kind(kind), *map(laid_out, stocks)]
    for printer in Printer.objects.filter(active=True).select_related("stock"):
        head = (printer.head_dots, printer.head_um)
        laid.append(laid_out(printer.stock, head=head))
    found = set()
    for one in laid:
        with suppress(NotFit):
            found.add(kind.on(one.on).label)
    return sorted(found, key=lambda label: label.dots_per_mm)
