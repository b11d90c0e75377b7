"""Bags and boxes are put at places, by pairs of scans in either order."""

from __future__ import annotations

import uuid

import pytest

from dispatch.shipments.queries.shipments import ready_to_go
from dispatch.trace.queries import trace
from dispatch.trace.written import as_json
from kitting.disinfection.services import runs
from kitting.domain.errors import LotwardError
from kitting.ledger import locking
from kitting.ledger.reach import standing_reach
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Box, BoxPut, Movement, OpenBag, Operation, Place
from kitting.packing.services import boxes, voiding
from kitting.places.queries import nowhere, place_of, standing_at, where
from kitting.places.services import carriers, places, scans
from kitting.places.services.scans import Answer
from tests import factories
from tests.assertions import assert_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf() -> Place:
    return factories.make_place()


@pytest.fixture
def bag() -> Bag:
    return factories.make_bag()


def scan(text: str, hand: str = "") -> Answer:
    return scans.take_scan(text=text, hand=hand, sign=factories.sign())


def assert_refusal(code: str, call, **values) -> None:
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as error:
        call(**values, sign=factories.sign())
    assert_refused(error.value, code)
    assert Operation.objects.count() == before


# -- Bags ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gate", "kind", "becomes"),
    [("enter_gate", "shelf", "quarantine"), ("shut_gate", "quarantine", "shelf")],
)
def test_a_place_that_became_another_kind_while_the_gate_was_shut_takes_nothing(
    bag: Bag, monkeypatch: pytest.MonkeyPatch, gate: str, kind: str, becomes: str
) -> None:
    place, wait = factories.make_place(kind), getattr(locking, gate)

    def changed_meanwhile() -> None:
        wait()
        Place.objects.filter(pk=place.pk).update(kind=becomes)

    monkeypatch.setattr(locking, gate, changed_meanwhile)
    to = {"bag_id": bag.pk, "place_id": place.pk, "why": "Smells odd"}
    assert_refusal("page_is_old", places.put_bag, **to)
    bag.refresh_from_db()
    assert bag.place is None


def test_a_bag_moves_and_leaves_a_movement(bag: Bag, shelf: Place) -> None:
    put = places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=factories.sign())
    assert (put.thing, put.place, put.moved) == (bag.number, shelf.code, True)
    bag.refresh_from_db()
    assert bag.place == shelf
    moved = bag.movements.latest("nth")
    assert (moved.kind, moved.delta, moved.place) == ("placed", 0, shelf)
    assert moved.stage_before == moved.stage_after == "cleared"
    assert factories.prove() == []


def test_a_bag_that_stands_there_already_leaves_none(bag: Bag, shelf: Place) -> None:
    places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=factories.sign())
    before = Movement.objects.count()
    put = places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=factories.sign())
    assert not put.moved
    assert Movement.objects.count() == before


def test_a_scan_that_is_sent_again_moves_once(bag: Bag, shelf: Place) -> None:
    sign = factories.sign(key=uuid.uuid4())
    first = places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=sign)
    other = factories.make_place()
    places.put_bag(bag_id=bag.pk, place_id=other.pk, sign=factories.sign())
    again = places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=sign)
    assert again == first
    bag.refresh_from_db()
    assert bag.place == other


def test_a_bag_on_the_line_or_used_up_is_not_put_away(shelf: Place) -> None:
    revision = factories.make_revision()
    lot = factories.accept(factories.make_lot(revision))
    run = factories.open_run(factories.make_protocol(revision))
    on_line = lot.bags.get()
    runs.put_on(run_id=run.pk, bag_id=on_line.pk, sign=factories.sign())
    values = {"place_id": shelf.pk}
    assert_refusal("bag_on_the_line", places.put_bag, bag_id=on_line.pk, **values)
    box = factories.make_closed_box()
    empty = box.lines.get().bag
    assert_refusal("bag_is_used_up", places.put_bag, bag_id=empty.pk, **values)
    assert_refusal("row_missing", places.put_bag, bag_id=on_line.pk, place_id=0)


def test_a_bag_carried_away_from_its_bench_is_open_there_no_longer(
    bag: Bag, shelf: Place
) -> None:
    bench = factories.make_bench()
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=factories.sign())
    places.put_bag(bag_id=bag.pk, place_id=bench.place_id, sign=factories.sign())
    assert OpenBag.objects.filter(bag=bag).exists()
    places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=factories.sign())
    assert not OpenBag.objects.filter(bag=bag).exists()


