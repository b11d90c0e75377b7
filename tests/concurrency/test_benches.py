"""Eight benches at one moment: no piece lost, no box half filled, one effect a key."""

from __future__ import annotations

from functools import partial
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction

from kitting.domain.errors import LotwardError
from kitting.domain.stages import BoxStage
from kitting.ledger import holds
from kitting.ledger.operations import Sign
from kitting.ledger.reach import held_boxes, standing_reach
from kitting.models import Bag, Box, BoxLine, Hold, Movement, OpenBag, Operation, Print
from kitting.packing.services import boxes as packing
from kitting.packing.services import miscounts, voiding
from kitting.packing.services.bench import take_scan
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.benches import Packing, bag_of, make_packing
from tests.concurrency.threads import at_once, meeting, times
from tests.concurrency.twins import Meet, hold_without_the_gate

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)

BENCHES = 8


@pytest.fixture
def at() -> Packing:
    return make_packing()


def benches() -> list[int]:
    return [factories.make_bench().pk for _ in range(BENCHES)]


# -- Controls: the races are real ---------------------------------------------------


def fill_without_locks(box_id: int, bag_id: int, pieces: int, meet: Meet) -> None:
    """Take pieces from a bag into a box as ``bring_bag`` would without its locks."""
    with transaction.atomic(durable=True):
        bag = Bag.objects.get(pk=bag_id)
        meet()
        bag.pieces -= pieces
        bag.save(update_fields=["pieces"])
        BoxLine.objects.create(box_id=box_id, bag=bag, lot_id=bag.lot_id, pieces=pieces)


def open_without_locks(bench_id: int, bag_id: int, part_id: int, meet: Meet) -> None:
    """Make a bag the open bag of a bench as ``bring_bag`` would without its locks."""
    with transaction.atomic(durable=True):
        OpenBag.objects.filter(bench=bench_id, part=part_id).delete()
        meet()
        OpenBag.objects.create(bench_id=bench_id, part_id=part_id, bag_id=bag_id)


@control
def test_control_without_the_bags_lock_pieces_are_made_of_nothing(at) -> None:
    boxes = [factories.make_open_box(at.size).pk for _ in range(BENCHES)]
    meet, bag_id = meeting(BENCHES), at.band_bag.pk
    results = times(BENCHES, lambda n: fill_without_locks(boxes[n], bag_id, 6, meet))
    assert results.errors == []
    at.band_bag.refresh_from_db()
    in_boxes = sum(BoxLine.objects.values_list("pieces", flat=True))
    assert at.band_bag.pieces + in_boxes > 100


CLOSED = {
    "stage": BoxStage.CLOSED,
    "serial": "K1000001Z",
    "batch": "1-A-26014-1",
    "packed_on": factories.TODAY,
    "closed_at": factories.NOW,
}


@control
@pytest.mark.parametrize("act", ["scan", "close", "label"])
def test_control_without_the_gate_a_hold_and_a_bench_miss_each_other(
    at, act: str
) -> None:
    """Either looks before the other has written, and both stand."""
    if act == "label":
        box = factories.make_closed_box(at.size)
    else:
        box = factories.make_open_box(at.size, at.bench, at.band_bag)
    line = box.lines.earliest("pk")
    meet, by, lot = meeting(2), factories.sign().by, line.lot_id
    inside = box.lines.count()
    labelled = {"stage": BoxStage.LABELLED, "label_seen_at": factories.NOW}

    def went_on() -> int:
        found = Box.objects.get(pk=box.pk)
        return found.lines.count() - inside + (found.stage != box.stage)

    def go_on_without_the_gate() -> int:
        with transaction.atomic(durable=True):
            held = list(held_boxes(standing_reach()))
            meet()
            if act == "scan":
                visor = {"bag": at.visor_bag, "lot": at.visor_bag.lot, "pieces": 12}
                BoxLine.objects.create(box=box, **visor)
            else:
                to = CLOSED if act == "close" else labelled
                Box.objects.filter(pk=box.pk).update(**to)
        return len(held)

    hold = partial(hold_without_the_gate, by, lot, went_on, meet)
    results = at_once([hold, go_on_without_the_gate])
    assert results.of == [0, 0]
    assert (went_on(), Hold.objects.count()) == (1, 1)


