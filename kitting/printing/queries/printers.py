"""Label stock and printers as the set-up shows them, and whether anybody prints."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Final

from django.db.models import Count, Prefetch, Q, QuerySet

from kitting.domain.stages import PRINT_OVER
from kitting.domain.stocks import StockFacts
from kitting.labels.kinds import BADGE
from kitting.models import Printer, PrintJob, Stock, Workshop
from kitting.printing.beat import MISSED
from kitting.printing.queries.labels import LABELLED
from kitting.printing.queries.stocks import fits

_NOT_SET_UP: Final = ("id", "asleep_until")
"""Columns that no manager enters."""


@dataclass(frozen=True)
class StockLine:
    """A stock, and what it is for."""

    stock: Stock
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
    rows = Stock.objects.prefetch_related(Prefetch("printers", queryset=printers))
    return [
        StockLine(row, labels_for(row), tuple(row.printers.all()))
        for row in rows.order_by("-active", "code")
    ]


def labels_for(stock: Stock) -> tuple[str, ...]:
    """What can be printed on a stock just as large.

    Args:
        stock: The stock.

    Returns:
        Names of labels as the print log has them, and "badge".
    """
    # Badges are printed on their own page, once: no log names them.
    known = [(one.name, one.kind) for one in LABELLED.values()] + [("badge", BADGE)]
    return tuple(name for name, kind in known if fits(stock, kind))


def printer_lines() -> QuerySet[Printer]:
    """Every printer with its stock, its bench and ``waiting``, its jobs not yet over.

    Returns:
        Those in use first, in the order of their codes.
    """
    waiting = Count("jobs", filter=~Q(jobs__state__in=PRINT_OVER))
    rows = Printer.objects.select_related("stock", "bench").annotate(waiting=waiting)
    return rows.order_by("-active", "code")


def printers_by_bench() -> dict[int, tuple[str, ...]]:
    """Which printers in use stand at benches.

    Returns:
        Their names by the bench's id; nothing for a bench that has none.
    """
    found: dict[int, tuple[str, ...]] = {}
    rows = Printer.objects.filter(active=True, bench__isnull=False)
    for bench_id, name in rows.values_list("bench", "name"):
        found[bench_id] = (*found.get(bench_id, ()), name)
    return found


def facts_of(stock: Stock) -> StockFacts:
    """A stock as a manager entered it.

    Args:
        stock: The stock.

    Returns:
        Its facts.
    """
    return StockFacts(
        **{one.name: getattr(stock, one.name) for one in fields(StockFacts)}
    )


def mark_of(row: Stock | Printer) -> str:
    """What a form remembers of a row, so that a change of somebody else is noticed.

    Args:
        row: The stock or printer.

    Returns:
        A hash of everything that a manager enters.
    """
    values = {
        column.attname: getattr(row, column.attname)
        for column in row._meta.concrete_fields
        if column.name not in _NOT_SET_UP
    }
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def worker_seen() -> datetime | None:
    """When a print worker last looked for work.

    Returns:
        The moment; None if none ever did.
    """
    seen: datetime | None = Workshop.objects.values_list(
        "print_worker_at", flat=True
    ).get(pk=1)
    return seen


def no_worker(now: datetime) -> bool:
    """Tell whether print jobs wait and nobody is there to take them.

    Args:
        now: The moment.

    Returns:
        True when somebody should start ``manage.py printworker``.
    """
    if not PrintJob.objects.exclude(state__in=PRINT_OVER).exists():
        return False
    seen = worker_seen()
    return seen is None or seen + MISSED < now
