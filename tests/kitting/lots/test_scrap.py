"""Pieces that are scrapped: of any stage, for a reason of the list, to the piece."""

from __future__ import annotations

from typing import Any

import pytest

from dispatch.trace.balance import balance_of
from kitting.disinfection.services import runs
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.lots.services import scrap as scraps
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Movement, OpenBag, Operation, Workshop
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

STAGES = ["arrived", "accepted", "in_run", "exposed", "cleared", "rejected"]


@once_a_module
def bag() -> Bag:
    return factories.make_bag(pieces=20)


def scrap(bag: Bag, pieces: int = 3, **changes: Any) -> scraps.Scrapped:
    values = {"reason": "Dropped", "sign": sign(), **changes}
    done = scraps.scrap(bag_id=bag.pk, pieces=pieces, **values)
    bag.refresh_from_db()
    return done


def refused(bag: Bag, pieces: int = 3, **changes: Any) -> LotwardError:
    before = Operation.objects.count(), Movement.objects.count()
    with pytest.raises(LotwardError) as caught:
        scrap(bag, pieces, **changes)
    assert (Operation.objects.count(), Movement.objects.count()) == before
    return caught.value


def bag_at(stage: str) -> Bag:
    """A bag of 9 pieces at a stage, led there by acts."""
    revision = factories.make_revision()
    lot = factories.make_lot(revision, bags=(NewBag(9),))
    bag: Bag = lot.bags.get()
    if stage == "rejected":
        factories.reject(lot)
    elif stage != "arrived":
        factories.accept(lot)
    if stage in ("in_run", "exposed", "cleared"):
        run = factories.open_run(factories.make_protocol(revision))
        if stage == "in_run":
            runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign())
        else:
            factories.expose(run, bag)
        if stage == "cleared":
            factories.close_run(run)
    bag.refresh_from_db()
    assert bag.stage == stage
    return bag


@pytest.mark.smoke
def test_pieces_of_a_bag_of_any_stage_are_scrapped(subtests: pytest.Subtests) -> None:
    for stage in STAGES:
        with subtests.test(stage=stage):
            bag = bag_at(stage)
            done = scrap(bag, 2, note="Two heads")
            assert (done.left, done.reason) == (7, "Dropped: Two heads")
            assert (bag.stage, bag.pieces) == (stage, 7)
            movement = bag.movements.latest("nth")
            assert (movement.kind, movement.delta) == ("scrapped", -2)
            assert movement.reason == "Dropped: Two heads"
            balance = balance_of(bag.lot)
            assert (balance.scrapped, balance.in_bags, balance.difference) == (2, 7, 0)
    assert factories.prove() == []


def test_the_same_act_sent_again_scraps_once(bag: Bag) -> None:
    key = sign()
    assert scrap(bag, sign=key) == scrap(bag, sign=key)
    assert bag.pieces == 17


def test_the_last_piece_uses_the_bag_up(bag: Bag) -> None:
    boxes.bring_bag(bench_id=factories.make_bench().pk, bag_id=bag.pk, sign=sign())
    assert scrap(bag, 20).left == 0
    assert bag.stage == "used_up"
    assert not OpenBag.objects.filter(bag=bag).exists()
    assert factories.prove() == []


def test_held_pieces_are_scrapped_too(bag: Bag) -> None:
    holds.place_hold(target="bag", value=bag.pk, reason="Damp", sign=sign())
    assert scrap(bag).left == 17
    assert factories.prove() == []


@pytest.mark.parametrize("stage", ["in_run", "exposed"])
def test_a_bag_keeps_a_piece_until_its_run_has_ended(stage: str) -> None:
    bag = bag_at(stage)
    assert_refused(refused(bag, pieces=9), "exposed_bag_emptied", bag=bag.number)
    assert scrap(bag, 8).left == 1
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"pieces": 0}, "pieces_out_of_range"),
        ({"pieces": -3}, "pieces_out_of_range"),
        ({"pieces": 10**12}, "pieces_out_of_range"),
        ({"pieces": 21}, "not_enough_pieces"),
        ({"reason": ""}, "scrap_reason_unknown"),
        ({"reason": "Bored"}, "scrap_reason_unknown"),
        ({"note": "x" * 151}, "entry_too_long"),
        ({"moves": 1}, "bag_moved_since"),
    ],
)
def test_what_makes_no_sense_is_refused(
    changes: dict[str, Any], code: str, bag: Bag
) -> None:
    assert refused(bag, **changes).code == code


def test_the_reasons_are_the_workshops_own(bag: Bag) -> None:
    Workshop.objects.update(scrap_reasons="Burnt\n\n Torn ")
    assert_refused(refused(bag), "scrap_reason_unknown", read="Dropped")
    assert scrap(bag, reason="Torn").reason == "Torn"
