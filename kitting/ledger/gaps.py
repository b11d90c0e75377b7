"""Numbers that a restored database passes over, because labels may bear them already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass

from kitting.domain import gs1, numbers
from kitting.domain.errors import CodeError, Refused
from kitting.domain.numbers import Kind
from kitting.ledger import counters
from kitting.ledger.counters import SSCC
from kitting.ledger.operations import Act
from kitting.ledger.proof.faults import Tally
from kitting.models import Counter, SkippedNumbers, Workshop


def skip(act: Act, to: Mapping[str, int]) -> dict[str, list[int]]:
    """Move counters ahead and remember what is passed over; needs an open transaction.

    Args:
        act: The act in the making.
        to: Where each counter goes on, by its name; never further back.

    Returns:
        The first number passed over and the first after them, by counter.
    """
    passed = {}
    for name in sorted(to):
        first = counters.move_on(act.workshop.site, name, to[name])
        if first < to[name]:
            passed[name] = [first, to[name]]
    act.write(
        *(
            SkippedNumbers(site=act.workshop.site, counter=name, first=first, stop=stop)
            for name, (first, stop) in passed.items()
        )
    )
    return passed


@dataclass(frozen=True)
class Issued:
    """Which numbers of a counter this database has given out."""

    next: int
    gaps: tuple[range, ...]

    def has(self, sequence: int) -> bool:
        """Whether it gave this one out, to a thing on record or to a blank label."""
        passed = any(sequence in gap for gap in self.gaps)
        return sequence < self.next and not passed

    def lost(self, sequence: int) -> bool:
        """Whether it is of after a backup from which was restored.

        One further on than the gap is as strange to this database.
        """
        after = any(sequence >= gap.start for gap in self.gaps)
        return after and not self.has(sequence)


def issued(site: int, counter: str) -> Issued:
    """Read which numbers of a counter this database has given out."""
    skipped = SkippedNumbers.objects.filter(site=site, counter=counter)
    gaps = tuple(range(gap.first, gap.stop) for gap in skipped.order_by("pk"))
    found = Counter.objects.filter(site=site, name=counter).first()
    return Issued(1 if found is None else found.next, gaps)


def need_given_out(site: int, kind: Kind, wanted: Iterable[str]) -> None:
    """Refuse numbers of a kind that this database did not give out.

    Args:
        site: The site.
        kind: What they name.
        wanted: Numbers.

    Raises:
        Refused: ``number_not_given_out``; ``made_after_backup`` if one was, and is lost.
    """
    here = issued(site, kind.name.lower())
    for read in map(numbers.read, wanted):
        ours = read.site == site and read.kind is kind
        if not ours or not here.has(read.sequence):
            lost = ours and here.lost(read.sequence)
            code = "made_after_backup" if lost else "number_not_given_out"
            raise Refused(code, read=read.text)


def made_after_backup(number: str) -> bool:
    """Whether a number that nothing on record has was given out and then lost.

    Args:
        number: A number of ours or an SSCC, in capitals without blanks.

    Returns:
        Whether a backup was restored that is older than the number.
    """
    if gs1.sscc_ok(number):
        workshop = Workshop.objects.get(pk=1)
        reference = _reference(number, workshop.gs1_prefix)
        return reference is not None and issued(workshop.site, SSCC).lost(reference)
    with suppress(CodeError):
        read = numbers.read(number)
        return issued(read.site, read.kind.name.lower()).lost(read.sequence)
    return False


def _reference(sscc: str, prefix: str) -> int | None:
    """The serial reference of an SSCC with this workshop's company prefix."""
    start = f"0{prefix}"
    return int(sscc[len(start) : -1]) if prefix and sscc.startswith(start) else None


def stay_skipped(tally: Tally) -> None:
    """No counter goes back to where numbers were passed over.

    Args:
        tally: Where gaps are counted and faults noted.
    """
    counted = {(row.site, row.name): row for row in Counter.objects.all()}
    for gap in SkippedNumbers.objects.order_by("pk"):
        tally.count += 1
        counter = counted.get((gap.site, gap.counter))
        if counter is None or counter.next < gap.stop:
            tally.add(
                Counter._meta.db_table,
                None if counter is None else counter.pk,
                f"The counter {gap.counter} of site {gap.site} gives out numbers that"
                " were passed over when a backup was restored.",
                f"{gap.stop} or more",
                "none" if counter is None else counter.next,
            )
