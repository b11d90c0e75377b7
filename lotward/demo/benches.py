"""Boxes are packed at the benches, closed, labelled, and now and then spoilt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.stages import BagStage, BoxStage
from kitting.ledger.pinned import Pinned, pinned_by
from kitting.ledger.reach import standing_reach
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxLine,
    BoxSize,
    OpenBag,
    Recipe,
    RecipeLine,
)
from kitting.packing.services import boxes, voiding
from kitting.packing.services.labels import print_box_label
from kitting.packing.services.plan import plan_day
from lotward.demo import plan
from lotward.demo.making import Floor

LONGEST_MIN: Final = 20
"""Minutes that the largest box takes, labelled and put on its shelf."""
PAUSE_MIN: Final = 12
"""Minutes until the next box is asked for."""


@dataclass(frozen=True)
class Need:
    """What a box needs of one part, and the bags to take it from, in their order."""

    line: RecipeLine
    pieces: int
    bags: list[Bag]

    def enough(self) -> bool:
        """Whether the bags hold what the box needs."""
        return sum(bag.pieces for bag in self.bags) >= self.pieces


def pack(floor: Floor, count: int) -> int:
    """Pack boxes at the benches in turn and label them.

    Args:
        floor: The workshop.
        count: How many boxes the day shall bring.

    Returns:
        How many it brought: nothing is packed that has not been cleared.
    """
    packed = 0
    for turn in range(2 * count):
        if packed == count or not floor.has(PAUSE_MIN + LONGEST_MIN):
            break
        bench = floor.catalogue.benches[turn % len(floor.catalogue.benches)]
        box = close_one(floor, bench, draw_size(floor))
        if box is not None:
            label(floor, box, bench)
            packed += 1
            floor.clock.let_pass(60 * PAUSE_MIN)
    return packed


def draw_size(floor: Floor) -> BoxSize:
    """Draw what is asked for next.

    Args:
        floor: The workshop.

    Returns:
        A box size.
    """
    short = floor.luck.randrange(100) < plan.SHORT_SHARE
    sets, shares = zip(*plan.SHARES, strict=True)
    (drawn,) = floor.luck.choices(sets, weights=shares)
    return floor.catalogue.sizes["FS2EN" if short else "FS1EN", drawn]


def close_one(floor: Floor, bench: Bench, size: BoxSize) -> Box | None:
    """Fill a box and close it; a smaller one where there is not enough.

    Args:
        floor: The workshop.
        bench: Where.
        size: The box size.

    Returns:
        The closed box, or None where not even the smallest could be filled.
    """
    smaller = size.product.sizes.filter(sets__lte=size.sets).order_by("-sets")
    recipe = Recipe.objects.get(product=size.product, in_force=True)
    pinned = pinned_by(recipe.pk)
    bags = _bags(bench, [line.part_id for line in pinned.lines])
    for fitting in smaller:
        needs = _needs(pinned, bags, fitting)
        if all(need.enough() for need in needs):
            box = _fill(floor, bench, fitting, needs)
            sign = floor.clock.sign("packer", 30, bench.pk)
            boxes.close_box(box_id=box.pk, sign=sign)
            return Box.objects.get(pk=box.pk)
    return None


def _needs(pinned: Pinned, bags: list[Bag], size: BoxSize) -> list[Need]:
    takes = pinned.together.takes
    return [
        Need(
            line,
            line.needed(size.sets),
            [bag for bag in bags if bag.lot.revision_id in takes[line.pk]],
        )
        for line in pinned.lines_for(size.sets)
    ]


def _bags(bench: Bench, parts: list[int]) -> list[Bag]:
    """The bench's own open bags first, then the oldest that are open at no bench."""
    reach = standing_reach()
    at_bench = dict(OpenBag.objects.values_list("bag", "bench"))
    cleared = Bag.objects.filter(stage=BagStage.CLEARED, lot__part__in=parts)
    bags = [
        bag
        for bag in cleared.select_related("lot")
        if at_bench.get(bag.pk, bench.pk) == bench.pk and not reach.bag(bag)
    ]
    return sorted(bags, key=lambda bag: (bag.pk not in at_bench, bag.pk))


def _fill(floor: Floor, bench: Bench, size: BoxSize, needs: list[Need]) -> Box:
    sign = floor.clock.sign("packer", 60, bench.pk)
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign)
    for need in needs:
        in_box = BoxLine.objects.filter(box=started.box_id, lot__part=need.line.part_id)
        missing = need.pieces - sum(in_box.values_list("pieces", flat=True))
        for bag in need.bags:
            if missing < 1:
                break
            missing -= _bring(floor, bench, bag, size.sets)
    return Box.objects.get(pk=started.box_id)


def _bring(floor: Floor, bench: Bench, bag: Bag, sets: int) -> int:
    """Bring a bag; one that the box has emptied already brings nothing."""
    bag.refresh_from_db(fields=["stage", "pieces"])
    if bag.stage != BagStage.CLEARED:
        return 0
    sign = floor.clock.sign("packer", 20 + 2 * sets, bench.pk)
    return boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign).taken


def label(floor: Floor, box: Box, bench: Bench) -> None:
    """Print the label of a closed box, stick it on and scan it.

    Args:
        floor: The workshop.
        box: The box.
        bench: Where it stands.
    """
    sign = floor.clock.sign("packer", 15, bench.pk)
    print_box_label(box_id=box.pk, sign=sign)
    sign = floor.clock.sign("packer", 25, bench.pk)
    boxes.see_label(box_id=box.pk, read=box.sscc or "", sign=sign)


def void_one(floor: Floor) -> None:
    """Void the newest labelled box that stands in stock."""
    box = Box.objects.filter(stage=BoxStage.LABELLED).latest("pk")
    voiding.void_box(
        box_id=box.pk,
        reason="Crushed by the pallet truck",
        label=str(box.serial),
        sign=floor.clock.sign("manager", 200),
    )


def cancel_one(floor: Floor) -> None:
    """Start a box of the wrong size and cancel it."""
    bench = floor.catalogue.benches[0]
    size = floor.catalogue.sizes["FS1EN", 24]
    sign = floor.clock.sign("packer", 45, bench.pk)
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign)
    sign = floor.clock.sign("packer", 60, bench.pk)
    voiding.cancel_box(box_id=started.box_id, reason="Wrong size chosen", sign=sign)


def say_what_is_wanted(floor: Floor) -> None:
    """Plan the newest day."""
    wanted = {
        floor.catalogue.sizes[size].pk: boxes for size, boxes in plan.WANTED.items()
    }
    day = floor.day(floor.today)
    plan_day(day=day, wanted=wanted, sign=floor.clock.sign("manager", 60))


def leave_work(floor: Floor) -> None:
    """Leave a box open at the first bench and one at the second without its label."""
    first, second, _third = floor.catalogue.benches
    six = floor.catalogue.sizes["FS1EN", 6]
    closed = close_one(floor, second, six)
    assert closed is not None  # noqa: S101
    sign = floor.clock.sign("packer", 60, first.pk)
    size = floor.catalogue.sizes["FS1EN", 24]
    # The manuals are taken off the bench first, so that the box asks for one.
    manual = OpenBag.objects.filter(bench=first, part__code="MA").first()
    if manual is not None:
        boxes.take_off_bench(bench_id=first.pk, bag_id=manual.bag_id, sign=sign)
        sign = floor.clock.sign("packer", 60, first.pk)
    boxes.start_box(bench_id=first.pk, size_id=size.pk, sign=sign)
