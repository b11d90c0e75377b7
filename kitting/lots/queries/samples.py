"""Samples, as the pages of lots and bags read them."""

from __future__ import annotations

from django.db.models import QuerySet

from kitting.models import Lot, Sample


def open_samples(lot: Lot) -> list[Sample]:
    """Samples of a lot whose result is not known yet, oldest first."""
    found = Sample.objects.filter(bag__lot=lot, result__isnull=True)
    return list(found.select_related("bag", "operation").order_by("pk"))


def one_sample() -> QuerySet[Sample]:
    """Samples with what the page of a result names."""
    return Sample.objects.select_related("bag__lot__part", "operation", "result")
