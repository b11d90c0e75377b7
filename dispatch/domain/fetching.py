"""Which boxes of a size go to a consignee, where more are ready than it needs.

What expires first goes first (first expired first out, WHO good distribution practices,
Annex 5); of what expires alike, boxes with the fewest lots that the consignee has not had
yet, so that a lot that turns out bad has reached few; then the oldest.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

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


def deal(lacks: Iterable[int], ready: Mapping[int, int]) -> list[Mix | None]:
    """Say which of the ready boxes are for which request, by size.

    Args:
        lacks: Sets that each request lacks, the neediest first; 0 or fewer for none.
        ready: Size in sets to boxes that are ready, 1 or more.

    Returns:
        For each request the boxes to bring: those that come nearest from above, or all
        that can be where they are too few; None where nothing is lacking or left.
    """
    there = Counter(ready)
    dealt: list[Mix | None] = []
    for lack in lacks:
        mix = None
        if lack > 0 and there:
            found = nearest(lack, there, there)
            mix = found.above or found.below
        there -= Counter(mix.counts if mix else {})
        dealt.append(mix)
    return dealt


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
