"""What the journal says that acts gave, for rows that carry no act of their own."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

from django.db.models import QuerySet

from kitting.ledger.proof.streams import Asked, composed, rows
from kitting.models import Link


class Done(NamedTuple):
    """An act as its link tells of it."""

    link: int
    """Id of its link: links are made one after the other."""
    name: str
    at: datetime
    gave: dict[str, Any]
    """Its outcome by name; empty where the link's text is none."""


def done(*names: str) -> Iterator[Done]:
    """Give the acts of some names, in the order in which they were sealed.

    Args:
        *names: Names of acts in the journal.

    Yields:
        The acts.
    """
    [told] = _told(names)()
    for link, name, at, outcome in rows(told):
        yield Done(link, name, at, _read(outcome))


@cache
def _told(names: tuple[str, ...]) -> Callable[[], Sequence[Asked]]:
    @composed
    def told() -> Iterator[QuerySet[Any, Any]]:
        found = Link.objects.filter(operation__name__in=names).order_by("pk")
        yield found.values_list("pk", "operation__name", "operation__at", "outcome")

    return told


def _read(outcome: str) -> dict[str, Any]:
    try:
        gave = json.loads(outcome)
    except ValueError:  # the chain names the link
        return {}
    return gave if isinstance(gave, dict) else {}
