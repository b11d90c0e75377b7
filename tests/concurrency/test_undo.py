"""Two tablets, another bench or a hold at the moment in which an act is undone."""

from __future__ import annotations

import threading
from functools import partial
from types import SimpleNamespace

import pytest
from django.db import connection, transaction
from django.db.models import F

from kitting.ledger import bulk, holds
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.intake import NewBag
from kitting.models import Bag, BoxLine, Hold, OpenBag
from kitting.packing.queries.undo import acts_at
from kitting.packing.services import boxes
from kitting.packing.services import undo as service
from kitting.packing.services.undo import undo
from tests import factories
from tests.benches import Packing, make_packing
from tests.concurrency.threads import at_once, meeting, times
from tests.concurrency.twins import Meet, hold_without_the_gate
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
TABLETS = 6
WAITS_S = 2
"""So long an act holds its locks for another one to meet it."""


@pytest.fixture
def at() -> Packing:
    """A box in which twelve visors are, by the last scan at its bench."""
    made = make_packing()
    of = {"bench_id": made.bench.pk}
    boxes.start_box(**of, size_id=made.size.pk, sign=factories.sign(**of))
    boxes.bring_bag(**of, bag_id=made.visor_bag.pk, sign=factories.sign(**of))
    return made


def last_of(at: Packing) -> int:
    last = acts_at(at.bench.pk).last
    assert last is not None
    return last.pk


def inside() -> int:
    return sum(BoxLine.objects.values_list("pieces", flat=True))


def undo_without_locks(at: Packing, meet: Meet) -> int:
    """Undo the scan as ``undo`` would without the bench's lock and the gate."""
    with transaction.atomic(durable=True):
        last, held = last_of(at), bool(standing_reach())
        meet()
        if held:
            return 0
        pieces = Bag.objects.filter(pk=at.visor_bag.pk)
        pieces.update(pieces=F("pieces") + 12)
        BoxLine.objects.filter(bag=at.visor_bag).delete()
    return last


@control
def test_control_without_the_benchs_lock_pieces_come_back_twice(at: Packing) -> None:
    meet = meeting(2)
    results = times(2, lambda _n: undo_without_locks(at, meet))
    assert results.errors == []
    assert Bag.objects.get(pk=at.visor_bag.pk).pieces == 112


@control
def test_control_without_the_gate_an_undo_and_a_hold_miss_each_other(
    at: Packing,
) -> None:
    meet, by, lot = meeting(2), factories.sign().by, at.visor_bag.lot_id
    results = at_once(
        [
            partial(hold_without_the_gate, by, lot, inside, meet),
            partial(undo_without_locks, at, meet),
        ]
    )
    assert results.errors == []
    assert (results.of[0], inside(), Hold.objects.count()) == (12, 0, 1)


def test_six_tablets_undo_an_act_once(at: Packing) -> None:
    of = {"bench_id": at.bench.pk}
    signs = [factories.sign(**of) for _ in range(TABLETS)]
    act_id = last_of(at)
    results = times(TABLETS, lambda n: undo(**of, act_id=act_id, sign=signs[n]))
    assert [each.back for each in results.values] == [
        f"12 × Visor ({at.visor_bag.number})"
    ]
    codes = {getattr(error, "code", error) for error in results.errors}
    assert codes == {"undone_already"}
    at.visor_bag.refresh_from_db()
    assert (at.visor_bag.pieces, inside()) == (100, 0)
    assert factories.prove() == []


def test_a_bag_goes_on_or_back_never_both(at: Packing) -> None:
    """Another bench scans the bag in the moment in which its scan is undone here."""
    of, there = {"bench_id": at.bench.pk}, factories.make_bench()
    boxes.start_box(bench_id=there.pk, size_id=at.size.pk, sign=factories.sign())
    signs = [factories.sign(**of), factories.sign(bench_id=there.pk)]
    act_id, bag_id = last_of(at), at.visor_bag.pk
    results = at_once(
        [
            lambda: undo(**of, act_id=act_id, sign=signs[0]),
            lambda: boxes.bring_bag(bench_id=there.pk, bag_id=bag_id, sign=signs[1]),
        ]
    )
    codes = [getattr(error, "code", error) for error in results.errors]
    assert codes in ([], ["rests_on_act"])
    assert OpenBag.objects.get(bag=bag_id).bench == there
    at.visor_bag.refresh_from_db()
    assert at.visor_bag.pieces + inside() == 100
    assert inside() == (24 if codes else 12)
    assert factories.prove() == []


def test_a_hold_and_six_undos_never_miss_each_other(at: Packing) -> None:
    """What a hold was told to be in boxes stays in them."""
    bags = factories.make_lot(at.visor, bags=(NewBag(100),) * TABLETS).bags
    undos, signs = [], [factories.sign() for _ in range(TABLETS + 1)]
    for n, bag in enumerate(bags.order_by("pk")):
        of = {"bench_id": factories.make_bench().pk}
        boxes.start_box(**of, size_id=at.size.pk, sign=factories.sign(**of))
        boxes.bring_bag(**of, bag_id=bag.pk, sign=factories.sign(**of))
        last = acts_at(of["bench_id"]).last
        assert last is not None
        undos.append(partial(undo, **of, act_id=last.pk, sign=signs[n]))
    why = {"target": "lot", "value": bag.lot_id, "reason": "Haze"}
    hold = partial(holds.place_hold, **why, sign=signs[-1])
    results = at_once([*undos[:3], hold, *undos[3:]])
    codes = [getattr(error, "code", error) for error in results.errors]
    assert set(codes) <= {"held_in_box"}
    (told,) = [each for each in results.values if isinstance(each, holds.Held)]
    assert told.boxes_here == len(codes)
    inside = BoxLine.objects.filter(lot=bag.lot_id).values_list("pieces", flat=True)
    assert list(inside) == [12] * len(codes)
    assert factories.prove() == []


def test_a_bag_comes_back_to_a_bench_that_opens_another_one(
    at: Packing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That bench scans another one just before the bag is open there again."""
    there, of = factories.make_bench(), {"bench_id": at.bench.pk}
    first, other = factories.make_lot(at.visor, bags=(NewBag(100),) * 2).bags.all()
    for bench_id in (there.pk, at.bench.pk):
        who = factories.sign(bench_id=bench_id)
        boxes.bring_bag(bench_id=bench_id, bag_id=first.pk, sign=who)
    about_to, brought = threading.Event(), threading.Event()

    def insert(rows: list[OpenBag]) -> None:
        if rows[0].bench == there:
            about_to.set()
            brought.wait(WAITS_S)  # in vain where the other bench waits for this one
        bulk.insert(rows)

    patched = SimpleNamespace(insert=insert, update=bulk.update)
    monkeypatch.setattr(service, "bulk", patched)
    signs, last = [factories.sign(**of), factories.sign()], last_of(at)

    def bring() -> None:
        about_to.wait(PATIENCE_S)
        boxes.bring_bag(bench_id=there.pk, bag_id=other.pk, sign=signs[1])
        brought.set()

    results = at_once([partial(undo, **of, act_id=last, sign=signs[0]), bring])
    assert results.errors == []
    assert OpenBag.objects.get(bench=there).bag == other
    assert factories.prove() == []
