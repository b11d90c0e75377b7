"""What must hold of what an act touched, whichever page or command did it.

A room registers a rule with the tables that it rests on. It is asked at the end of every
act that touched one of them, before anything is sealed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final, TypeAlias

from django.db.models import Model

from kitting.domain.errors import LotwardError

Rows: TypeAlias = Mapping[type[Model], set[int]]
"""Ids of what was touched, by table."""

Rule: TypeAlias = Callable[[Rows], Iterator[LotwardError]]
"""Gives what is wrong with what was touched."""

RULES: Final[list[tuple[frozenset[type[Model]], Rule]]] = []


def register(rule: Rule, *models: type[Model]) -> None:
    """Add a rule of a room; once, when it is loaded."""
    RULES.append((frozenset(models), rule))


def faults(touched: Rows) -> Iterator[LotwardError]:
    """Give what is wrong with what was touched.

    Args:
        touched: The rows.

    Yields:
        An error for each fault.
    """
    for models, rule in RULES:
        if not models.isdisjoint(touched):
            yield from rule(touched)


def need(touched: Rows) -> None:
    """Refuse what a rule finds wrong with what was touched.

    Args:
        touched: The rows.

    Raises:
        LotwardError: The first fault.
    """
    for fault in faults(touched):
        raise fault
