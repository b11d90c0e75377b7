"""The print log, and the documents that it names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet

from kitting.models import Print


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