@control
def test_control_without_the_benchs_lock_two_bags_collide(at) -> None:
    bags = [bag_of(at.band).pk for _ in range(BENCHES)]
    part_id, meet = at.band.part_id, meeting(BENCHES)
    results = times(
        BENCHES, lambda n: open_without_locks(at.bench.pk, bags[n], part_id, meet)
    )
    assert {type(error) for error in results.errors} == {IntegrityError}


# -- Many benches, the same bags ----------------------------------------------------


def pack_one(at: Packing, bench_id: int, bag_ids: list[int]) -> str:
    """Pack one box at a bench from bags that other benches scan as well."""

    def sign() -> Sign:
        return factories.sign(bench_id=bench_id)

    started = packing.start_box(bench_id=bench_id, size_id=at.size.pk, sign=sign())
    for bag_id in bag_ids:
        packing.bring_bag(bench_id=bench_id, bag_id=bag_id, sign=sign())
    packing.close_box(box_id=started.box_id, sign=sign())
    print_box_label(box_id=started.box_id, sign=sign())
    box = Box.objects.get(pk=started.box_id)
    packing.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    return str(box.serial)


def test_eight_benches_draw_from_the_same_bags_and_no_piece_is_lost(at) -> None:
    factories.sign()  # the person who signs is made before the threads
    where = benches()
    ids = [bag.pk for bag in at.bags]
    # Each bench scans in an order of its own, so that they wait for each other crosswise.
    orders = [ids[n % 3 :] + ids[: n % 3] for n in range(BENCHES)]
    results = times(BENCHES, lambda n: pack_one(at, where[n], orders[n]))
    refused = [e for e in results.errors if not isinstance(e, LotwardError)]
    assert refused == []
    serials = results.values
    assert len(set(serials)) == len(serials) == BENCHES
    for bag, each in zip(at.bags, (6, 12, 1), strict=True):
        bag.refresh_from_db()
        assert bag.pieces == 100 - BENCHES * each
        taken = sum(BoxLine.objects.filter(bag=bag).values_list("pieces", flat=True))
        assert bag.pieces + taken == 100
    assert Box.objects.filter(stage=BoxStage.LABELLED).count() == BENCHES
    assert Box.objects.values("sscc").distinct().count() == BENCHES
    assert factories.prove() == []


def test_eight_benches_want_the_last_pieces_and_only_domain_refusals_come(at) -> None:
    factories.sign()
    bag = bag_of(at.band, 20)  # enough for three boxes of 6 and a part of a fourth
    where = benches()
    boxes = [
        packing.start_box(bench_id=pk, size_id=at.size.pk, sign=factories.sign())
        for pk in where
    ]
    signs = [factories.sign(bench_id=pk) for pk in where]
    results = times(
        BENCHES,
        lambda n: packing.bring_bag(bench_id=where[n], bag_id=bag.pk, sign=signs[n]),
    )
    assert sorted(brought.taken for brought in results.values) == [2, 6, 6, 6]
    assert {getattr(error, "code", error) for error in results.errors} == {
        "bag_not_cleared"
    }
    bag.refresh_from_db()
    assert (bag.pieces, bag.stage) == (0, "used_up")
    assert len(boxes) == BENCHES
    assert factories.prove() == []


