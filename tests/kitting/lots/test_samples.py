"""Pieces for tests: a movement of their own, and one result."""

from __future__ import annotations

from typing import Any

import pytest

from dispatch.trace.balance import balance_of
from kitting.checking.services import checks
from kitting.domain.errors import LotwardError, Missing, NotEnoughPieces, WrongStage
from kitting.ledger import holds
from kitting.lots.services import lots, samples
from kitting.models import Bag, Link, OpenBag, Sample, SampleResult
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


@once_a_module
def bag() -> Bag:
    return factories.make_bag(pieces=20)


def send(bag: Bag, pieces: int = 3, **changes: Any) -> samples.SentToTest:
    values = {"what_for": "Swab of the band", "sent_to": "Eskmoor laboratory"}
    done = samples.send_to_test(
        **{"bag_id": bag.pk, "pieces": pieces, "sign": sign(), **values, **changes}
    )
    bag.refresh_from_db()
    return done


def result_of(sample_id: int, **changes: Any) -> samples.Known:
    values = {"result": "No growth", "document": "Report 12", "sign": sign()}
    return samples.record_result(sample_id=sample_id, **{**values, **changes})


def test_pieces_leave_the_bag_with_what_they_are_for(bag: Bag) -> None:
    done = send(bag)
    movement = bag.movements.latest("nth")
    assert (movement.kind, movement.delta, movement.reason) == (
        "sampled",
        -3,
        "Swab of the band",
    )
    sample = bag.samples.get()
    assert (sample.pieces, sample.sent_to) == (3, "Eskmoor laboratory")
    assert (done.sample_id, done.left, bag.pieces) == (sample.pk, 17, 17)
    assert factories.prove() == []


def test_the_balance_of_the_lot_says_what_was_sampled(bag: Bag) -> None:
    send(bag)
    balance = balance_of(bag.lot)
    assert (balance.sampled, balance.in_bags, balance.difference) == (3, 17, 0)


def test_the_last_piece_uses_the_bag_up(bag: Bag) -> None:
    boxes.bring_bag(bench_id=factories.make_bench().pk, bag_id=bag.pk, sign=sign())
    assert send(bag, 20).left == 0
    assert bag.stage == "used_up"
    assert not OpenBag.objects.filter(bag=bag).exists()
    assert factories.prove() == []


@pytest.mark.parametrize("stage", ["arrived", "accepted", "rejected"])
def test_a_bag_of_any_stage_gives_a_sample(stage: str) -> None:
    lot = factories.make_lot(bags=(lots.NewBag(9),))
    bag: Bag = lot.bags.get()
    if stage != "arrived":
        checks.give_verdict(
            lot_id=lot.pk,
            accept=stage == "accepted",
            found=0 if stage == "accepted" else 9,
            reason="Warped",
            sign=sign(),
        )
    assert send(bag, 2).left == 7
    assert bag.stage == stage
    assert factories.prove() == []


def test_a_held_bag_gives_a_sample(bag: Bag) -> None:
    holds.place_hold(target="bag", value=bag.pk, reason="Test it", sign=sign())
    assert send(bag).left == 17


def test_a_bag_that_waits_for_its_verdict_keeps_a_piece() -> None:
    revision = factories.make_revision()
    lot = factories.accept(factories.make_lot(revision, bags=(lots.NewBag(3),)))
    bag: Bag = lot.bags.get()
    factories.expose(factories.open_run(factories.make_protocol(revision)), bag)
    with pytest.raises(LotwardError) as caught:
        send(bag, 3)
    assert_refused(caught.value, "exposed_bag_emptied", bag=bag.number)
    assert send(bag, 2).left == 1
    assert factories.prove() == []


def test_nothing_is_taken_off_the_line(bag: Bag) -> None:
    Bag.objects.filter(pk=bag.pk).update(stage="in_run")
    with pytest.raises(WrongStage) as caught:
        send(bag)
    assert_refused(caught.value, "bag_wrong_stage")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"pieces": 0}, "pieces_out_of_range"),
        ({"pieces": -3}, "pieces_out_of_range"),
        ({"pieces": 10**12}, "pieces_out_of_range"),
        ({"pieces": 21}, "not_enough_pieces"),
        ({"what_for": "  "}, "entry_missing"),
        ({"what_for": "x" * 121}, "entry_too_long"),
        ({"sent_to": ""}, "entry_missing"),
        ({"sent_to": "x" * 81}, "entry_too_long"),
    ],
)
def test_a_sample_that_makes_no_sense_is_not_sent(
    changes: dict[str, Any], code: str, bag: Bag
) -> None:
    links = Link.objects.count()
    with pytest.raises(LotwardError) as caught:
        send(bag, **changes)
    assert_refused(caught.value, code)
    bag.refresh_from_db()
    assert (bag.pieces, Sample.objects.count()) == (20, 0)
    assert Link.objects.count() == links
    assert isinstance(caught.value, NotEnoughPieces) == (code == "not_enough_pieces")


def test_a_sample_sent_twice_is_one_sample(bag: Bag) -> None:
    once = sign()
    assert send(bag, sign=once) == send(bag, sign=once)
    assert (bag.pieces, Sample.objects.count()) == (17, 1)


def test_a_result_is_recorded_once(bag: Bag) -> None:
    done = send(bag)
    once = sign()
    known = result_of(done.sample_id, sign=once)
    assert result_of(done.sample_id, sign=once) == known
    assert (known.bag, known.lot) == (bag.number, bag.lot.number)
    found = SampleResult.objects.get()
    assert (found.result, found.document) == ("No growth", "Report 12")
    with pytest.raises(WrongStage) as caught:
        result_of(done.sample_id, result="Growth")
    assert_refused(caught.value, "sample_has_a_result", bag=bag.number)
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"result": " "}, "entry_missing"),
        ({"result": "x" * 201}, "entry_too_long"),
        ({"document": "x" * 121}, "entry_too_long"),
    ],
)
def test_a_result_that_says_nothing_is_not_recorded(
    changes: dict[str, str], code: str, bag: Bag
) -> None:
    done = send(bag)
    with pytest.raises(LotwardError) as caught:
        result_of(done.sample_id, **changes)
    assert_refused(caught.value, code)
    assert SampleResult.objects.count() == 0


def test_no_sample_no_result() -> None:
    with pytest.raises(Missing):
        result_of(1)
