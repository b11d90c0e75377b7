"""Many acts at one moment: one effect a key, one chain, no piece lost."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from django.db import connection

from kitting.domain.errors import OperationKeyReused
from kitting.domain.stages import MovementKind
from kitting.ledger import locking, proof
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.services import blanks, lots
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import Bag, JournalHead, Link, Lot, Movement, Operation
from tests import factories
from tests.concurrency import twins
from tests.concurrency.threads import at_once, meeting, times

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)

THREADS = 8
ACTS = 20


@dataclass(frozen=True)
class Taken:
    """A piece taken out."""

    left: int


def take_one(bag_id: int, sign: Sign) -> Taken:
    """Take one piece out of a bag, by the steps and locks that the services use."""

    def work(act: Act) -> Taken:
        bag = locking.lock_row(Bag, bag_id)
        moved = change(bag, Change(MovementKind.SCRAPPED, 1, sign=-1))
        save_bags([bag])
        act.write(moved)
        return Taken(left=bag.pieces)

    return perform("take_one", work, Taken, sign, bag=bag_id)


# -- Controls: the races are real ---------------------------------------------------


@control
def test_control_without_the_head_lock_the_chain_forks() -> None:
    person, meet = factories.make_person(), meeting(THREADS)

    def act(_: int) -> None:
        for _round in range(5):
            twins.act_without_the_head_lock(person, meet)

    results = times(THREADS, act)
    assert results.errors == []
    assert Link.objects.count() == THREADS * 5
    # Each link was put after the head: had they queued, the head would count them all.
    assert JournalHead.objects.get().seq < THREADS * 5


@control
def test_control_without_the_row_lock_pieces_are_lost() -> None:
    bag, meet = factories.make_bag(pieces=100), meeting(THREADS)
    results = times(
        THREADS, lambda _: twins.take_one_piece_without_the_row_lock(bag.pk, meet)
    )
    assert results.errors == []
    bag.refresh_from_db()
    assert bag.pieces > 100 - THREADS


# -- The real thing -----------------------------------------------------------------


def test_eight_people_take_from_one_bag_and_every_piece_counts() -> None:
    bag = factories.make_bag(pieces=100)
    signs = [factories.sign() for _ in range(THREADS * 5)]

    def act(n: int) -> list[int]:
        mine = signs[n::THREADS]
        return [take_one(bag.pk, sign).left for sign in mine]

    results = times(THREADS, act)
    assert results.errors == []
    lefts = sorted(left for given in results.values for left in given)
    assert lefts == list(range(60, 100))
    bag.refresh_from_db()
    assert (bag.pieces, bag.moves) == (60, bag.movements.count())
    assert factories.prove() == []


def test_one_key_sent_eight_times_at_once_has_one_effect() -> None:
    revision = factories.make_revision()
    sign = factories.sign()
    sent = [factories.new_lot(revision)]
    results = times(THREADS, lambda _: lots.take_in(lots=sent, sign=sign))
    assert results.errors == []
    assert len({str(outcome) for outcome in results.values}) == 1
    assert len(results.values) == THREADS
    counts = (Operation.objects.count(), Link.objects.count(), Lot.objects.count())
    assert counts == (1, 1, 1)
    assert Movement.objects.count() == 1
    assert factories.prove() == []


def test_one_key_with_eight_contents_at_once_has_one_effect() -> None:
    sign = factories.sign()
    results = times(
        THREADS, lambda n: blanks.give_out_numbers(count=n + 1, sign=sign).numbers
    )
    assert len(results.values) == 1
    assert {type(error) for error in results.errors} == {OperationKeyReused}
    assert Operation.objects.count() == 1
    assert factories.prove() == []


def test_eight_people_at_once_make_one_chain() -> None:
    signs = [factories.sign() for _ in range(THREADS * ACTS)]

    def act(n: int) -> list[str]:
        mine = signs[n::THREADS]
        return [
            number
            for sign in mine
            for number in blanks.give_out_numbers(count=1, sign=sign).numbers
        ]

    results = times(THREADS, act)
    assert results.errors == []
    numbers = [number for given in results.values for number in given]
    assert len(set(numbers)) == THREADS * ACTS
    seqs = Link.objects.order_by("seq").values_list("seq", flat=True)
    assert list(seqs) == list(range(1, THREADS * ACTS + 1))
    assert JournalHead.objects.get().seq == THREADS * ACTS
    assert factories.prove() == []


def test_the_proof_holds_while_people_work() -> None:
    """Eight proofs beside three writers: no count is read from two moments."""
    bags = [factories.make_bag(pieces=100) for _ in range(3)]
    signs = [factories.sign() for _ in range(3 * ACTS)]
    factories.seal_set_up()

    def work(n: int) -> int:
        return len([take_one(bags[n].pk, sign) for sign in signs[n::3]])

    results = at_once(
        [
            *(lambda n=n: work(n) for n in range(3)),  # type: ignore[misc]
            *(proof.prove for _ in range(5)),
        ]
    )
    assert results.of == [ACTS] * 3 + [[]] * 5
