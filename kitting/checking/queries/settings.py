"""What is set of checks: parts, and kinds of defect."""

from __future__ import annotations

from django.db.models import Count, Sum

from kitting.domain import sampling
from kitting.models import DefectKind, Part


def parts_to_set() -> list[Part]:
    """Give all parts, with the number of lots on record as ``on_record``."""
    return list(Part.objects.annotate(on_record=Count("lots")).order_by("name"))


def kinds_to_set() -> list[DefectKind]:
    """Give all kinds of defect, with the pieces found so far as ``found``."""
    kinds = DefectKind.objects.select_related("part")
    order = sampling.CLASSES.index
    found = kinds.annotate(found=Sum("defects__pieces"))
    return sorted(
        found, key=lambda kind: (not kind.in_use, order(kind.grade), kind.name)
    )
