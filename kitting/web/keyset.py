"""Pages of a long list, newest first, each found by the row at which it begins.

A page is as quick at any depth, and what is added meanwhile moves no row to another one:
the address says ``older`` or ``newer`` than which row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, Generic, TypeVar

from django.db.models import Model, Q, QuerySet

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class Order(Generic[M]):
    """The order of a list, and how an address names one of its rows."""

    by: tuple[str, ...]
    """Fields, the newest first; the last of them makes each row's place its own."""
    named: str
    """Where its name in an address is, such as "number" or "link.seq"."""
    find: Callable[[str], M | None]
    """Finds a row by that name; None for any other text."""


@dataclass(frozen=True)
class Page(Generic[M]):
    """Some rows of a list, and what follows on both sides."""

    rows: list[M]
    older: str
    """Name of the last row where older ones follow; empty where none do."""
    newer: str
    """Name of the first row where newer ones may follow; empty where none do."""


def page_of(
    found: QuerySet[M], order: Order[M], asked: Mapping[str, Any], size: int
) -> Page[M]:
    """Read one page.

    Args:
        found: The list, in any order.
        order: Its order.
        asked: What stands in the address: ``older`` or ``newer`` than a row, the oldest
            page where ``newer`` is empty. What names no row shows the newest page.
        size: Rows on a page.

    Returns:
        The page.
    """
    up = "newer" in asked
    name = str(asked.get("newer" if up else "older", ""))
    known = name and name.isascii() and name.isprintable()
    at = order.find(name) if known else None
    if up and (at or not name):
        rows = _beyond(found, order, at, size, up=True)[::-1]
        if len(rows) > size:
            rows = rows[1:]
            return Page(
                rows, _name(order, rows[-1]) if at else "", _name(order, rows[0])
            )
        at = None  # what is newer fits on the newest page
    rows = _beyond(found, order, at, size)
    if at is not None and not rows:
        at, rows = None, _beyond(found, order, None, size)
    some = rows[:size]
    return Page(
        some,
        older=_name(order, some[-1]) if len(rows) > size else "",
        newer=_name(order, some[0]) if at is not None else "",
    )


def _beyond(
    found: QuerySet[M], order: Order[M], at: M | None, size: int, *, up: bool = False
) -> list[M]:
    """Read the rows on one side of a row, the nearest first, and one more than asked."""
    side = "gt" if up else "lt"
    if at is not None:
        # The outer bound is what an index begins at.
        first, *_rest = order.by
        bound = Q(**{f"{first}__{side}e": attrgetter(first)(at)})
        found = found.filter(bound, _past(order.by, at, side))
    return list(
        found.order_by(*(name if up else f"-{name}" for name in order.by))[: size + 1]
    )


def _past(by: tuple[str, ...], at: Model, side: str) -> Q:
    first, *rest = by
    value = attrgetter(first)(at)
    past = Q(**{f"{first}__{side}": value})
    return past | Q(**{first: value}) & _past(tuple(rest), at, side) if rest else past


def _name(order: Order[M], row: M) -> str:
    return str(attrgetter(order.named)(row))
