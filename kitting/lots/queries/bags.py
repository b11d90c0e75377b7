"""What the page of a bag reads: the bag, its runs, boxes and samples."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from kitting.domain.stages import COUNTABLE, REPACKABLE, BagStage
from kitting.ledger.packable import open_too_long
from kitting.ledger.reach import Reach
from kitting.models import Bag, BoxLine, Count, Hold, Movement, OpenBag, RunBag, Sample
from kitting.models.catalogue import Unit
from kitting.models.lots import SEALED

MOST_ROWS = 200
"""Movements and boxes that the page of a bag shows, the newest; the trace has all."""


@dataclass(frozen=True)
class BagPage:
    """Everything that the page of one bag shows."""

    bag: Bag
    movements: list[Movement]
    """Newest first."""
    counts: list[Count]
    """Newest first."""
    stays: list[RunBag]
    """Its runs, newest first."""
    lines: list[BoxLine]
    """What was filled from it, newest first."""
    samples: list[Sample]
    """Newest first; each with its result where there is one."""
    holds: list[Hold]
    """Holds that stand on the bag itself."""
    is_held: bool
    bench: str
    """The bench at which it is open, or nothing."""
    open_too_long: bool
    """Whether its pieces were in the open for longer than their part allows."""
    waits_for_look: bool
    """Whether a checker is to look at it once more, alone."""

    @property
    def countable(self) -> bool:
        """Whether it can be counted, and give a sample where there is something in it."""
        return self.bag.stage in COUNTABLE

    @property
    def repackable(self) -> bool:
        """Whether pieces of it can go into another bag."""
        return self.bag.stage in REPACKABLE

    @property
    def unsealed_by_repacking(self) -> bool:
        """Whether opening it ends that it is cleared."""
        by_a_run = bool(self.bag.cleared_run) and self.bag.stage == BagStage.CLEARED
        return by_a_run and self.bag.container in SEALED

    @property
    def weighable(self) -> bool:
        """Whether it can be counted by weight: what is counted in pieces."""
        return self.countable and self.bag.lot.part.unit == Unit.PIECE

    @property
    def gives_samples(self) -> bool:
        """Whether something of it can be sent to a test."""
        return self.countable and bool(self.bag.pieces)

    @property
    def shown_cleared(self) -> bool:
        """Whether a label may say so: a run cleared it and no hold reaches it."""
        cleared = self.bag.stage == BagStage.CLEARED and self.bag.cleared_run
        return bool(cleared) and not self.is_held

    @property
    def set_back_to_checker(self) -> bool:
        """Whether a checker looks at its pieces once they are set back."""
        return not cleared_by_runs(self.bag)

    @property
    def in_boxes(self) -> int:
        """Pieces that went into the boxes shown."""
        return sum(line.pieces for line in self.lines)


def one_bag() -> QuerySet[Bag]:
    """Bags with what every page about one of them names."""
    return Bag.objects.select_related(
        "lot__part", "lot__revision", "place", "carrier", "cleared_run__protocol"
    )


def cleared_by_runs(bag: Bag) -> bool:
    """Tell whether a run clears the pieces of a cleared bag again; else a checker does.

    Args:
        bag: The bag, with its lot and part.

    Returns:
        True where one cleared them before, or their part needs one.
    """
    return bag.cleared_run_id is not None or bag.lot.part.needs_clearing


def waits_for_look(bag: Bag) -> bool:
    """Tell whether a bag has arrived again, as it was open for too long.

    Args:
        bag: The bag, with its lot and part.

    Returns:
        False for one that arrived with its lot, which has yet to be checked.
    """
    needs_lot = bag.lot.part.needs_check and not bag.lot.verdict
    return bag.stage == BagStage.ARRIVED and not needs_lot


def bag_page(bag: Bag, reach: Reach, now: datetime) -> BagPage:
    """Read everything that the page of a bag shows.

    Args:
        bag: A bag from ``one_bag``.
        reach: What the standing holds reach.
        now: The moment.

    Returns:
        Movements, counts, runs, boxes, samples and holds.
    """
    moves = bag.movements.select_related("place", "operation", "box", "other")
    moves = moves.order_by("-nth")
    lines = BoxLine.objects.filter(bag=bag).select_related("box", "run")
    open_at = OpenBag.objects.filter(bag=bag).select_related("bench").first()
    return BagPage(
        bag=bag,
        movements=list(moves[:MOST_ROWS]),
        counts=list(bag.counts.select_related("operation").order_by("-pk")),
        stays=list(
            bag.run_bags.select_related("run__protocol", "cover__like").order_by("-pk")
        ),
        lines=list(lines.order_by("-box_id")[:MOST_ROWS]),
        samples=list(
            bag.samples.select_related("operation", "result__operation").order_by("-pk")
        ),
        holds=list(
            bag.holds.filter(lift__isnull=True)
            .select_related("operation")
            .order_by("pk")
        ),
        is_held=reach.bag(bag),
        bench=open_at.bench.name if open_at else "",
        open_too_long=bag.stage == BagStage.CLEARED
        and open_too_long(bag, bag.lot, now) is not None,
        waits_for_look=waits_for_look(bag),
    )


def cleared_together(bags: Iterable[Bag]) -> bool:
    """Tell whether one run cleared all bags of a carrier, so that it has a label.

    Args:
        bags: The bags on it; those that are used up do not count.

    Returns:
        True if it did, and there are any.
    """
    there = [bag for bag in bags if bag.stage != BagStage.USED_UP]
    runs = {bag.cleared_run_id for bag in there}
    cleared = all(bag.stage == BagStage.CLEARED for bag in there)
    return cleared and len(runs) == 1 and None not in runs
