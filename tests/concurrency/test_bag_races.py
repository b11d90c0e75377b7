"""One bag at the same moment in two hands: line, carrier, count and bench."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from django.db import connection, transaction

from kitting.disinfection.services import runs
from kitting.disinfection.services.verdicts import give_up_run, stop_line
from kitting.domain.errors import LotwardError
from kitting.lots.services import counts, lots
from kitting.models import (
    Bag,
    Box,
    BoxLine,
    Carrier,
    Movement,
    OpenBag,
    Run,
    RunBag,
    User,
)
from kitting.packing.services import boxes, voiding
from kitting.places.services import carriers, places
from tests import factories
from tests.benches import Packing, make_packing
from tests.concurrency.threads import Results, at_once

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
TURNS = 6
"""A race is tried so often: each time another of the two may be first."""


@pytest.fixture
def person(transactional_db: None) -> User:
    return factories.sign().by


@pytest.fixture
def bags(transactional_db: None) -> list[Bag]:
    many = tuple(lots.NewBag(pieces=10) for _ in range(2 * TURNS))
    lot = factories.accept(factories.make_lot(factories.make_revision(), bags=many))
    return list(lot.bags.order_by("pk"))


def open_run(bags: list[Bag]) -> Run:
    return factories.open_run(factories.make_protocol(bags[0].lot.revision))


def codes(results: Results) -> set[str]:
    assert all(isinstance(error, LotwardError) for error in results.errors), results.of
    return {error.code for error in results.errors}  # type: ignore[attr-defined]


def meet(between: threading.Barrier) -> None:
    between.wait(20)


# -- A line that stops or is given up, and a bag that goes on -------------------------


def _strike_unlocked(run: Run, between: threading.Barrier) -> int:
    """The twin of ``stop_line`` without its locks: it looks, waits, strikes."""
    with transaction.atomic():
        on = list(RunBag.objects.filter(run=run, live=True).values_list("bag", "pk"))
        meet(between)
        meet(between)
        Bag.objects.filter(pk__in=[bag for bag, _ in on]).update(stage="accepted")
        RunBag.objects.filter(run=run, live=True).delete()
    return len(on)


@control
def test_control_without_locks_a_bag_is_left_on_a_line_that_knows_it_not(
    bags: list[Bag], person: User
) -> None:
    run = open_run(bags)
    between = threading.Barrier(2)

    def go_on() -> str:
        meet(between)
        sign = factories.sign(person)
        stage = runs.put_on(run_id=run.pk, bag_id=bags[0].pk, sign=sign).stage
        meet(between)
        return stage

    results = at_once([lambda: _strike_unlocked(run, between), go_on])
    assert results.of == [0, "in_run"]
    assert Bag.objects.get(pk=bags[0].pk).stage == "in_run"
    assert not RunBag.objects.exists()
    assert factories.prove() != []


def test_a_bag_goes_on_before_the_line_stops_or_after(
    bags: list[Bag], person: User
) -> None:
    """Never between: on the line, and in no run."""
    run = open_run(bags)
    for bag, there in zip(bags[:TURNS], bags[TURNS:], strict=True):
        runs.put_on(run_id=run.pk, bag_id=there.pk, sign=factories.sign(person))
        results = at_once(
            [
                lambda bag=bag: runs.put_on(  # type: ignore[misc]
                    run_id=run.pk, bag_id=bag.pk, sign=factories.sign(person)
                ),
                lambda: stop_line(
                    run_id=run.pk, reason="It jammed", sign=factories.sign(person)
                ),
            ]
        )
        assert codes(results) <= {"page_is_old"}
        bag.refresh_from_db()
        there.refresh_from_db()
        on = run.run_bags.filter(live=True, off_at=None)
        live = set(on.values_list("bag", flat=True))
        assert (bag.stage == "in_run") == (bag.pk in live)
        assert (there.stage == "in_run") == (there.pk in live)
        assert (there.pk in live) == bool(results.errors)
        for left in live:
            off = factories.sign(person, now=factories.after_passes(run))
            runs.take_off(run_id=run.pk, bag_id=left, sign=off)
    assert factories.prove() == []


def test_a_bag_goes_on_before_the_run_is_given_up_or_not_at_all(
    bags: list[Bag], person: User
) -> None:
    for bag in bags[:TURNS]:
        run = open_run(bags)
        results = at_once(
            [
                lambda bag=bag, run=run: runs.put_on(  # type: ignore[misc]
                    run_id=run.pk, bag_id=bag.pk, sign=factories.sign(person)
                ),
                lambda run=run: give_up_run(  # type: ignore[misc]
                    run_id=run.pk, reason="Dark", sign=factories.sign(person)
                ),
            ]
        )
        assert len(results.values) == 1, results.of
        run.refresh_from_db()
        bag.refresh_from_db()
        went_on = codes(results) == {"bags_on_the_line"}
        assert went_on or codes(results) == {"run_closed"}
        assert (run.stage, bag.stage) == (
            ("open", "in_run") if went_on else ("failed", "accepted")
        )
    assert factories.prove() == []


# -- A carrier that moves, and a bag that leaves it ------------------------------------


@pytest.fixture
def trolley(bags: list[Bag], person: User) -> Carrier:
    """A trolley with all the bags on it, at a place."""
    made = carriers.make_carrier(name="Trolley", sign=factories.sign(person))
    carrier = Carrier.objects.get(number=made.carrier)
    put(carrier, person)
    for bag in bags:
        sign = factories.sign(person)
        carriers.load_bag(carrier_id=carrier.pk, bag_id=bag.pk, sign=sign)
    return carrier


def put(carrier: Carrier, person: User) -> Any:
    return carriers.put_carrier(
        carrier_id=carrier.pk,
        place_id=factories.make_place().pk,
        sign=factories.sign(person),
    )


def _move_unlocked(carrier: Carrier, between: threading.Barrier) -> int:
    """The twin of ``put_carrier`` without its locks on the bags."""
    with transaction.atomic():
        bags = list(Bag.objects.filter(carrier=carrier))
        meet(between)
        meet(between)
        place = factories.make_place()
        for bag in bags:
            bag.place = place
            bag.save(update_fields=["place", "carrier"])
        Carrier.objects.filter(pk=carrier.pk).update(place=place)
    return len(bags)


@control
def test_control_without_locks_a_carrier_takes_along_what_has_left_it(
    bags: list[Bag], trolley: Carrier, person: User
) -> None:
    between, shelf = threading.Barrier(2), factories.make_place()

    def leave() -> str:
        meet(between)
        sign = factories.sign(person)
        done = places.put_bag(bag_id=bags[0].pk, place_id=shelf.pk, sign=sign)
        meet(between)
        return done.left

    results = at_once([lambda: _move_unlocked(trolley, between), leave])
    assert results.of == [len(bags), trolley.number]
    bag = Bag.objects.get(pk=bags[0].pk)
    assert (bag.carrier, bag.place == shelf) == (trolley, False)
    assert factories.prove() != []


@pytest.mark.parametrize("way", ["to a shelf", "off the carrier", "to another"])
def test_a_bag_moves_with_its_carrier_or_without_it(
    way: str, bags: list[Bag], trolley: Carrier, person: User
) -> None:
    made = carriers.make_carrier(name="Pole", sign=factories.sign(person))
    pole = Carrier.objects.get(number=made.carrier)
    put(pole, person)
    shelf = factories.make_place()

    def leave(bag: Bag) -> Any:
        sign = factories.sign(person)
        if way == "to a shelf":
            return places.put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=sign)
        to = trolley if way == "off the carrier" else pole
        return carriers.load_bag(carrier_id=to.pk, bag_id=bag.pk, sign=sign)

    for bag in bags[:TURNS]:
        results = at_once([lambda bag=bag: leave(bag), lambda: put(trolley, person)])  # type: ignore[misc]
        assert results.errors == []
        bag.refresh_from_db()
        trolley.refresh_from_db()
        assert bag.carrier == (pole if way == "to another" else None)
        if way == "to a shelf":
            assert bag.place == shelf
        on = Bag.objects.filter(carrier=trolley).values_list("place", flat=True)
        assert set(on) == {trolley.place_id}
    assert factories.prove() == []


def test_a_carrier_does_not_move_under_a_bag_that_goes_on_a_run(
    bags: list[Bag], trolley: Carrier, person: User
) -> None:
    run = open_run(bags)
    for bag in bags[:TURNS]:
        results = at_once(
            [
                lambda bag=bag: runs.scan_bag(  # type: ignore[misc]
                    run_id=run.pk, bag_id=bag.pk, sign=factories.sign(person)
                ),
                lambda: put(trolley, person),
            ]
        )
        assert codes(results) <= {"carrier_on_the_line"}
        bag.refresh_from_db()
        assert (bag.stage, bag.place_id) == ("in_run", run.line_id)
        off = factories.sign(person, now=factories.after_passes(run))
        runs.take_off(run_id=run.pk, bag_id=bag.pk, sign=off)
        put(trolley, person)  # it is fetched from the line
    assert factories.prove() == []


def test_a_carrier_goes_on_a_run_whole_or_not_while_its_bags_leave(
    bags: list[Bag], trolley: Carrier, person: User
) -> None:
    run = open_run(bags)
    shelf = factories.make_place()
    results = at_once(
        [
            lambda: runs.scan_carrier(
                run_id=run.pk, carrier_id=trolley.pk, sign=factories.sign(person)
            ),
            *(
                lambda bag=bag: places.put_bag(  # type: ignore[misc]
                    bag_id=bag.pk, place_id=shelf.pk, sign=factories.sign(person)
                )
                for bag in bags[:TURNS]
            ),
        ]
    )
    assert codes(results) <= {"bag_on_the_line", "carrier_empty"}
    on = set(Bag.objects.filter(stage="in_run").values_list("carrier", "place"))
    assert on == {(trolley.pk, run.line_id)}
    left = Bag.objects.filter(place=shelf)
    assert set(left.values_list("stage", "carrier")) <= {("accepted", None)}
    assert left.count() + run.run_bags.count() == len(bags)
    assert factories.prove() == []


# -- A count, and boxes that are packed from the bag -----------------------------------


@pytest.fixture
def at(transactional_db: None) -> Packing:
    return make_packing()


def start(at: Packing, bench_id: int, person: User) -> Any:
    return boxes.start_box(
        bench_id=bench_id, size_id=at.size.pk, sign=factories.sign(person)
    )


def count(bag: Bag, counted: int, person: User, moves: int | None = None) -> Any:
    return counts.count_again(
        bag_id=bag.pk,
        counted=counted,
        counted_by="hand",
        reason="Torn",
        moves=moves,
        sign=factories.sign(person),
    )


def _count_unlocked(bag: Bag, counted: int, between: threading.Barrier) -> int:
    """The twin of ``count_again`` without its lock: it reads, waits, writes."""
    with transaction.atomic():
        seen = Bag.objects.get(pk=bag.pk)
        meet(between)
        meet(between)
        missing = seen.pieces - counted
        seen.pieces = counted
        seen.save(update_fields=["pieces"])
    return missing


@control
def test_control_without_its_lock_a_count_makes_packed_pieces_again(
    at: Packing, person: User
) -> None:
    bench, bag = at.bench.pk, at.band_bag
    boxes.bring_bag(bench_id=bench, bag_id=bag.pk, sign=factories.sign(person))
    between = threading.Barrier(2)

    def pack() -> int:
        meet(between)
        taken = start(at, bench, person).taken
        meet(between)
        return int(taken)

    results = at_once([lambda: _count_unlocked(bag, 99, between), pack])
    assert results.of == [1, 6]
    bag.refresh_from_db()
    assert bag.pieces + 6 + 1 > 100
    assert factories.prove() != []


def test_a_count_is_of_the_bag_before_a_box_took_from_it_or_after(
    at: Packing, person: User
) -> None:
    """A page that shows the bag as it was is refused; no piece is made or lost."""
    bench, bag = at.bench.pk, at.band_bag
    boxes.bring_bag(bench_id=bench, bag_id=bag.pk, sign=factories.sign(person))
    for _ in range(TURNS):
        bag.refresh_from_db()
        seen = {"counted": bag.pieces - 1, "moves": bag.moves}
        results = at_once(
            [
                lambda: start(at, bench, person),
                lambda seen=seen: count(bag, **seen, person=person),  # type: ignore[misc]
            ]
        )
        assert codes(results) <= {"bag_moved_since"}
        missing = 0 if results.errors else 1
        before = seen["counted"] + 1
        bag.refresh_from_db()
        assert bag.pieces == before - 6 - missing
        box = Box.objects.get(bench=bench, stage="open")
        assert BoxLine.objects.get(box=box).pieces == 6
        sign = factories.sign(person)
        voiding.cancel_box(box_id=box.pk, reason="Again", sign=sign)
    assert factories.prove() == []


def test_a_bag_counted_empty_is_packed_from_before_or_not_at_all(
    at: Packing, person: User
) -> None:
    for _ in range(TURNS):
        bag, bench = at.bag(at.band, pieces=10), factories.make_bench().pk
        boxes.bring_bag(bench_id=bench, bag_id=bag.pk, sign=factories.sign(person))
        results = at_once(
            [
                lambda bench=bench: start(at, bench, person),  # type: ignore[misc]
                lambda bag=bag: count(bag, 0, person),  # type: ignore[misc]
            ]
        )
        assert results.errors == []
        bag.refresh_from_db()
        assert (bag.pieces, bag.stage) == (0, "used_up")
        packed = sum(BoxLine.objects.filter(bag=bag).values_list("pieces", flat=True))
        lost = Movement.objects.get(bag=bag, kind="missing").pieces
        assert (packed, lost) in {(6, 4), (0, 10)}
        assert not OpenBag.objects.filter(bag=bag).exists()
    assert factories.prove() == []
