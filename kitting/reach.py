"""What the holds of the moment reach, computed from the hold's side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from kitting.domain.errors import OnHold
from kitting.models import Bag, BoxLine, Hold, Lot, LotOrigin, Run

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kitting.models import Box


@dataclass(frozen=True)
class Reach:
    """Ids that are held, by what they are; a lot includes all that is made from it."""

    lots: frozenset[int] = frozenset()
    bags: frozenset[int] = frozenset()
    runs: frozenset[int] = frozenset()
    boxes: frozenset[int] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.lots or self.bags or self.runs or self.boxes)

    def bag(self, bag: Bag) -> bool:
        """Whether a bag is held by itself, its lot or the run that cleared it."""
        return (
            bag.pk in self.bags
            or bag.lot_id in self.lots
            or (bag.cleared_run_id is not None and bag.cleared_run_id in self.runs)
        )

    def line(self, line: BoxLine) -> bool:
        """Whether a line of a box is held by its lot, bag or run."""
        return (
            line.lot_id in self.lots
            or line.bag_id in self.bags
            or (line.run_id is not None and line.run_id in self.runs)
        )


def standing_holds() -> list[Hold]:
    """Holds that nobody has lifted, oldest first."""
    return list(Hold.objects.filter(lift__isnull=True).order_by("pk"))


def reach_of(holds: Iterable[Hold]) -> Reach:
    """What the given holds reach.

    Args:
        holds: Holds, standing or not.

    Returns:
        The held lots (with their descendants), bags, runs and boxes.
    """
    holds = list(holds)
    if not holds:
        return Reach()

    def ids(name: str) -> list[int]:
        found = (getattr(hold, f"{name}_id") for hold in holds)
        return [pk for pk in found if pk is not None]

    wide = Q(revision__in=ids("revision")) | Q(method__in=ids("method"))
    wide |= Q(source__in=[hold.source for hold in holds if hold.source])
    lots = set(ids("lot"))
    if ids("revision") or ids("method") or any(hold.source for hold in holds):
        lots |= set(Lot.objects.filter(wide).values_list("pk", flat=True))
    runs = set(ids("run"))
    if protocols := ids("protocol"):
        runs |= set(
            Run.objects.filter(protocol__in=protocols).values_list("pk", flat=True)
        )
    return Reach(
        lots=frozenset(descendants(lots)),
        bags=frozenset(ids("bag")),
        runs=frozenset(runs),
        boxes=frozenset(ids("box")),
    )


def descendants(lots: set[int]) -> set[int]:
    """The lots and all that is made from them, generation by generation.

    Args:
        lots: Ids to start from.

    Returns:
        Their ids and those of every lot made from one of them.
    """
    reached, edge = set(lots), set(lots)
    while edge:
        made = LotOrigin.objects.filter(from_lot__in=edge).values_list("lot", flat=True)
        edge = set(made) - reached
        reached |= edge
    return reached


def standing_reach() -> Reach:
    """What all standing holds reach now; one query where there is none."""
    return reach_of(standing_holds())


def held_boxes(reach: Reach) -> set[int]:
    """Ids of all boxes that the reach touches, by themselves or by a line.

    Args:
        reach: What is held.

    Returns:
        Box ids of every stage.
    """
    if not reach:
        return set()
    found = set(reach.boxes)
    for name in ("lot", "bag", "run"):
        held = getattr(reach, f"{name}s")
        if held:
            lines = BoxLine.objects.filter(**{f"{name}__in": held})
            found |= set(lines.values_list("box_id", flat=True).distinct())
    return found


def refuse_held_bag(bag: Bag, reach: Reach) -> None:
    """Refuse a bag that a hold reaches.

    Args:
        bag: The bag.
        reach: What is held now.

    Raises:
        OnHold: If it is held.
    """
    if reach.bag(bag):
        raise OnHold("bag_on_hold", bag=bag.number)


def refuse_held_box(box: Box, lines: Iterable[BoxLine], reach: Reach) -> None:
    """Refuse a box that a hold reaches.

    Args:
        box: The box.
        lines: All its lines.
        reach: What is held now.

    Raises:
        OnHold: If it or anything in it is held.
    """
    if box.pk in reach.boxes or any(reach.line(line) for line in lines):
        raise OnHold("box_on_hold", box=str(box))
