"""Numbers that Lotward assigns, from counters; taken as late as possible."""

from __future__ import annotations

from django.db.models import F

from kitting.domain.numbers import Kind, assign
from kitting.models import Counter


def take_numbers(site: int, name: str, count: int = 1) -> range:
    """Take the next numbers of a counter; needs an open transaction.

    Args:
        site: The site.
        name: Name of the counter.
        count: How many numbers to take.

    Returns:
        The numbers taken, without a gap.
    """
    counters = Counter.objects.filter(site=site, name=name)
    if not counters.update(next=F("next") + count):
        msg = f"Counter {name!r} is missing: run manage.py migrate."
        raise RuntimeError(msg)
    after = counters.values_list("next", flat=True).get()
    return range(after - count, after)


def take(site: int, kind: Kind, count: int = 1) -> list[str]:
    """Take the next numbers of a kind, written out with their check character.

    Args:
        site: The site.
        kind: What the numbers name.
        count: How many to take.

    Returns:
        The numbers in order.
    """
    return [assign(kind, site, n) for n in take_numbers(site, kind.name.lower(), count)]
