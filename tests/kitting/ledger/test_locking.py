"""Locks, gates and snapshots."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import DatabaseError, OperationalError, connection, transaction
from django.test.utils import CaptureQueriesContext

from kitting.domain.errors import Missing
from kitting.ledger import locking
from kitting.ledger.kept import Kept
from kitting.lots.services.blanks import give_out_numbers
from kitting.models import Bag, Bench, JournalHead, Link, Lot, Place, Workshop
from tests import factories, ledgers
from tests.concurrency import twins
from tests.concurrency.threads import at_once, meeting
from tests.patience import PATIENCE_S

SOON_S = 0.3
"""What is not done by then is waiting."""

postgresql_only = pytest.mark.skipif(
    connection.vendor != "postgresql",
    reason="SQLite has no row locks: a transaction locks the whole file",
)
transactional = pytest.mark.django_db(transaction=True)


@contextmanager
def meanwhile(act: Callable[[], Any]) -> Iterator[threading.Event]:
    """Run an act in another thread; gives an event that is set when it is done."""
    done = threading.Event()
    results: list[Any] = []

    def run() -> None:
        results.append(at_once([act]))
        done.set()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    yield done
    thread.join(PATIENCE_S)
    assert results, "The other thread never ended."
    assert results[0].errors == []


# -- Rows ---------------------------------------------------------------------------


@pytest.mark.django_db
def test_rows_are_given_by_id_whatever_the_order_of_asking() -> None:
    """Lots come newest first by themselves: two acts would meet crosswise."""
    one, two, three = (factories.make_lot().pk for _ in range(3))
    with transaction.atomic():
        found = locking.lock_rows(Lot, [three, one, three, two])
    assert list(found) == sorted([one, two, three])


@pytest.mark.django_db
def test_rows_are_locked_in_the_order_of_their_ids_by_one_statement() -> None:
    ids = [factories.make_lot().pk for _ in range(3)]
    with transaction.atomic(), CaptureQueriesContext(connection) as queries:
        locking.lock_rows(Lot, ids)
    (sql,) = [q["sql"] for q in queries if "kitting_lot" in q["sql"]]
    assert 'ORDER BY "kitting_lot"."id" ASC' in sql
    assert ("FOR NO KEY UPDATE OF" in sql) == (connection.vendor == "postgresql")


@pytest.mark.django_db
def test_a_locked_row_is_read_afresh() -> None:
    bag = factories.make_bag()
    place = factories.make_place()
    Bag.objects.filter(pk=bag.pk).update(place=place)
    with transaction.atomic():
        assert locking.lock_row(Bag, bag.pk).place_id == place.pk
    assert bag.place_id is None


@pytest.mark.django_db
def test_a_row_that_is_not_there_is_missing() -> None:
    bag = factories.make_bag()
    with pytest.raises(Missing) as refusal, transaction.atomic():
        locking.lock_rows(Bag, [bag.pk, 1])
    assert refusal.value.params == {"what": "bag"}


@pytest.mark.parametrize(
    "lock",
    [
        lambda: locking.lock_rows(Bag, [1]),
        lambda: locking.lock_row(Bag, 1),
        lambda: locking.lock_head(JournalHead(site=1)),
        locking.enter_gate,
        locking.shut_gate,
        locking.wait_for,
    ],
    ids=["lock_rows", "lock_row", "lock_head", "enter_gate", "shut_gate", "wait_for"],
)
@transactional
def test_locking_needs_an_open_transaction(lock: Callable[[], Any]) -> None:
    with pytest.raises(RuntimeError, match="open transaction"):
        lock()


@postgresql_only
@transactional
def test_control_locking_in_any_order_deadlocks() -> None:
    one, two = factories.make_bag().pk, factories.make_bag().pk
    meet = meeting(2)
    results = at_once(
        [
            lambda: twins.lock_in_any_order(one, two, meet),
            lambda: twins.lock_in_any_order(two, one, meet),
        ]
    )
    (error,) = results.errors
    assert isinstance(error, OperationalError)
    assert "deadlock" in str(error)


@transactional
def test_locking_crosswise_waits_and_goes_on() -> None:
    one, two = factories.make_bag().pk, factories.make_bag().pk

    def lock(ids: list[int]) -> int:
        for _ in range(20):
            with transaction.atomic():
                locking.lock_rows(Bag, ids)
        return 20

    results = at_once([lambda: lock([one, two]), lambda: lock([two, one])])
    assert results.of == [20, 20]


@transactional
def test_a_locked_row_is_waited_for() -> None:
    bag = factories.make_bag()

    def lock() -> None:
        with transaction.atomic():
            locking.lock_row(Bag, bag.pk)

    with transaction.atomic():
        locking.lock_row(Bag, bag.pk)
        other = meanwhile(lock)
        done = other.__enter__()
        assert not done.wait(SOON_S)
    assert done.wait(PATIENCE_S)
    other.__exit__(None, None, None)


@postgresql_only
@pytest.mark.parametrize("held", [0, 1])
@transactional
def test_rows_of_several_tables_are_waited_for_by_one_statement(held: int) -> None:
    """In their order: what stands behind one that is waited for is still free."""
    rows = [(Bench, factories.make_bench().pk), (Bag, factories.make_bag().pk)]

    def wait() -> None:
        with transaction.atomic(), CaptureQueriesContext(connection) as queries:
            locking.wait_for(*rows)
        assert len(queries) == 1

    with transaction.atomic():
        locking.lock_row(*rows[held])
        other = meanwhile(wait)
        done = other.__enter__()
        assert not done.wait(SOON_S)
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT id FROM {Bag._meta.db_table} FOR NO KEY UPDATE SKIP LOCKED"
            )
            assert len(cursor.fetchall()) == 1
    assert done.wait(PATIENCE_S)
    other.__exit__(None, None, None)


@postgresql_only
@transactional
def test_a_locked_bag_may_be_named_by_new_rows() -> None:
    """``no_key``: what refers to a locked row is inserted without waiting."""
    bag = factories.make_bag()
    bench = factories.make_bench()

    def open_bag() -> None:
        bench.open_bags.create(part=bag.lot.part, bag=bag)

    with transaction.atomic():
        locking.lock_row(Bag, bag.pk)
        with meanwhile(open_bag) as done:
            assert done.wait(PATIENCE_S)


# -- Gates --------------------------------------------------------------------------


def _through(gate: Callable[[], None]) -> Callable[[], None]:
    def go() -> None:
        with transaction.atomic():
            gate()

    return go


@postgresql_only
@transactional
def test_many_enter_the_gate_at_once() -> None:
    with transaction.atomic():
        locking.enter_gate()
        with meanwhile(_through(locking.enter_gate)) as done:
            assert done.wait(PATIENCE_S)


@postgresql_only
@pytest.mark.parametrize(
    ("first", "second"),
    [
        (locking.enter_gate, locking.shut_gate),
        (locking.shut_gate, locking.enter_gate),
        (locking.shut_gate, locking.shut_gate),
        (locking.shut_gate, locking.wait_for),
        (locking.wait_for, locking.shut_gate),
    ],
    ids=[
        *("a hold waits for packing", "packing waits for a hold", "holds queue"),
        *("packing waits at once", "a hold waits for what waited"),
    ],
)
@transactional
def test_the_gate_shuts_for_one_alone(
    first: Callable[[], None], second: Callable[[], None]
) -> None:
    with transaction.atomic():
        first()
        other = meanwhile(_through(second))
        done = other.__enter__()
        assert not done.wait(SOON_S)
    assert done.wait(PATIENCE_S)
    other.__exit__(None, None, None)


# -- Snapshots ----------------------------------------------------------------------


def _act() -> None:
    give_out_numbers(count=1, sign=factories.sign())


@transactional
def test_control_without_a_snapshot_two_reads_are_of_two_moments() -> None:
    before = Link.objects.count()
    with meanwhile(_act) as done:
        assert done.wait(PATIENCE_S)
    assert Link.objects.count() == before + 1


@transactional
def test_a_snapshot_is_of_one_moment_and_holds_nobody_up() -> None:
    _act()
    with locking.snapshot():
        before = (Link.objects.count(), JournalHead.objects.get().seq)
        with meanwhile(_act) as done:
            assert done.wait(PATIENCE_S)
        assert (Link.objects.count(), JournalHead.objects.get().seq) == before
    assert Link.objects.count() == before[0] + 1


def _break_down_in_a_snapshot() -> None:
    with locking.snapshot():
        assert Link.objects.count() == 0
        msg = "in the middle"
        raise ConnectionError(msg)


@transactional
def test_a_snapshot_ends_with_its_block_whatever_happens() -> None:
    with pytest.raises(ConnectionError):
        _break_down_in_a_snapshot()
    _act()
    with locking.snapshot():
        assert Link.objects.count() == 1
    assert not connection.in_atomic_block


@transactional
def test_nothing_is_written_in_a_snapshot() -> None:
    with pytest.raises(DatabaseError, match=r"read-?only"), locking.snapshot():
        Place.objects.create(code="SH", name="Shelf")
    assert Place.objects.count() == 0
    Place.objects.create(code="SH", name="Shelf")
    assert Place.objects.count() == 1


@pytest.mark.django_db
def test_a_snapshot_in_a_transaction_sees_what_it_wrote() -> None:
    with transaction.atomic():
        factories.make_place()
        with locking.snapshot():
            assert Place.objects.count() == 1
        assert connection.in_atomic_block


@transactional
def test_an_act_is_never_part_of_another_transaction() -> None:
    """What is acknowledged is committed: a surrounding transaction could undo it."""
    with pytest.raises(RuntimeError, match="durable"), transaction.atomic():
        _act()
    assert Link.objects.count() == 0


# -- Kept queries -------------------------------------------------------------------


@transactional
def test_a_thread_asks_a_kept_query_by_its_own_connection() -> None:
    lot = factories.make_lot()
    ask = Kept(lambda pk: Lot.objects.filter(pk=pk))
    assert ask(lot.pk)[0].made_on == lot.made_on
    (found,) = at_once([lambda: ask(lot.pk)]).values
    assert [(row.pk, row.made_on) for row in found] == [(lot.pk, lot.made_on)]


# -- In one order -----------------------------------------------------------------------

ORDER = (
    *("lot", "bag", "run", "box", "consignee", "product", "shipment", "request"),
    "journalhead",
)


@pytest.mark.django_db
def test_every_act_locks_in_one_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two acts that lock the same rows in two orders wait for each other.

    See PostgreSQL's manual, 13.3.4: the best defence is one order in all of them.
    """
    told = (locking.__doc__ or "").partition("Order inside an act")[2]
    at = [told.find(name[:6]) for name in ORDER[:-1]]
    assert at == sorted(at)
    assert -1 not in at
    locked: list[str] = []
    orders: set[tuple[str, ...]] = set()

    def noting(real: Callable[..., Any], name: Callable[[Any], str]) -> Any:
        def noted(what: Any, *args: Any) -> Any:
            locked.append(name(what))
            return real(what, *args)

        return noted

    def begun(workshop: Workshop) -> JournalHead:
        locked.clear()
        return see(workshop)

    def ended(*head: Any) -> JournalHead:
        orders.add((*(each for each in locked if each in ORDER), "journalhead"))
        return lock(*head)

    see, lock = locking.see_head, locking.lock_head
    rows = noting(locking.lock_rows, lambda model: model._meta.model_name)
    monkeypatch.setattr(locking, "lock_rows", rows)
    found = noting(locking.lock_found, lambda query: query.model._meta.model_name)
    monkeypatch.setattr(locking, "lock_found", found)
    monkeypatch.setattr(locking, "see_head", begun)
    monkeypatch.setattr(locking, "lock_head", ended)
    ledgers.make_history()
    assert ("box", "consignee", "shipment", "journalhead") in orders
    wrong = [each for each in orders if [*each] != sorted(each, key=ORDER.index)]
    assert wrong == []