# -- Boxes --------------------------------------------------------------------------


def test_a_labelled_box_stands_at_its_bench_until_it_is_put_elsewhere(
    shelf: Place,
) -> None:
    box = factories.make_labelled_box()
    assert place_of(box) == box.bench.place
    put = places.put_box(box_id=box.pk, place_id=shelf.pk, sign=factories.sign())
    assert (put.thing, put.moved) == (box.serial, True)
    box.refresh_from_db()
    assert place_of(box) == box.place == shelf
    assert BoxPut.objects.get(box=box).place == shelf
    again = places.put_box(box_id=box.pk, place_id=shelf.pk, sign=factories.sign())
    assert not again.moved
    assert BoxPut.objects.filter(box=box).count() == 1
    assert factories.prove() == []


def test_the_clerk_and_a_recall_find_a_box_where_it_was_put(shelf: Place) -> None:
    first = factories.make_labelled_box()
    second = factories.make_labelled_box(first.size)
    places.put_box(box_id=first.pk, place_id=shelf.pk, sign=factories.sign())
    (ready,) = ready_to_go(factories.TODAY, standing_reach())
    bench = second.bench.place.name
    assert dict(ready.places) == {shelf.name: 1, bench: 1}
    row = trace(str(first.serial)).boxes[0]
    assert row.place == shelf.name
    assert as_json(trace(str(second.serial)))["boxes"][0]["place"] == bench


def test_a_box_that_left_stands_nowhere_and_is_not_put_away(shelf: Place) -> None:
    box = factories.make_labelled_box()
    places.put_box(box_id=box.pk, place_id=shelf.pk, sign=factories.sign())
    factories.send(factories.make_shipment(box))
    box.refresh_from_db()
    assert place_of(box) is None
    assert trace(str(box.serial)).boxes[0].place == ""
    assert standing_at(shelf, {}).boxes == []
    assert_refusal("box_has_left", places.put_box, box_id=box.pk, place_id=shelf.pk)
    assert where(box).gone


def test_a_box_still_at_its_bench_or_voided_is_not_put_away(shelf: Place) -> None:
    closed = factories.make_closed_box()
    assert_refusal(
        "box_at_its_bench", places.put_box, box_id=closed.pk, place_id=shelf.pk
    )
    voided = factories.make_labelled_box()
    back = {"label": str(voided.serial), "reason": "Crushed"}
    voiding.void_box(box_id=voided.pk, **back, sign=factories.sign())
    assert_refusal("box_voided", places.put_box, box_id=voided.pk, place_id=shelf.pk)
    assert_refusal("row_missing", places.put_box, box_id=voided.pk, place_id=0)


def test_a_returned_box_stands_where_it_was_put_not_at_its_bench() -> None:
    # Written plainly: how boxes come back is another part of the job.
    box = factories.make_labelled_box()
    Box.objects.filter(pk=box.pk).update(stage="returned")
    box.refresh_from_db()
    assert place_of(box) is None
    assert nowhere()[1] == 1
    assert standing_at(box.bench.place, {}).boxes == []
    assert trace(str(box.serial)).boxes[0].place == ""
    cage = factories.make_place("quarantine")
    places.put_box(box_id=box.pk, place_id=cage.pk, sign=factories.sign())
    box.refresh_from_db()
    assert place_of(box) == cage
    assert trace(str(box.serial)).boxes[0].place == cage.name


# -- Scans --------------------------------------------------------------------------


@pytest.mark.parametrize("thing_first", [True, False])
def test_a_thing_and_its_place_are_scanned_in_either_order(
    thing_first: bool, bag: Bag, shelf: Place
) -> None:
    texts = [bag.number, shelf.code.lower()]
    first = scan(texts[0] if thing_first else texts[1])
    assert first.did == ""
    assert first.hand is not None
    done = scan(texts[1] if thing_first else texts[0], first.hand.text)
    assert (done.did, done.outcome["place"]) == ("put_bag", shelf.code)
    bag.refresh_from_db()
    assert bag.place == shelf
    # The place stays in hand, so that the next thing needs one scan alone.
    assert done.hand is not None
    assert (done.hand.kind, done.hand.text) == ("place", shelf.code)


