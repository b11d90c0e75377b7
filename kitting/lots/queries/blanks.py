"""What the page of numbers for blank labels reads."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice

from kitting.domain.numbers import SEQUENCES, Kind, assigned, read
from kitting.ledger.gaps import issued
from kitting.models import Bag, Workshop


@dataclass(frozen=True)
class BlankNumber:
    """A bag number that was given out, and the lot it came to life in."""

    number: str
    lot: str


def given_out(first: int, count: int) -> list[BlankNumber]:
    """Bag numbers that were given out one after the other.

    Args:
        first: The first sequence, from 1.
        count: How many at most.

    Returns:
        The numbers in order; those that this database has not given out are left out.
    """
    site = Workshop.objects.get(pk=1).site
    bags = issued(site, "bag")
    sequences = filter(bags.has, range(first, bags.next))
    numbers = list(islice(assigned(Kind.BAG, site, sequences), count))
    lots = dict(
        Bag.objects.filter(number__in=numbers).values_list("number", "lot__number")
    )
    return [BlankNumber(number, lots.get(number, "")) for number in numbers]


def newest_from(count: int) -> int:
    """The sequence from which the newest so many bag numbers were given out."""
    site = Workshop.objects.get(pk=1).site
    bags = issued(site, "bag")
    sequences = filter(bags.has, range(bags.next - 1, 0, -1))
    newest = list(islice(assigned(Kind.BAG, site, sequences), count))
    return read(newest[-1]).sequence if newest else SEQUENCES.start
