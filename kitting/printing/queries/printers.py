"""Printers as the set-up shows them, those for a label, and whether anybody prints."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Count, Q, QuerySet

from kitting.domain.errors import Missing
from kitting.domain.stages import PRINT_OVER
from kitting.labels.kinds import Kind
from kitting.ledger.kept import Kept
from kitting.models import Printer, PrintJob, Workshop
from kitting.printing.beat import MISSED
from kitting.printing.queries.stocks import fits


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


def printer_of(code: str) -> Printer:
    """The printer in use that has a code.

    Args:
        code: Its code.

    Returns:
        The printer with its stock.

    Raises:
        Missing: If there is none, or it is out of use.
    """
    for printer in OF_CODE(code):
        return printer
    raise Missing("row_missing", what="printer")


def printers_for(kind: Kind[Any], bench_id: int | None = None) -> list[Printer]:
    """The printers in use that have the stock for a kind of label.

    Args:
        kind: The kind.
        bench_id: Only those of one bench.

    Returns:
        The printers by code.
    """
    found = _IN_USE() if bench_id is None else AT_BENCH(bench_id)
    return [printer for printer in found if fits(printer.stock, kind)]


def _in_use() -> QuerySet[Printer]:
    return Printer.objects.filter(active=True).select_related("stock", "bench")


_IN_USE = Kept(_in_use)
AT_BENCH = Kept(lambda bench: _in_use().filter(bench=bench))
OF_CODE = Kept(lambda code: _in_use().filter(code=code))