def test_eight_tablets_at_one_bench_start_one_box(at) -> None:
    signs = [factories.sign(bench_id=at.bench.pk) for _ in range(BENCHES)]
    results = times(
        BENCHES,
        lambda n: packing.start_box(
            bench_id=at.bench.pk, size_id=at.size.pk, sign=signs[n]
        ),
    )
    assert len(results.values) == 1
    codes = {getattr(error, "code", error) for error in results.errors}
    assert codes == {"bench_has_a_box"}
    assert Box.objects.count() == 1
    assert factories.prove() == []


def test_eight_bags_of_one_part_at_one_bench_leave_one_open(at) -> None:
    bags = [bag_of(at.band).pk for _ in range(BENCHES)]
    signs = [factories.sign(bench_id=at.bench.pk) for _ in range(BENCHES)]
    results = times(
        BENCHES,
        lambda n: packing.bring_bag(
            bench_id=at.bench.pk, bag_id=bags[n], sign=signs[n]
        ),
    )
    assert results.errors == []
    assert OpenBag.objects.get(bench=at.bench).bag_id in bags


def test_eight_tablets_that_count_one_bag_at_once_miss_its_pieces_once(at) -> None:
    """Each has seen the same bag, and has a key of its own."""
    bag = bag_of(at.visor, 12)
    factories.make_open_box(at.size, at.bench, bag)
    bag.refresh_from_db()
    signs = [factories.sign(bench_id=at.bench.pk) for _ in range(BENCHES)]
    of = {"bench_id": at.bench.pk, "bag_id": bag.pk, "moves": bag.moves}
    results = times(
        BENCHES, lambda n: miscounts.miss_pieces(inside=2, **of, sign=signs[n])
    )
    assert [each.missing for each in results.values] == [2]
    codes = {getattr(error, "code", error) for error in results.errors}
    assert codes == {"bag_moved_since"}
    assert BoxLine.objects.get(bag=bag).pieces == 10
    assert factories.prove() == []


def test_a_box_cancelled_while_bags_come_loses_no_piece(at) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    signs = [factories.sign() for _ in range(3)]
    results = at_once(
        [
            lambda: voiding.cancel_box(
                box_id=box.pk, reason="Wrong size", sign=signs[0]
            ),
            lambda: packing.bring_bag(
                bench_id=at.bench.pk, bag_id=at.visor_bag.pk, sign=signs[1]
            ),
            lambda: packing.bring_bag(
                bench_id=at.bench.pk, bag_id=at.manual_bag.pk, sign=signs[2]
            ),
        ]
    )
    codes = {getattr(error, "code", error) for error in results.errors}
    assert codes <= {"page_is_old"}
    for bag in at.bags:
        bag.refresh_from_db()
        taken = sum(BoxLine.objects.filter(bag=bag).values_list("pieces", flat=True))
        assert bag.pieces + taken == 100
    assert factories.prove() == []


def test_a_hold_and_eight_closings_never_miss_each_other(at) -> None:
    """After a hold has answered, nothing that it reaches is closed any more."""
    boxes = [
        factories.make_open_box(at.size, None, *at.bags).pk for _ in range(BENCHES)
    ]
    signs = [factories.sign() for _ in range(BENCHES + 1)]
    seen: list[int] = []

    def hold() -> None:
        placed = holds.place_hold(
            target="lot", value=at.band_bag.lot_id, reason="Haze", sign=signs[-1]
        )
        seen.append(placed.boxes_here)
        seen.append(Box.objects.filter(stage=BoxStage.CLOSED).count())

    closings = [
        lambda n=n: packing.close_box(box_id=boxes[n], sign=signs[n])
        for n in range(BENCHES)
    ]
    results = at_once([*closings, hold])
    codes = {getattr(error, "code", error) for error in results.errors}
    assert codes <= {"held_in_box"}
    closed_at_the_end = Box.objects.filter(stage=BoxStage.CLOSED).count()
    assert seen == [BENCHES, closed_at_the_end]


