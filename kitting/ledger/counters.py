"""Numbers that Lotward assigns, from counters; taken as late as possible."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from itertools import islice

from kitting.domain import gs1
from kitting.domain.numbers import SEQUENCES, Kind, assigned, read
from kitting.ledger import bulk, locking
from kitting.models import Counter, Workshop

SSCC = "sscc"
"""Name of the counter of SSCCs."""


def _lock(site: int, *names: str) -> list[Counter]:
    """Lock counters of different names, and give them in their order."""
    found = {row.name: row for row in _counters(*names)(site)}
    if missing := set(names) - found.keys():
        msg = f"Counter {min(missing)!r} is missing: run manage.py migrate."
        raise RuntimeError(msg)
    return [found[name] for name in names]


@cache
def _counters(*names: str) -> Callable[..., list[Counter]]:
    return locking.finding(
        lambda site: Counter.objects.filter(site=site, name__in=names)
    )


def _move(counter: Counter, after: int) -> None:
    counter.next = after
    bulk.update([counter], ["next"], last=True)


def take_numbers(site: int, name: str, count: int = 1) -> range:
    """Take the next numbers of a counter; needs an open transaction.

    Args:
        site: The site.
        name: Name of the counter.
        count: How many numbers to take.

    Returns:
        The numbers taken, without a gap.
    """
    (counter,) = _lock(site, name)
    taken = range(counter.next, counter.next + count)
    _move(counter, taken.stop)
    return taken


def move_on(site: int, name: str, to: int) -> int:
    """Let a counter go on further ahead; needs an open transaction.

    Args:
        site: The site.
        name: Name of the counter.
        to: The number that it gives next; nothing is done if it is there or beyond.

    Returns:
        The number that it would have given next.
    """
    (counter,) = _lock(site, name)
    was = counter.next
    if was < to:
        _move(counter, to)
    return was


def take(site: int, kind: Kind, count: int = 1) -> list[str]:
    """Take the next numbers of a kind, written out with their check character.

    Args:
        site: The site.
        kind: What the numbers name.
        count: How many to take, at least 1.

    Returns:
        The numbers in order; a sequence without a number is passed over for good.
    """
    (counter,) = _lock(site, kind.name.lower())
    taken = _ahead(counter, kind, count)
    bulk.update([counter], ["next"], last=True)
    return taken


def _ahead(counter: Counter, kind: Kind, count: int) -> list[str]:
    """The next numbers of a locked counter, which goes on behind them in memory."""
    ahead = range(counter.next, SEQUENCES.stop)
    taken = list(islice(assigned(kind, counter.site, ahead), count))
    counter.next = read(taken[-1]).sequence + 1
    return taken


def take_sscc(workshop: Workshop) -> str | None:
    """Take the next SSCC; boxes and pallets have them of one counter.

    Args:
        workshop: The workshop, for its company prefix.

    Returns:
        18 digits; None without a prefix.

    Raises:
        CodeError: ``sscc_used_up``.
    """
    if not workshop.gs1_prefix:
        return None
    reference = take_numbers(workshop.site, SSCC)[0]
    return gs1.sscc(workshop.gs1_prefix, reference)


def take_identity(workshop: Workshop) -> tuple[str, str | None]:
    """Take the next serial and SSCC of a box, both counters at once.

    Args:
        workshop: The workshop, for its site and company prefix.

    Returns:
        The serial, and the SSCC; None for that without a prefix.

    Raises:
        CodeError: ``sscc_used_up``.
    """
    site, kind = workshop.site, Kind.SERIAL
    if not workshop.gs1_prefix:
        return take(site, kind)[0], None
    serials, other = _lock(site, kind.name.lower(), SSCC)
    (serial,), reference = _ahead(serials, kind, 1), other.next
    other.next += 1
    bulk.update([serials, other], ["next"], last=True)
    return serial, gs1.sscc(workshop.gs1_prefix, reference)


def foresee(kind: Kind, count: int) -> None:
    """Make the numbers that ``take`` will most likely give, before the lock is taken.

    Args:
        kind: What the numbers name.
        count: How many will be taken; of few it is not worth it.
    """
    if count > bulk.FEW:
        for counter in Counter.objects.filter(name=kind.name.lower()):
            ahead = range(counter.next, SEQUENCES.stop)
            for _number in islice(assigned(kind, counter.site, ahead), count + _OTHERS):
                pass  # ``assign`` remembers it


_OTHERS = 200
"""Numbers that others may take meanwhile."""
