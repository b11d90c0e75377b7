"""What became of a rejected lot."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.models import Bag, Disposition, Lot


@dataclass(frozen=True)
class RejectedPage:
    """What became of the bags of a rejected lot, and what is still to be decided."""

    waiting: list[Bag]
    """Bags that are still rejected."""
    done: list[Disposition]
    """Oldest first."""

    @property
    def pieces(self) -> int:
        """Pieces in bags that are still rejected."""
        return sum(bag.pieces for bag in self.waiting)


def rejected_page(lot: Lot) -> RejectedPage:
    """Read what became of a rejected lot.

    Args:
        lot: The lot.

    Returns:
        Its rejected bags, and the dispositions of the others.
    """
    done = lot.dispositions.select_related("bag", "operation").order_by("pk")
    waiting = lot.bags.filter(stage="rejected").select_related("place").order_by("pk")
    return RejectedPage(list(waiting), list(done))
