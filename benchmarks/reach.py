"""How far a fault of one lot would reach, by the proposed order and by plain first in, first out.

Weeks of an invented workshop, by a seed: lots come in bags, benches pack boxes out of them,
and boxes go to consignees that ask for sets. What is done is the same in each run; only
the order differs in which bags are brought to a bench, and boxes to a shipment. Both
orders are the product's own functions. Nothing is read from a database.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, timedelta
from fractions import Fraction
from itertools import count
from random import Random
from statistics import fmean
from typing import Final

from benchmarks.measure import Row, spread_out
from dispatch.domain import fetching
from dispatch.domain.reach import Packed, Reach, reach_of
from kitting.domain import picking

FIRST: Final = date(2026, 1, 5)
"""A Monday."""
WEEKS: Final = 12
DAYS: Final = 14
"""What went longer ago is taken as used, as on the page of reach."""
WORST: Final = 10
BENCHES: Final = 3
CONSIGNEES: Final = 24
ASKED: Final = (24, 48, 60, 72, 96, 120, 180)
"""Sets of a request; a third of the consignees ask each day, 686 sets together."""
SEEDS: Final = range(4)
PARTS: Final = {
    # pieces of a lot, pieces of a bag, lots a day
    "headband": (200, 50, 4),
    "chin piece": (400, 100, 2),
    "visor": (800, 100, 1),
    "elastic": (1600, 200, 0.5),
}
SIZES: Final = {60: 6, 24: 12, 6: 20}
"""Sets in a box, and boxes a day: 768 sets. No more than those of two days are ready."""


@dataclass
class Bag:
    number: int
    lot: int
    pieces: int
    made_on: date
    use_by: date | None


@dataclass(frozen=True)
class Orders:
    """Which of both is the proposed order; else it is the oldest first."""

    bags: bool
    boxes: bool


@dataclass
class Workshop:
    """What is there, on one day."""

    orders: Orders
    expires: bool
    luck: Random
    today: date = FIRST
    stock: dict[str, list[Bag]] = field(default_factory=lambda: {p: [] for p in PARTS})
    """Bags at no bench, the oldest first."""
    at_bench: list[dict[str, list[Bag]]] = field(
        default_factory=lambda: [{part: [] for part in PARTS} for _ in range(BENCHES)]
    )
    ready: list[fetching.Candidate] = field(default_factory=list)
    sent: list[tuple[date, Packed]] = field(default_factory=list)
    had: dict[str, set[int]] = field(default_factory=dict)
    lots: count[int] = field(default_factory=count)
    bags: count[int] = field(default_factory=count)
    boxes: count[int] = field(default_factory=count)

    def work(self, day: int) -> None:
        """Take in, pack, send."""
        self.today = FIRST + timedelta(weeks=day // 5, days=day % 5)
        for part, (pieces, bag, a_day) in PARTS.items():
            for _ in range(int((day + 1) * a_day) - int(day * a_day)):
                self.take_in(part, pieces, bag)
        turns = [size for size, boxes in SIZES.items() for _ in range(boxes)]
        self.luck.shuffle(turns)
        for nth, size in enumerate(turns):
            if sum(box.sets == size for box in self.ready) < 2 * SIZES[size]:
                self.pack(size, nth % BENCHES)
        for whom in self.luck.sample(range(CONSIGNEES), k=CONSIGNEES // 3):
            sets = self.luck.choice(ASKED)
            self.send(f"C{whom}", sets)

    def take_in(self, part: str, pieces: int, bag: int) -> None:
        lot = next(self.lots)
        use_by = None
        if self.expires and part == "elastic":
            use_by = self.today + timedelta(days=700 + self.luck.randrange(60))
        self.stock[part] += [
            Bag(next(self.bags), lot, bag, self.today, use_by)
            for _ in range(pieces // bag)
        ]

    def pack(self, size: int, bench: int) -> None:
        """Fill a box from the bags at the bench, then from those that are brought."""
        there = self.at_bench[bench]
        for part in PARTS:
            missing = size - sum(bag.pieces for bag in there[part])
            if missing > sum(bag.pieces for bag in self.stock[part]):
                return  # Nothing of it is left for a box of this size.
            there[part] += self.brought(part, missing)
        inside: set[int] = set()
        use_by: list[date] = []
        for part in PARTS:
            left = size
            for bag in there[part]:
                if taken := min(left, bag.pieces):
                    inside.add(bag.lot)
                    use_by += [bag.use_by] if bag.use_by else []
                    bag.pieces -= taken
                    left -= taken
            there[part] = [bag for bag in there[part] if bag.pieces]
        box = next(self.boxes)
        until = min(use_by, default=None)
        self.ready.append(fetching.Candidate(box, size, until, frozenset(inside), box))

    def brought(self, part: str, missing: int) -> list[Bag]:
        if missing <= 0:
            return []
        stock = self.stock[part]
        if self.orders.bags:
            plan = picking.propose(missing, map(_candidate, stock))
            by_number = {bag.number: bag for bag in stock}
            bags = [by_number[int(number)] for number, _pieces in plan.takes]
        else:
            bags, held = [], 0
            for bag in stock:
                if held < missing:
                    bags.append(bag)
                    held += bag.pieces
        taken = {bag.number for bag in bags}
        self.stock[part] = [bag for bag in stock if bag.number not in taken]
        return bags

    def send(self, whom: str, sets: int) -> None:
        ready = dict.fromkeys(SIZES, 0)
        for box in self.ready:
            ready[box.sets] += 1
        (mix,) = fetching.deal([sets], {k: n for k, n in ready.items() if n})
        if mix is None:
            return
        had = self.had.setdefault(whom, set())
        for box in self.chosen(mix.counts, had):
            had |= box.lots
            self.ready.remove(box)
            self.sent.append((self.today, Packed(box.sets, box.lots, whom)))

    def chosen(
        self, counts: Mapping[int, int], had: set[int]
    ) -> Sequence[fetching.Candidate]:
        if self.orders.boxes:
            return fetching.choose(counts, self.ready, had)
        oldest = sorted(self.ready, key=lambda box: box.age)
        return [
            box
            for size, boxes in counts.items()
            for box in [each for each in oldest if each.sets == size][:boxes]
        ]

    def reach(self) -> list[Reach]:
        since = self.today - timedelta(days=DAYS)
        here = [Packed(box.sets, box.lots) for box in self.ready]
        return reach_of([*here, *(box for on, box in self.sent if on > since)], {})


def _candidate(bag: Bag) -> picking.Candidate:
    return picking.Candidate(
        bag.number, str(bag.lot), bag.pieces, bag.use_by, bag.made_on, bag.number
    )


@dataclass(frozen=True)
class Figures:
    """What the lots in use reach, on the last evening of each week; the worst ten of each."""

    boxes: float
    worst_boxes: float
    consignees: float
    worst_consignees: float
    share: float
    """The largest share of a consignee's last deliveries that a lot is in."""
    worst_share: float
    lots_in_box: float


