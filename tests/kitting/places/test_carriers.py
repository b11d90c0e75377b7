"""Carriers: many bags that are scanned once and move together."""

from __future__ import annotations

import pytest

from kitting.disinfection.services import runs
from kitting.domain.errors import LotwardError
from kitting.domain.numbers import Kind, assign
from kitting.lots.services import counts
from kitting.models import Bag, Carrier, Movement, OpenBag, Operation, Place
from kitting.packing.services import boxes
from kitting.places.queries import where
from kitting.places.services import carriers, places
from kitting.places.services import scans as place_scans
from kitting.web import scans
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db


@once_a_module
def trolley() -> Carrier:
    made = carriers.make_carrier(name=" Blue trolley ", sign=factories.sign())
    return Carrier.objects.get(number=made.carrier)


@once_a_module
def bags() -> list[Bag]:
    return [factories.make_bag(pieces=10) for _ in range(3)]


def load(carrier: Carrier, *bags: Bag) -> carriers.Loaded:
    for bag in bags:
        done = carriers.load_bag(
            carrier_id=carrier.pk, bag_id=bag.pk, sign=factories.sign()
        )
        bag.refresh_from_db()
    carrier.refresh_from_db()
    return done


def put(carrier: Carrier, place: Place) -> carriers.CarrierPut:
    done = carriers.put_carrier(
        carrier_id=carrier.pk, place_id=place.pk, sign=factories.sign()
    )
    carrier.refresh_from_db()
    return done


def assert_refusal(code: str, call, **values) -> LotwardError:
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as error:
        call(**values, sign=factories.sign())
    assert_refused(error.value, code)
    assert Operation.objects.count() == before
    return error.value


def test_a_carrier_gets_the_next_number_and_is_found_by_it(trolley: Carrier) -> None:
    assert trolley.number == assign(Kind.CARRIER, 1, 1)
    assert trolley.name == "Blue trolley"
    found = scans.read(f" {trolley.number.lower()} ")
    assert (found.kind, found.row) == ("carrier", trolley)


@pytest.mark.parametrize(
    ("name", "code"), [("  ", "carrier_name_missing"), ("x" * 61, "entry_too_long")]
)
def test_a_carrier_without_a_fit_name_is_not_made(name: str, code: str) -> None:
    assert_refusal(code, carriers.make_carrier, name=name)
    assert not Carrier.objects.exists()


def test_one_scan_moves_every_bag_in_one_act(trolley: Carrier, bags: list[Bag]) -> None:
    load(trolley, *bags)
    shelf = factories.make_place()
    acts = Operation.objects.count()
    done = put(trolley, shelf)
    assert (done.bags, done.moved) == (3, True)
    assert Operation.objects.count() == acts + 1
    moved = Movement.objects.filter(kind="placed", place=shelf)
    assert {row.bag_id for row in moved} == {bag.pk for bag in bags}
    assert len({row.operation_id for row in moved}) == 1
    assert set(trolley.bags.values_list("place", flat=True)) == {shelf.pk}
    assert trolley.place == shelf
    assert not put(trolley, shelf).moved
    assert factories.prove() == []


def test_a_bag_comes_to_where_its_carrier_stands(
    trolley: Carrier, bags: list[Bag]
) -> None:
    shelf = factories.make_place()
    put(trolley, shelf)
    assert load(trolley, bags[0]).on
    assert (bags[0].carrier, bags[0].place) == (trolley, shelf)
    assert where(bags[0]).carrier == trolley.number


def test_a_carrier_that_stands_nowhere_comes_to_the_bag(
    trolley: Carrier, bags: list[Bag]
) -> None:
    first, second, _ = bags
    load(trolley, first)  # neither has a place yet
    assert trolley.place is None
    shelf = factories.make_place()
    places.put_bag(bag_id=second.pk, place_id=shelf.pk, sign=factories.sign())
    load(trolley, second)
    first.refresh_from_db()
    assert trolley.place == first.place == second.place == shelf
    assert factories.prove() == []


def test_scanning_a_bag_again_takes_it_off(trolley: Carrier, bags: list[Bag]) -> None:
    load(trolley, *bags)
    done = load(trolley, bags[0])
    assert (done.on, done.bags) == (False, 2)
    assert bags[0].carrier is None


def test_a_bag_is_on_one_carrier_at_a_time(trolley: Carrier, bags: list[Bag]) -> None:
    load(trolley, *bags)
    other = carriers.make_carrier(name="Pole", sign=factories.sign())
    done = load(Carrier.objects.get(number=other.carrier), bags[0])
    assert (done.left, done.bags) == (trolley.number, 1)
    assert trolley.bags.count() == 2


