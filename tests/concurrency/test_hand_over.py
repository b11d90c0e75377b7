"""A hand-over at the same moment as a scan, a closing, a hold, or another hand-over."""

from __future__ import annotations

from functools import partial

import pytest
from django.db import IntegrityError, connection, transaction

from kitting.domain.stages import BoxStage
from kitting.ledger import holds
from kitting.ledger.reach import held_boxes, standing_reach
from kitting.models import Bag, Box, BoxHanded, BoxLine, Hold, OpenBag, Operation
from kitting.packing.services import boxes as packing
from kitting.packing.services.closing import close_box
from kitting.packing.services.hand_over import HandedOver, hand_over
from tests import factories
from tests.benches import Packing, make_packing
from tests.concurrency.threads import at_once, meeting, times
from tests.concurrency.twins import Meet, hold_without_the_gate

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture
def at() -> Packing:
    return make_packing()


def code_of(result: object) -> str:
    return str(getattr(result, "code", result))


def codes(errors: list[BaseException]) -> list[str]:
    return sorted(map(code_of, errors))


def give(box: Box, to_id: int, **more: object) -> HandedOver:
    of = {"bench_id": box.bench_id, "box_id": box.pk, "to_id": to_id} | more
    return hand_over(**of, sign=factories.sign())  # type: ignore[arg-type]


def move_without_locks(box_id: int, to_id: int, meet: Meet) -> None:
    """Give a box to a bench as ``hand_over`` would without its locks and its look."""
    with transaction.atomic(durable=True):
        box = Box.objects.get(pk=box_id)
        others = Box.objects.filter(bench=to_id, stage=BoxStage.OPEN).count()
        meet()
        assert others == 0
        operation = Operation.objects.latest("pk")
        BoxHanded.objects.create(
            box=box, before_id=box.bench_id, bench_id=to_id, operation=operation
        )
        Box.objects.filter(pk=box_id).update(bench=to_id)


# -- Controls: the races are real -----------------------------------------------------


@control
def test_control_without_the_benchs_lock_two_boxes_collide_at_one_bench(at) -> None:
    boxes = [factories.make_open_box(at.size).pk for _ in range(2)]
    to, meet = factories.make_bench().pk, meeting(2)
    results = times(2, lambda n: move_without_locks(boxes[n], to, meet))
    assert [type(error) for error in results.errors] == [IntegrityError]


@control
def test_control_without_the_benchs_lock_a_scan_goes_into_a_box_that_left(at) -> None:
    box = factories.make_open_box(at.size, at.bench)
    to, meet = factories.make_bench().pk, meeting(2)

    def scan_without_locks() -> None:
        with transaction.atomic(durable=True):
            here = Box.objects.get(bench=at.bench, stage=BoxStage.OPEN)
            meet()
            what = {"bag": at.band_bag, "lot": at.band_bag.lot, "pieces": 6}
            BoxLine.objects.create(box=here, **what)

    move = partial(move_without_locks, box.pk, to, meet)
    assert at_once([scan_without_locks, move]).errors == []
    box.refresh_from_db()
    # What was scanned at the one bench lies in the box at the other.
    assert (box.bench_id, box.lines.count()) == (to, 1)


@control
def test_control_without_the_gate_a_hold_and_a_hand_over_miss_each_other(at) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    to, meet, by = factories.make_bench().pk, meeting(2), factories.sign().by

    def went() -> int:
        return BoxHanded.objects.filter(box=box).count()

    def move() -> int:
        with transaction.atomic(durable=True):
            held = list(held_boxes(standing_reach()))
            meet()
            operation = Operation.objects.earliest("pk")
            BoxHanded.objects.create(
                box=box, before=at.bench, bench_id=to, operation=operation
            )
            Box.objects.filter(pk=box.pk).update(bench=to)
        return len(held)

    hold = partial(hold_without_the_gate, by, at.band_bag.lot_id, went, meet)
    assert at_once([hold, move]).of == [0, 0]
    assert (went(), Hold.objects.count()) == (1, 1)


# -- With the locks -------------------------------------------------------------------