def simulated(orders: Orders, *, expires: bool, seed: int) -> Figures:
    shop = Workshop(orders, expires, Random(seed))  # noqa: S311
    weeks: list[list[Reach]] = []
    for day in range(WEEKS * 5):
        shop.work(day)
        if day % 5 == 4 and day >= 15:  # the first weeks have sent little
            weeks.append(shop.reach())
    gone = [box for _on, box in shop.sent]
    return Figures(
        *_mean_and_worst(weeks, lambda each: each.boxes + each.here),
        *_mean_and_worst(weeks, lambda each: each.consignees),
        *_mean_and_worst(weeks, lambda each: float(_largest(each))),
        fmean(len(box.lots) for box in gone),
    )


def of_seeds(orders: Orders, *, expires: bool) -> Figures:
    """The means over some seeds, so that no single one decides."""
    found = [simulated(orders, expires=expires, seed=seed) for seed in SEEDS]
    names = [each.name for each in fields(Figures)]
    return Figures(*(fmean(getattr(each, name) for each in found) for name in names))


def _largest(each: Reach) -> Fraction:
    return each.shares[0][1] if each.shares else Fraction(0)


def _mean_and_worst(
    weeks: Iterable[list[Reach]], of: Callable[[Reach], float]
) -> tuple[float, float]:
    each = [sorted(map(of, lots), reverse=True) for lots in weeks]
    return fmean(fmean(all_) for all_ in each), fmean(
        fmean(all_[:WORST]) for all_ in each
    )


def rows() -> list[Row]:
    """Both orders beside plain first in, first out; then each of them alone."""
    plain, bags, boxes, both = (
        of_seeds(Orders(*orders), expires=False)
        for orders in ((False, False), (True, False), (False, True), (True, True))
    )
    oldest, use_by = (
        of_seeds(Orders(order, order), expires=True) for order in (False, True)
    )
    reached = "consignees that a lot reaches"
    return [
        *(_row(what, name, both, plain) for name, what in WORDS.items()),
        _row(f"{reached}, by the order of bags alone", "consignees", bags, plain),
        _row(f"{reached}, by that of boxes alone", "consignees", boxes, plain),
        _row(f"{reached}, where elastics expire", "consignees", use_by, oldest),
    ]


WORDS: Final = {
    "consignees": "consignees that a lot reaches",
    "worst_consignees": "consignees that the worst ten lots reach",
    "boxes": "boxes that a lot reaches",
    "worst_boxes": "boxes that the worst ten lots reach",
    "share": "largest share of one's last deliveries that a lot is in",
    "worst_share": "such a share of the worst ten lots",
    "lots_in_box": "lots in a box",
}


def _row(what: str, name: str, ours: Figures, plain: Figures) -> Row:
    measured, beside = getattr(ours, name), getattr(plain, name)
    return Row(
        what,
        f"{measured:.2f}",
        f"oldest first {beside:.2f}",
        f"{measured / beside:.2f} × as much",
    )


if __name__ == "__main__":
    print(spread_out(rows()))
