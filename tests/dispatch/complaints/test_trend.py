"""The trend of complaints, against counting box by box over random histories."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable
from fractions import Fraction

import pytest

from dispatch.complaints.queries.complaints import about_revision
from dispatch.complaints.queries.trend import of_revision, trend
from dispatch.models import Complaint
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Bench, Box, BoxLine, BoxSize, Lot
from kitting.packing.services import boxes as packing
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.dispatch.complaints.test_complaints import take
from tests.factories import sign

pytestmark = pytest.mark.django_db


def labelled(size: BoxSize, bench: Bench, *bags: Bag) -> Box:
    """A box filled from what is open at a bench, and from these bags."""
    box = factories.make_open_box(size, bench, *bags)
    packing.close_box(box_id=box.pk, sign=sign())
    print_box_label(box_id=box.pk, sign=sign())
    box.refresh_from_db()
    packing.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    return box


def some_boxes(luck: random.Random) -> tuple[list[Box], set[int]]:
    """Boxes that share lots, some with two bags of one lot, and some that were sent."""
    parts = [factories.make_part(needs_check=False, needs_clearing=False) for _ in "ab"]
    band, visor = (factories.make_revision(part) for part in parts)
    other = factories.make_revision(parts[1], "B")
    boxes: list[Box] = []
    for revision, sets in ((visor, 2), (other, 4)):
        recipe = factories.make_recipe([(band, 1, "set"), (revision, 1, "set")])
        size, bench = factories.make_size(recipe, sets), factories.make_bench()
        bags = (NewBag(pieces=2 * sets - 1), NewBag(pieces=2 * sets + 1))
        first, second = factories.make_lot(revision, bags=bags).bags.order_by("pk")
        bands = factories.make_bag(band, 100)
        boxes.append(labelled(size, bench, bands, first))
        boxes.append(labelled(size, bench, second))
        boxes += [labelled(size, bench) for _ in range(2)]
    assert max(box.lines.count() for box in boxes) == 3
    gone = luck.sample(boxes, 5)
    for box in gone:
        factories.send(factories.make_shipment(box))
    return boxes, {box.pk for box in gone}


def complain(luck: random.Random, boxes: list[Box]) -> None:
    for _ in range(15):
        box = luck.choice(boxes)
        line = luck.choice(list(box.lines.select_related("lot")))
        kind = luck.choice(["box", "part", "lot", "nothing"])
        about = {
            "box": {"about": str(box.serial)},
            "part": {"about": str(box.serial), "part_id": line.lot.part_id},
            "lot": {"about": line.lot.number},
            "nothing": {},
        }[kind]
        take(**about, severity=luck.choice(["fault", "looks"]))


def counted(
    rows: Iterable[Complaint], gone: set[int], way: str
) -> dict[object, tuple[int, int]]:
    """Complaints and sets by what is asked for, one row after the other."""
    of = {
        "lot": lambda lot: lot.number,
        "revision": lambda lot: (lot.part.code, lot.revision.code),
        "part": lambda lot: lot.part.code,
    }[way]
    inside: dict[int, set[Lot]] = defaultdict(set)
    for line in BoxLine.objects.select_related("lot__part", "lot__revision"):
        inside[line.box_id].add(line.lot)
    said: dict[object, set[int]] = defaultdict(set)
    for row in rows:
        lots = {row.lot} if row.lot else inside[row.box_id] if row.box_id else set()
        for lot in lots:
            if row.box_id and row.part_id and lot.part_id != row.part_id:
                continue
            said[of(lot)].add(row.pk)
    sets: dict[object, int] = defaultdict(int)
    for box in Box.objects.filter(pk__in=gone).select_related("size"):
        for key in {of(lot) for lot in inside[box.pk]}:
            sets[key] += box.size.sets
    return {key: (len(those), sets[key]) for key, those in said.items()}


@pytest.mark.parametrize("seed", range(3))
def test_the_trend_is_what_counting_gives(seed: int) -> None:
    luck = random.Random(seed)
    boxes, gone = some_boxes(luck)
    complain(luck, boxes)
    for severity in ("", "looks"):
        found = trend(severity)
        rows = list(Complaint.objects.select_related("lot__part", "lot__revision"))
        if severity:
            rows = [row for row in rows if row.severity == severity]
        lots = {rate.key.number: (rate.complaints, rate.sets) for rate in found.lots}
        assert lots == counted(rows, gone, "lot")
        revisions = {
            (rate.key.part.code, rate.key.code): (rate.complaints, rate.sets)
            for rate in found.revisions
        }
        assert revisions == counted(rows, gone, "revision")
        parts = {rate.key.code: (rate.complaints, rate.sets) for rate in found.parts}
        assert parts == counted(rows, gone, "part")
        sets = sum(box.size.sets for box in boxes if box.pk in gone)
        assert (found.whole.complaints, found.whole.sets) == (len(rows), sets)
        assert sum(rate.complaints for rate in found.months) == len(rows)
        assert sum(rate.sets for rate in found.months) == sets
        worst = [
            Fraction(rate.complaints, rate.sets) for rate in found.lots if rate.sets
        ]
        assert worst == sorted(worst, reverse=True)
    for rate in trend().revisions:
        about = Complaint.objects.filter(about_revision(rate.key.pk)).distinct()
        assert about.count() == rate.complaints
        assert of_revision(rate.key.pk, rate.complaints).sets == rate.sets


def test_without_complaints_there_is_nothing_to_answer() -> None:
    found = trend()
    assert (found.whole.complaints, found.whole.per_thousand) == (0, "")
    assert (found.parts, found.revisions, found.lots, found.months) == ([], [], [], [])