def test_two_benches_hand_over_to_the_same_one_and_it_takes_one_box(at) -> None:
    boxes = [factories.make_open_box(at.size) for _ in range(4)]
    to = factories.make_bench().pk
    results = times(4, lambda n: give(boxes[n], to))
    assert len(results.values) == 1
    assert set(codes(results.errors)) == {"bench_has_a_box"}
    assert Box.objects.filter(bench=to).count() == 1
    assert factories.prove() == []


def test_two_benches_that_hand_over_to_each_other_wait_for_nobody(at) -> None:
    """Each has a box, so neither takes one; and neither waits for the other for good."""
    first, second = (factories.make_open_box(at.size) for _ in range(2))
    results = at_once(
        [
            lambda: give(first, second.bench_id),
            lambda: give(second, first.bench_id),
        ]
    )
    assert codes(results.errors) == ["bench_has_a_box", "bench_has_a_box"]


def test_a_box_that_is_handed_to_two_benches_goes_to_one(at) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    benches = [factories.make_bench().pk for _ in range(4)]
    results = times(4, lambda n: give(box, benches[n]))
    assert len(results.values) == 1
    assert set(codes(results.errors)) == {"bench_has_another_box"}
    box.refresh_from_db()
    assert BoxHanded.objects.get().bench_id == box.bench_id
    assert factories.prove() == []


def test_a_hand_over_and_a_start_at_the_bench_that_takes_it(at) -> None:
    box = factories.make_open_box(at.size, at.bench)
    to = factories.make_bench().pk
    sign = factories.sign()
    results = at_once(
        [
            lambda: give(box, to),
            lambda: packing.start_box(bench_id=to, size_id=at.size.pk, sign=sign),
        ]
    )
    assert codes(results.errors) == ["bench_has_a_box"]
    assert Box.objects.filter(bench=to).count() == 1


@pytest.mark.parametrize("nth", range(3))
def test_a_scan_goes_in_before_the_hand_over_or_not_at_all(at, nth: int) -> None:
    """What it left open goes along where it was before, and stays where it was after."""
    box = factories.make_open_box(at.size, at.bench)
    to, bag = factories.make_bench().pk, at.band_bag
    what = {"bench_id": at.bench.pk, "bag_id": bag.pk, "sign": factories.sign()}
    acts = [lambda: give(box, to), lambda: packing.bring_bag(**what)]
    results = at_once(acts if nth % 2 else acts[::-1])
    assert results.errors == []
    inside = sum(BoxLine.objects.filter(box=box).values_list("pieces", flat=True))
    assert inside in (0, 6)
    where = OpenBag.objects.get(bag=bag).bench_id
    assert where == (to if inside else at.bench.pk)
    bag = Bag.objects.get(pk=bag.pk)
    assert bag.pieces + inside == 100
    assert factories.prove() == []


def test_a_box_is_closed_here_or_handed_over_not_both(at) -> None:
    box = factories.make_open_box(at.size, at.bench, *at.bags)
    to, here = factories.make_bench().pk, factories.sign(bench_id=at.bench.pk)
    results = at_once(
        [lambda: give(box, to), lambda: close_box(box_id=box.pk, sign=here)]
    )
    box.refresh_from_db()
    if box.stage == BoxStage.CLOSED:
        assert codes(results.errors) == ["only_open_box_handed_over"]
        assert box.bench == at.bench
    else:
        assert codes(results.errors) == ["bench_has_another_box"]
        assert box.bench_id == to
    assert factories.prove() == []


@pytest.mark.parametrize("nth", range(3))
def test_a_hold_and_six_hand_overs_never_miss_each_other(at, nth: int) -> None:
    """After a hold has answered, no box that it reaches goes to another bench."""
    boxes = [factories.make_open_box(at.size, None, at.band_bag) for _ in range(6)]
    benches = [factories.make_bench().pk for _ in range(6)]
    sign, seen = factories.sign(), list[int]()

    def hold() -> None:
        lot = at.band_bag.lot_id
        holds.place_hold(target="lot", value=lot, reason="Haze", sign=sign)
        seen.append(BoxHanded.objects.count())

    gives = [lambda n=n: give(boxes[n], benches[n]) for n in range(6)]
    results = at_once([*gives[:nth], hold, *gives[nth:]])
    assert set(codes(results.errors)) <= {"held_in_box"}
    assert seen == [BoxHanded.objects.count()] == [6 - len(results.errors)]
    assert factories.prove() == []
