"""Which boxes serve a request: least surplus, then fewest boxes, then most packed ones.

Filling up with the largest size first is wrong: of boxes of 1, 3 and 4, six sets are two
boxes, not three. The mix is exact, by the recurrence of the knapsack with bounded numbers
(R. Bellman, Dynamic Programming, 1957; from memory), over totals in units of the greatest
common divisor. How many of the largest are in any best mix is taken off first: as many
other boxes as the largest has units always hold some that together are a multiple of it
(by their running sums and the pigeonhole principle), and fewer of the largest do as well.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from dispatch.domain.needs import MOST_SETS


@dataclass(frozen=True, slots=True)
class Mix:
    """Boxes by size."""

    counts: dict[int, int]
    """Size in sets to boxes, 1 or more, the largest size first."""
    sets: int
    """How many sets these boxes hold."""
    surplus: int
    """Sets more than were asked for; below 0 where they are fewer."""
    boxes: int
    packed: int
    """How many of the boxes are packed already."""

    @property
    def short(self) -> int:
        """Sets fewer than were asked for."""
        return max(0, -self.surplus)

    @property
    def to_pack(self) -> int:
        """How many of the boxes are yet to be packed."""
        return self.boxes - self.packed


@dataclass(frozen=True, slots=True)
class Nearest:
    """What comes nearest from either side."""

    below: Mix | None
    """The most sets that are not above what was asked; None where the smallest box is."""
    above: Mix | None
    """The least sets that are not below it; None where all boxes together are."""


@dataclass(frozen=True, slots=True)
class _Size:
    sets: int
    most: int
    packed: int


def best_mix(
    sets: int,
    sizes: Iterable[int],
    stock: Mapping[int, int] | None = None,
    packed: Mapping[int, int] | None = None,
) -> Mix | None:
    """Find the boxes that serve a request.

    Args:
        sets: How many sets are asked for, 1 to ``MOST_SETS``.
        sizes: Sets that a box of each size in use holds, 1 to ``MOST_SETS``.
        stock: Boxes that there are by size, packed or yet to be packed; one that is not
            named has none. None where any number can be packed.
        packed: Boxes by size that are packed already.

    Returns:
        The mix with the least surplus; among those with the fewest boxes; among those
        with the most boxes that are packed already. None where all boxes together hold
        fewer sets.

    Raises:
        ValueError: If a number is out of its range, or no size is given.
    """
    return _totals(sets, sizes, stock, packed).at_or_above()


def nearest(
    sets: int,
    sizes: Iterable[int],
    stock: Mapping[int, int] | None = None,
    packed: Mapping[int, int] | None = None,
) -> Nearest:
    """Find what comes nearest to a request from either side, each as :func:`best_mix` does.

    Args:
        sets: As for :func:`best_mix`.
        sizes: As for :func:`best_mix`.
        stock: As for :func:`best_mix`.
        packed: As for :func:`best_mix`.

    Returns:
        The two mixes; the same one twice where the sets come out even.

    Raises:
        ValueError: As for :func:`best_mix`.
    """
    totals = _totals(sets, sizes, stock, packed)
    return Nearest(below=totals.at_or_below(), above=totals.at_or_above())


# -- Which totals there are, and how --------------------------------------------------

_NEVER: Final = 1 << 62
"""What a total costs that no boxes come to."""
_BOX: Final = 1 << 20
"""What a box costs; one that is packed already costs one less."""


@dataclass(frozen=True, slots=True)
class _Layer:
    """The best ways to every total with one more kind of box."""

    size: int
    units: int
    costs: list[int]
    taken: list[int]
    """How many of this kind, by total."""


@dataclass(frozen=True, slots=True)
class _Totals:
    """Every total from the last one at or below what was asked to the first above it."""

    sets: int
    unit: int
    sure: dict[int, int]
    """Boxes that every best mix has."""
    packed: Mapping[int, int]
    layers: list[_Layer]

    def at_or_above(self) -> Mix | None:
        return self._first(range(self._units(up=True), len(self._costs())))

    def at_or_below(self) -> Mix | None:
        found = self._first(range(self._units(up=False), -1, -1))
        return found if found is not None and found.sets else None

    def _first(self, totals: Iterable[int]) -> Mix | None:
        costs = self._costs()
        there = (total for total in totals if costs[total] < _NEVER)
        total = next(there, None)
        return None if total is None else self._mix(total)

    def _costs(self) -> list[int]:
        return self.layers[-1].costs

    def _units(self, *, up: bool) -> int:
        """How far the rest of what was asked is, in units, within what was reckoned."""
        rest = self.sets - sum(size * count for size, count in self.sure.items())
        whole = -(-rest // self.unit) if up else rest // self.unit
        return max(0, whole) if up else min(whole, len(self._costs()) - 1)

    def _mix(self, total: int) -> Mix:
        counts = dict(self.sure)
        for layer in reversed(self.layers[1:]):
            counts[layer.size] = counts.get(layer.size, 0) + layer.taken[total]
            total -= layer.taken[total] * layer.units
        counts = {
            size: counts[size] for size in sorted(counts, reverse=True) if counts[size]
        }
        sets = sum(size * count for size, count in counts.items())
        return Mix(
            counts=counts,
            sets=sets,
            surplus=sets - self.sets,
            boxes=sum(counts.values()),
            packed=sum(min(n, self.packed.get(size, 0)) for size, n in counts.items()),
        )


def _totals(
    sets: int,
    sizes: Iterable[int],
    stock: Mapping[int, int] | None,
    packed: Mapping[int, int] | None,
) -> _Totals:
    of_size = _sizes(sets, sizes, stock, packed or {})
    largest = of_size[0].sets
    low, high = sets - largest + 1, sets + largest - 1
    rest = [size for size in of_size if size.most]
    sure = {}
    if rest:
        first = rest[0]
        count = sure[first.sets] = _sure(low, rest)
        high -= count * first.sets
        left = _Size(first.sets, first.most - count, max(0, first.packed - count))
        rest[0] = left
        high = min(high, sum(size.sets * size.most for size in rest))
    unit = math.gcd(*(size.sets for size in rest)) or 1
    most = max(0, high) // unit
    layers = [_Layer(0, 0, [0] + [_NEVER] * most, [])]
    for size in rest:
        ready = min(size.packed, size.most)
        for count, cost in ((ready, _BOX - 1), (size.most - ready, _BOX)):
            if count:
                units = size.sets // unit
                layers.append(_more(layers[-1].costs, size.sets, units, count, cost))
    return _Totals(sets, unit, sure, packed or {}, layers)


def _sizes(
    sets: int,
    sizes: Iterable[int],
    stock: Mapping[int, int] | None,
    packed: Mapping[int, int],
) -> list[_Size]:
    """Check what is asked; give the sizes from the largest, each with what there is."""
    in_use = sorted({*sizes}, reverse=True)
    if not in_use or not 1 <= min(sets, *in_use) <= max(sets, *in_use) <= MOST_SETS:
        raise ValueError("Sets and sizes are 1 to 100,000.")
    there = dict.fromkeys(in_use, MOST_SETS) if stock is None else stock
    if any(count < 0 for count in (*there.values(), *packed.values())):
        raise ValueError("No boxes are fewer than none.")
    return [
        _Size(size, min(there.get(size, 0), 2 * MOST_SETS), packed.get(size, 0))
        for size in in_use
    ]


def _sure(low: int, of_size: Sequence[_Size]) -> int:
    """How many of the largest every best mix of this total or more has at least."""
    largest, second = of_size[0], of_size[1].sets if of_size[1:] else 0
    others = (largest.sets - 1) * second
    spare = max(1, second)  # as many of the largest are never put for such others
    needed = -((others - low) // largest.sets)
    return max(0, min(largest.most - spare + 1, needed))


def _more(costs: list[int], size: int, units: int, most: int, cost: int) -> _Layer:
    """Add up to ``most`` boxes of a kind to every total."""
    if most * units >= len(costs) - 1:
        return _any_number(costs, size, units, cost)
    best, taken = list(costs), [0] * len(costs)
    for first in range(min(units, len(costs))):
        window: deque[tuple[int, int]] = deque()
        for nth, total in enumerate(range(first, len(costs), units)):
            level = costs[total] - nth * cost
            if costs[total] < _NEVER:
                while window and window[-1][0] > level:
                    window.pop()
                window.append((level, nth))
            if window and window[0][1] < nth - most:
                window.popleft()
            if window:
                taken[total] = nth - window[0][1]
                best[total] = window[0][0] + nth * cost
    return _Layer(size, units, best, taken)


def _any_number(costs: list[int], size: int, units: int, cost: int) -> _Layer:
    best, taken = list(costs), [0] * len(costs)
    for total in range(units, len(costs)):
        more = best[total - units] + cost
        if more < best[total]:
            best[total], taken[total] = more, taken[total - units] + 1
    return _Layer(size, units, best, taken)
