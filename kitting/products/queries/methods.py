"""Methods with their parts, lots and who released them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max, Q, QuerySet

from kitting.ledger import coded
from kitting.models import Lot, Method, Part, RowSeal

NEWEST_LOTS = 20
"""Lots that the page of a method lists."""


@dataclass(frozen=True)
class MethodLine:
    """A method in the table of methods."""

    method: Method
    parts: tuple[Part, ...]
    """Made with it; none where it is for every part."""
    lots: int

    @property
    def stage(self) -> str:
        """On trial, released, or not used any more."""
        if not self.method.active:
            return "closed"
        return "on trial" if self.method.on_trial else "released"


@dataclass(frozen=True)
class MethodPage:
    """A method with what its page says besides."""

    line: MethodLine
    added_by: str
    added_at: datetime | None
    newest: list[Lot]
    """The newest lots that were made with it."""


def methods_of(part: Part | None = None) -> list[MethodLine]:
    """Every method, or those of a part, newest first, those that are closed last.

    Args:
        part: The part; what is for every part is for it as well.

    Returns:
        The methods.
    """
    found = Method.objects.order_by("-active", "-pk")
    if part is not None:
        found = found.filter(for_part(part))
    return [_line(each) for each in _whole(found)]


def for_part(part: Part) -> Q:
    """Methods with which a part may be made.

    Args:
        part: The part.

    Returns:
        What is for it, and what is for every part.
    """
    return Q(made_with_it__part=part) | Q(made_with_it__isnull=True)


def _whole(found: QuerySet[Method]) -> QuerySet[Method]:
    return (
        found.select_related("release__operation")
        .prefetch_related("made_with_it__part")
        .annotate(lot_count=Count("lots", distinct=True))
    )


def _line(method: Method) -> MethodLine:
    return MethodLine(
        method=method,
        parts=tuple(each.part for each in method.made_with_it.all()),
        lots=method.lot_count,  # type: ignore[attr-defined]
    )


def method_page(method: Method) -> MethodPage:
    """Give a method with who added it and the lots that were made with it.

    Args:
        method: The method.

    Returns:
        All of it.
    """
    seals = RowSeal.objects.filter(of=Method._meta.db_table, row=method.pk)
    first = seals.select_related("operation").order_by("operation").first()
    lots = Lot.objects.filter(method=method).select_related("part", "revision")
    return MethodPage(
        line=_line(_whole(Method.objects.filter(pk=method.pk)).get()),
        added_by=first.operation.by_name if first else "",
        added_at=first.operation.at if first else None,
        newest=list(lots.order_by("-pk")[:NEWEST_LOTS]),
    )


def on_trial() -> QuerySet[Method]:
    """Methods that wait for somebody to release them.

    Returns:
        Of those in use.
    """
    return Method.objects.filter(active=True, release__isnull=True)


def machine_groups() -> list[str]:
    """Names of machines as they were written before, those used last first.

    Returns:
        Each once.
    """
    groups = Method.objects.values("machine_group").annotate(last=Max("pk"))
    return list(groups.order_by("-last").values_list("machine_group", flat=True))


def newest_of(machine_group: str) -> Method | None:
    """Give the method that was added last for some machines.

    Args:
        machine_group: The machines, in capitals or not.

    Returns:
        The method, or None for new machines.
    """
    found = Method.objects.filter(machine_group__iexact=machine_group.strip())
    return found.order_by("-pk").first()


def rests_on(method: Method) -> bool:
    """Whether history rests on what a method says.

    Args:
        method: The method.

    Returns:
        True where a lot was made with it, or somebody has released it.
    """
    return not method.on_trial or Lot.objects.filter(method=method).exists()


def mark_of(method: Method) -> str:
    """What a form remembers of a method, so that a change of somebody else is noticed.

    Args:
        method: The method.

    Returns:
        A hash of all that is entered.
    """
    parts = method.made_with_it.order_by("part_id").values_list("part_id", flat=True)
    return coded.mark_of(method, *parts)
