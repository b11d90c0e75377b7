"""Which boxes of a size go to a consignee, where more are ready than it needs.

What expires first goes first (first expired first out, WHO good distribution practices,
Annex 5); of what expires alike, boxes with the fewest lots that the consignee has not had
yet, so that a lot that turns out bad has reached few; then the oldest.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from dispatch.domain.boxmix import Mix, nearest


@dataclass(frozen=True, slots=True)
class Candidate:
    """A box that may go."""

    box: int
    sets: int
    use_by: date | None
    """None where nothing in it expires; taken last."""
    lots: frozenset[int]
    age: int
    """Rank of its closing; lower came earlier."""


def deal(
    lacks: Sequence[int],
    ready: Mapping[int, int],
    promised: Sequence[Mapping[int, int]] = (),
    others: Mapping[int, int] = MappingProxyType({}),
) -> list[Mix | None]:
    """Say which of the ready boxes are for which request, by size.

    What is promised comes first: each request has of those sizes what is there. Of the
    boxes that are ready beyond all promises it has those that come nearest to the rest.

    Args:
        lacks: Sets that each request lacks, the neediest first; 0 or fewer for none.
        ready: Size in sets to boxes that are ready, 1 or more.
        promised: For each request size to boxes that are promised to it, no more than it
            lacks; nothing where it is left out.
        others: Size to boxes that are promised to other requests.

    Returns:
        For each request the boxes to bring: those that come nearest from above, or all
        that can be where they are too few; None where nothing is lacking or left.
    """
    there, own = Counter(ready), list(promised) or [{} for _ in lacks]
    free = free_of(ready, sum(map(Counter, own), Counter(others)))
    there, dealt = there - free, []
    for lack, kept in zip(lacks, own, strict=True):
        bring = there & Counter(kept)
        there -= bring
        rest = lack - sum(size * boxes for size, boxes in kept.items())
        if rest > 0 and free:
            found = nearest(rest, free, free)
            mix = found.above or found.below
            more = Counter(mix.counts if mix else {})
            free -= more
            bring += more
        dealt.append(_as_mix(bring, lack) if bring else None)
    return dealt


def free_of(ready: Mapping[int, int], promised: Mapping[int, int]) -> Counter[int]:
    """Count the ready boxes that are promised to nobody, by size in sets."""
    return Counter(ready) - Counter(promised)


def _as_mix(counts: Mapping[int, int], lack: int) -> Mix:
    sets = sum(size * boxes for size, boxes in counts.items())
    boxes = sum(counts.values())
    largest_first = dict(sorted(counts.items(), reverse=True))
    return Mix(largest_first, sets, sets - lack, boxes, packed=boxes)


def no_more_than(lack: int, promised: Mapping[int, int]) -> dict[int, int]:
    """Say how much of what is promised to a request still is, with what it lacks now.

    Args:
        lack: Sets that it lacks.
        promised: Size in sets to boxes.

    Returns:
        Size to boxes: all of them unless it could do without one; then those that come
        nearest to what it lacks from above.
    """
    some = {size: boxes for size, boxes in promised.items() if boxes > 0}
    if lack <= 0 or not some:
        return {}
    if sum(size * boxes for size, boxes in some.items()) - min(some) < lack:
        return some
    above = nearest(lack, some, some).above
    return above.counts if above else some


def choose(
    counts: Mapping[int, int], candidates: Iterable[Candidate], had: Collection[int]
) -> list[Candidate]:
    """Choose the boxes.

    Args:
        counts: Size in sets to boxes.
        candidates: The boxes that may go; each once.
        had: Lots of which the consignee has had pieces.

    Returns:
        The boxes, in the order in which they were chosen; fewer where there are not as
        many.
    """
    known = set(had)
    rest = list(candidates)
    chosen: list[Candidate] = []
    for size, boxes in sorted(counts.items(), reverse=True):
        for _ in range(boxes):
            fit = [each for each in rest if each.sets == size]
            if not fit:
                break
            best = min(fit, key=lambda each: _turn(each, known))
            known |= best.lots
            rest.remove(best)
            chosen.append(best)
    return chosen


def _turn(box: Candidate, known: Collection[int]) -> tuple[date, int, int, int]:
    new = sum(lot not in known for lot in box.lots)
    return box.use_by or date.max, new, box.age, box.box