def test_many_things_follow_one_scan_of_a_place(shelf: Place) -> None:
    box, bag = factories.make_labelled_box(), factories.make_bag()
    made = carriers.make_carrier(name="Pole", sign=factories.sign())
    hand = shelf.code
    did = []
    for text in (str(box.sscc or box.serial), bag.number, made.carrier):
        answer = scan(text, hand)
        did.append(answer.did)
        assert answer.hand is not None
        hand = answer.hand.text
    assert did == ["put_box", "put_bag", "put_carrier"]
    assert hand == shelf.code


def test_another_place_takes_the_place_of_the_first(shelf: Place) -> None:
    other = factories.make_place()
    answer = scan(other.code, shelf.code)
    assert answer.did == ""
    assert answer.hand is not None
    assert answer.hand.row == other


def test_what_is_in_hand_scanned_again_is_let_go_of(bag: Bag, shelf: Place) -> None:
    for text in (shelf.code, bag.number):
        answer = scan(text, text)
        assert (answer.hand, answer.let_go, answer.did) == (None, True, "")


def test_another_bag_in_hand_leaves_the_first_where_it_was(bag: Bag) -> None:
    other = factories.make_bag()
    answer = scan(other.number, bag.number)
    assert answer.hand is not None
    assert answer.hand.row == other
    assert Movement.objects.filter(kind="placed").count() == 0


def test_a_lot_or_run_is_found_and_leaves_the_hand_alone(shelf: Place) -> None:
    lot = factories.make_lot()
    run = factories.open_run(factories.make_protocol())
    for row in (lot, run):
        answer = scan(row.number, shelf.code)
        assert answer.hand is not None
        assert answer.hand.row == shelf
        assert answer.found is not None
        assert answer.found.row == row


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "scan_empty"),
        ("B1000042A", "number_check_wrong"),
        ("B1000042T", "nothing_has_number"),
        ("Γενικό Νοσοκομείο", "nothing_has_number"),
        ("x" * 201, "scan_too_long"),
        ("<script>alert(1)</script>", "nothing_has_number"),
    ],
)
def test_a_scan_of_anything_else_is_refused_with_its_reason(
    text: str, code: str, shelf: Place
) -> None:
    assert_refusal(code, scans.take_scan, text=text, hand=shelf.code)


def test_what_is_in_hand_must_be_something_that_can_be(shelf: Place) -> None:
    shipment = factories.make_shipment()
    take = scans.take_scan
    assert_refusal("not_put_away", take, text=shipment.number, hand="")
    assert_refusal(
        "not_put_away", take, text=shelf.code, hand=factories.make_lot().number
    )
    assert_refusal("nothing_has_number", take, text=shelf.code, hand="no such thing")
    assert scans.hand_or_none("no such thing") is None
    assert scans.hand_or_none("  ") is None


# -- What stands where --------------------------------------------------------------


def test_a_place_lists_bags_by_stage_and_boxes(shelf: Place) -> None:
    waiting = factories.make_lot().bags.get()
    cleared = factories.make_bag(pieces=40)
    box = factories.make_labelled_box()
    for each in (cleared, waiting):
        places.put_bag(bag_id=each.pk, place_id=shelf.pk, sign=factories.sign())
    places.put_box(box_id=box.pk, place_id=shelf.pk, sign=factories.sign())
    shown = standing_at(shelf, {})
    assert [row.number for row in shown.rows] == [
        waiting.number,
        cleared.number,
        box.serial,
    ]
    assert shown.bag_stages == [("arrived", 1), ("cleared", 1)]
    assert shown.sets == box.size.sets
    part = cleared.lot.part
    assert [r.number for r in standing_at(shelf, {"part": part}).rows] == [
        cleared.number
    ]
    assert [r.number for r in standing_at(shelf, {"stage": "labelled"}).rows] == [
        box.serial
    ]
    assert standing_at(shelf, {"what": "bags"}).boxes == []
    assert standing_at(shelf, {"what": "boxes"}).bags == []


def test_a_lot_stands_where_its_bags_do(shelf: Place) -> None:
    lot = factories.make_lot(bags=(NewBag(5), NewBag(5), NewBag(5)))
    first = lot.bags.first()
    places.put_bag(bag_id=first.pk, place_id=shelf.pk, sign=factories.sign())
    assert set(where(lot).spread) == {(shelf.name, 1), ("", 2)}
