"""What the page of evidence reads."""

from __future__ import annotations

from django.db.models import Count, QuerySet

from kitting.models import Evidence


def evidence_list() -> QuerySet[Evidence]:
    """Evidence records, newest report first, with how many versions stand on each."""
    return (
        Evidence.objects.annotate(used=Count("protocols"))
        .select_related("operation")
        .order_by("-on", "code")
    )