def test_a_hold_and_eight_scans_never_miss_each_other(at) -> None:
    """After a hold has answered, nothing goes into a box that it reaches."""
    where = [factories.make_bench() for _ in range(BENCHES)]
    for bench in where:
        factories.make_open_box(at.size, bench, at.band_bag)
    bags = [bag_of(at.visor).pk for _ in range(BENCHES)]
    signs = [factories.sign() for _ in range(BENCHES + 1)]
    seen: list[int] = []

    def hold() -> None:
        lot = at.band_bag.lot_id
        holds.place_hold(target="lot", value=lot, reason="Haze", sign=signs[-1])
        seen.append(BoxLine.objects.filter(bag__in=bags).count())

    scans = [
        lambda n=n: packing.bring_bag(
            bench_id=where[n].pk, bag_id=bags[n], sign=signs[n]
        )
        for n in range(BENCHES)
    ]
    results = at_once([hold, *scans])
    refused = [getattr(error, "code", error) for error in results.errors]
    assert set(refused) <= {"held_in_box"}
    assert seen == [BENCHES - len(refused)]
    assert seen == [BoxLine.objects.filter(bag__in=bags).count()]
    assert factories.prove() == []


def test_a_hold_and_eight_label_scans_never_miss_each_other(at) -> None:
    """After a hold has answered, no box that it reaches is labelled any more."""
    boxes = [factories.make_closed_box(size=at.size) for _ in range(BENCHES)]
    for box in boxes:
        print_box_label(box_id=box.pk, sign=factories.sign())
    revision = boxes[0].lines.earliest("pk").lot.revision_id
    signs = [factories.sign() for _ in range(BENCHES + 1)]
    seen: list[int] = []

    def labelled() -> int:
        return Box.objects.filter(stage=BoxStage.LABELLED).count()

    def hold() -> None:
        what = {"target": "revision", "value": revision, "reason": "Haze"}
        holds.place_hold(**what, sign=signs[-1])
        seen.append(labelled())

    scans = [
        lambda n=n: packing.see_label(
            box_id=boxes[n].pk, read=str(boxes[n].serial), sign=signs[n]
        )
        for n in range(BENCHES)
    ]
    results = at_once([hold, *scans])
    refused = [getattr(error, "code", error) for error in results.errors]
    assert set(refused) <= {"box_on_hold"}
    assert seen == [BENCHES - len(refused)] == [labelled()]
    assert factories.prove() == []


# -- One key ------------------------------------------------------------------------


def test_one_scan_sent_eight_times_at_once_has_one_effect(at) -> None:
    box = factories.make_open_box(at.size, at.bench)
    before = (Operation.objects.count(), Movement.objects.count())
    sign = factories.sign(bench_id=at.bench.pk)
    results = times(
        BENCHES,
        lambda _: take_scan(
            bench_id=at.bench.pk,
            text=at.band_bag.number,
            box=box.number,
            purpose="",
            sign=sign,
        ),
    )
    assert results.errors == []
    assert len({str(answer) for answer in results.values}) == 1
    after = (Operation.objects.count(), Movement.objects.count())
    # One act; the bag was placed and packed from.
    assert (after[0] - before[0], after[1] - before[1]) == (1, 2)
    assert BoxLine.objects.get().pieces == 6


def test_one_closing_sent_eight_times_at_once_closes_and_prints_once(at) -> None:
    box = factories.make_open_box(at.size, at.bench, *at.bags)
    sign = factories.sign(bench_id=at.bench.pk, key=uuid4())

    def close() -> str:
        answer = take_scan(
            bench_id=at.bench.pk,
            text="ACT-CLOSE",
            box=box.number,
            purpose="",
            sign=sign,
        )
        return str(answer.outcome)

    results = times(BENCHES, lambda _: close())
    assert results.errors == []
    assert len(set(results.values)) == 1
    assert Print.objects.filter(box=box).count() == 1
    assert list(box.events.order_by("nth").values_list("after", flat=True)) == [
        "open",
        "closed",
    ]
    assert factories.prove() == []
