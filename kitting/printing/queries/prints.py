"""The print log, as the pages of labels show it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from django.db.models import Max, QuerySet

from kitting.domain.prints import TEST
from kitting.domain.stages import PrintState
from kitting.models import Box, Print

_NOTHING_OUT: Final = (PrintState.QUEUED, PrintState.FAILED, PrintState.CANCELLED)
"""States of a job of which no label is known to have come out."""

SLIPS: Final = "set_slip"


def newest_label(box_id: int) -> Print | None:
    """The newest print of a box's label, with its job and the job's printer.

    Args:
        box_id: The box.

    Returns:
        The print as logged, or None if there was none.
    """
    prints = Print.objects.filter(box=box_id).select_related("job__printer")
    return prints.defer("job__document").order_by("-copy").first()


def labels_since(moment: datetime) -> int:
    """How many labels were printed or opened as a PDF since a moment.

    Args:
        moment: From when on.

    Returns:
        Every slip counts; test pages do not, nor what no printer has taken.
    """
    rows = Print.objects.filter(operation__at__gte=moment)
    rows = rows.exclude(kind=TEST).exclude(job__state__in=_NOTHING_OUT)
    slips = Counter(rows.filter(kind=SLIPS).values_list("number", flat=True))
    sets = dict(
        Box.objects.filter(serial__in=slips).values_list("serial", "size__sets")
    )
    of_slips = sum(times * sets.get(number, 1) for number, times in slips.items())
    return of_slips + rows.exclude(kind=SLIPS).count()


def print_log(filters: Mapping[str, Any]) -> QuerySet[Print]:
    """The print log, newest first; labels of one document in their order.

    Args:
        filters: Any of since and before (moments), kind, number and printer (its code,
            or ``pdf``), as ``PrintLogForm`` gives them.

    Returns:
        Rows with their operation, job and printer, and the box or bag.
    """
    rows = Print.objects.select_related("operation", "job", "printer", "box", "bag")
    if since := filters.get("since"):
        rows = rows.filter(operation__at__gte=since)
    if before := filters.get("before"):
        rows = rows.filter(operation__at__lt=before)
    if kind := filters.get("kind"):
        rows = rows.filter(kind=kind)
    if number := filters.get("number"):
        rows = rows.filter(number__icontains=number)
    if printer := filters.get("printer"):
        if printer == "pdf":
            rows = rows.filter(printer=None)
        else:
            rows = rows.filter(printer__code=printer)
    return rows.order_by("-operation", "nth", "pk")


def documents_of(pdf_sha: bytes) -> list[Print]:
    """The rows of the newest printing of a document.

    Args:
        pdf_sha: Its hash.

    Returns:
        In the order of its labels; none if it was never printed.
    """
    rows = Print.objects.filter(pdf_sha=pdf_sha).select_related(
        "operation", "job__printer", "box", "bag"
    )
    newest = rows.order_by("-operation").first()
    if newest is None:
        return []
    return list(rows.filter(operation=newest.operation_id).order_by("nth"))


def copies_made(kind: str, numbers: Sequence[str]) -> dict[str, int]:
    """How often each label of a kind was printed.

    Args:
        kind: Name of the labels.
        numbers: What the labels name.

    Returns:
        The newest copy by number; nothing for labels that were never printed.
    """
    logged = Print.objects.filter(kind=kind, number__in=numbers)
    return dict(logged.values_list("number").annotate(newest=Max("copy")))