def test_a_bag_moved_alone_leaves_its_carrier(
    trolley: Carrier, bags: list[Bag]
) -> None:
    shelf = factories.make_place()
    put(trolley, shelf)
    load(trolley, *bags)
    done = places.put_bag(bag_id=bags[0].pk, place_id=shelf.pk, sign=factories.sign())
    assert (done.left, done.moved) == (trolley.number, False)
    bags[0].refresh_from_db()
    assert bags[0].carrier is None


def test_a_bag_at_a_bench_leaves_its_carrier(trolley: Carrier, bags: list[Bag]) -> None:
    bench = factories.make_bench()
    put(trolley, bench.place)
    load(trolley, *bags)
    boxes.bring_bag(bench_id=bench.pk, bag_id=bags[0].pk, sign=factories.sign())
    bags[0].refresh_from_db()
    assert bags[0].carrier is None
    # and back onto the carrier it is the bench's open bag no longer
    load(trolley, bags[0])
    assert not OpenBag.objects.filter(bag=bags[0]).exists()
    assert factories.prove() == []


def test_a_bag_that_is_used_up_leaves_its_carrier(trolley: Carrier) -> None:
    material = factories.make_bag(pieces=10, unit="gram")
    load(trolley, material)
    factories.make_lot(made_from=((material.lot_id, 10),))
    material.refresh_from_db()
    assert (material.stage, material.carrier) == ("used_up", None)
    values = {"carrier_id": trolley.pk, "bag_id": material.pk}
    assert_refusal("bag_is_used_up", carriers.load_bag, **values)
    assert factories.prove() == []


def test_the_line_keeps_bags_on_their_carrier_and_their_carrier_there(
    trolley: Carrier,
) -> None:
    revision = factories.make_revision()
    lot = factories.accept(factories.make_lot(revision))
    bag = lot.bags.get()
    shelf = factories.make_place()
    put(trolley, shelf)
    load(trolley, bag)
    run = factories.open_run(factories.make_protocol(revision))
    runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=factories.sign())
    bag.refresh_from_db()
    assert bag.carrier == trolley
    error = assert_refusal(
        "carrier_on_the_line",
        carriers.put_carrier,
        carrier_id=trolley.pk,
        place_id=shelf.pk,
    )
    assert error.params["bags"] == 1
    values = {"carrier_id": trolley.pk, "bag_id": bag.pk}
    assert_refusal("bag_on_the_line", carriers.load_bag, **values)
    assert factories.prove() == []


def test_nothing_is_loaded_that_is_not_there(trolley: Carrier, bags: list[Bag]) -> None:
    assert_refusal("row_missing", carriers.load_bag, carrier_id=trolley.pk, bag_id=0)
    assert_refusal("row_missing", carriers.load_bag, carrier_id=0, bag_id=bags[0].pk)
    assert_refusal(
        "row_missing", carriers.put_carrier, carrier_id=trolley.pk, place_id=0
    )


@pytest.mark.parametrize("carrier_first", [True, False])
def test_a_bag_and_its_carrier_are_scanned_in_either_order(
    carrier_first: bool, trolley: Carrier, bags: list[Bag]
) -> None:
    texts = [trolley.number, bags[0].number]
    hand, text = texts if carrier_first else reversed(texts)
    sign = factories.sign()
    answer = place_scans.take_scan(text=text, hand=hand, sign=sign)
    assert (answer.did, answer.outcome["on"]) == ("load_bag", True)
    assert answer.hand is not None
    assert answer.hand.row == trolley
    # sent again under its key it does not take the bag off again
    assert place_scans.take_scan(text=text, hand=hand, sign=sign) == answer
    assert trolley.bags.count() == 1


@pytest.mark.parametrize("box_first", [True, False])
def test_a_box_goes_on_no_carrier(box_first: bool, trolley: Carrier) -> None:
    box = factories.make_labelled_box()
    hand, text = (str(box), trolley.number)
    if not box_first:
        hand, text = text, hand
    error = assert_refusal(
        "carrier_takes_bags", place_scans.take_scan, text=text, hand=hand
    )
    assert error.params["read"] == str(box)


def test_a_bag_that_was_emptied_hangs_nowhere_when_pieces_are_found(
    trolley: Carrier, bags: list[Bag]
) -> None:
    one = bags[0]
    load(trolley, *bags)
    for counted in (0, 3):
        counts.count_again(
            bag_id=one.pk,
            counted=counted,
            counted_by="hand",
            reason="Lost and found",
            found="kept",
            checker_id=factories.make_person("checker").pk,
            sign=factories.sign(),
        )
    one.refresh_from_db()
    assert (one.pieces, one.carrier) == (3, None)
    assert factories.prove() == []
    load(trolley, one)
    assert one.carrier == trolley
    assert factories.prove() == []
