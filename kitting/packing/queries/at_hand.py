"""The bags that a packer has at hand: what is in the open box, and open at the bench."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from kitting.domain.stages import BoxStage
from kitting.models import Bag, Box, BoxLine
from kitting.models.boxes import IN_WORK


@dataclass(frozen=True)
class AtHand:
    """A bag that pieces in the open box came from, or that is open at the bench."""

    bag: str
    part: str
    left: int
    """Pieces in it, by the record."""
    inside: int
    """Pieces of it in the open box."""
    command: str
    """What a touch sends for it: what is scanned instead."""
    named: bool = False
    """Whether somebody has named it as damaged."""


def at_hand(
    box: Box | None, inside: Iterable[BoxLine], bags: Iterable[Bag]
) -> list[AtHand]:
    """Give the bags that a packer has at hand.

    Args:
        box: The box in work; what is in a closed one stays there.
        inside: Its lines, with lot, part and bag.
        bags: The bags that are open at the bench.

    Returns:
        Each once, those in the box first.
    """
    pieces: dict[int, int] = {}
    found = {}
    is_open = box is not None and box.stage == BoxStage.OPEN
    for line in inside if is_open else ():
        found[line.bag_id] = line.bag
        line.bag.lot = line.lot  # read with the line
        pieces[line.bag_id] = pieces.get(line.bag_id, 0) + line.pieces
    found |= {bag.pk: bag for bag in bags if bag.pk not in found}
    return [
        AtHand(bag.number, bag.lot.part.name, bag.pieces, pieces.get(pk, 0), bag.number)
        for pk, bag in found.items()
    ]


def this_bag(bench_id: int, bag: Bag) -> AtHand:
    """Give one bag, wherever it is.

    Args:
        bench_id: The bench whose open box may have pieces of it.
        bag: The bag, with lot and part.

    Returns:
        What is left in it, and in the box.
    """
    at_bench = Box.objects.filter(IN_WORK, bench=bench_id, stage=BoxStage.OPEN)
    lines = BoxLine.objects.filter(box__in=at_bench, bag=bag)
    inside = sum(lines.values_list("pieces", flat=True))
    part = bag.lot.part.name
    return AtHand(bag.number, part, bag.pieces, inside, bag.number)


def parts_in(bags: Iterable[AtHand]) -> list[AtHand]:
    """Give what is in the open box, part by part.

    Args:
        bags: What a packer has at hand.

    Returns:
        Of each part its first bag there, with all pieces of the part.
    """
    found: dict[str, AtHand] = {}
    for each in bags:
        if not each.inside:
            continue
        first = found.get(each.part, each)
        more = each.inside if each.part in found else 0
        found[each.part] = replace(first, inside=first.inside + more)
    return list(found.values())
