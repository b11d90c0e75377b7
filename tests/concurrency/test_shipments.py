"""Two clerks, and a hold against a sending; file SQLite and PostgreSQL."""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.db import connection, transaction

from dispatch.models import ShipEvent, Shipment, ShipmentBox, ShipScan
from dispatch.shipments import services
from kitting.domain.errors import Conflict, LotwardError, OnHold, WrongStage
from kitting.domain.stages import BoxStage
from kitting.ledger import holds
from kitting.ledger.reach import held_boxes, standing_reach
from kitting.models import Box, BoxLine, Hold
from tests import factories
from tests.concurrency.threads import Results, at_once, times
from tests.concurrency.twins import hold_without_the_gate
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
ROUNDS = 6


@pytest.fixture(autouse=True)
def _who_signs(transactional_db: None) -> None:
    sign()  # the person who signs is made once, before any thread


def load(shipment: Shipment, box: Box) -> Callable[[], services.Scanned]:
    return lambda: services.load_box(
        shipment_id=shipment.pk, box_id=box.pk, sign=sign()
    )


def send(shipment: Shipment, **seen: int) -> Callable[[], services.Sent]:
    return lambda: services.send_shipment(
        unlabelled="by hand",
        driver="Driver 2",
        shipment_id=shipment.pk,
        sign=sign(),
        **seen,
    )


def place(target: str, value: int) -> Callable[[], holds.Held]:
    return lambda: holds.place_hold(
        target=target, value=value, reason="Rough edge", sign=sign()
    )


def codes(results: Results) -> list[str]:
    """The codes of the refusals; anything but a refusal is no answer."""
    assert all(isinstance(error, LotwardError) for error in results.errors), results.of
    return sorted(error.code for error in results.errors)  # type: ignore[attr-defined]


# -- Controls: the races are real ---------------------------------------------------


@control
def test_control_without_the_gate_a_hold_and_a_sending_miss_each_other() -> None:
    box = factories.make_labelled_box()
    shipment = factories.make_shipment(box)
    lot = box.lines.get().lot_id
    both_looked = threading.Barrier(2)
    person = sign().by

    def here() -> int:
        return Box.objects.filter(lines__lot=lot, stage=BoxStage.LOADED).count()

    def send_without_the_gate() -> int:
        with transaction.atomic():
            held = list(held_boxes(standing_reach()))
            both_looked.wait(30)
            Shipment.objects.filter(pk=shipment.pk).update(
                stage="sent", sent_at=factories.NOW, boxes=1, driver="Driver 2"
            )
            Box.objects.filter(pk=box.pk).update(stage=BoxStage.SENT)
        return len(held)

    hold = partial(hold_without_the_gate, person, lot, here, both_looked.wait)
    results = at_once([hold, send_without_the_gate])
    # The hold saw the box here, the sending saw no hold, and both stand.
    assert results.of == [1, 0]
    box.refresh_from_db()
    assert box.stage == "sent"
    assert Hold.objects.count() == 1


@control
def test_control_without_the_lock_on_the_box_both_clerks_find_it_free() -> None:
    box = factories.make_labelled_box()
    both_looked = threading.Barrier(2)
    scanned = [factories.make_shipment() for _ in range(2)]

    def load_without_the_lock(shipment: Shipment) -> bool:
        with transaction.atomic():
            free = not ShipmentBox.objects.filter(box=box, live=True).exists()
            both_looked.wait(30)
            Box.objects.filter(pk=box.pk).update(stage=BoxStage.LOADED)
        return free

    results = times(2, lambda n: load_without_the_lock(scanned[n]))
    assert results.of == [True, True]


# -- The real thing -----------------------------------------------------------------


def test_two_clerks_scan_one_box_and_one_of_them_gets_it() -> None:
    size = factories.make_size(factories.make_recipe())
    two = [factories.make_shipment() for _ in range(2)]
    for _ in range(ROUNDS):
        box = factories.make_labelled_box(size)
        results = at_once([load(shipment, box) for shipment in two])
        assert len(results.values) == 1, results.of
        assert codes(results) == ["box_in_shipment"]
        assert ShipmentBox.objects.filter(box=box, live=True).count() == 1
        assert ShipScan.objects.filter(box=box).count() == 1
    assert factories.prove() == []


def test_eight_scans_of_one_box_onto_one_shipment_put_it_on_once() -> None:
    box, shipment = factories.make_labelled_box(), factories.make_shipment()
    results = times(8, lambda _: load(shipment, box)())
    assert len(results.values) == 1
    assert codes(results) == ["box_on_already"] * 7
    assert ShipScan.objects.count() == 1


def test_one_key_sent_eight_times_at_once_acts_once() -> None:
    box, shipment = factories.make_labelled_box(), factories.make_shipment()
    on, leave = sign(), sign()
    for act in (
        lambda _: services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=on),
        lambda _: services.send_shipment(
            unlabelled="by hand", driver="Driver 2", shipment_id=shipment.pk, sign=leave
        ),
    ):
        results = times(8, act)
        assert results.errors == []
        assert len({str(outcome) for outcome in results.values}) == 1
    assert ShipScan.objects.count() == 1
    assert ShipEvent.objects.filter(shipment=shipment).count() == 2
    assert factories.prove() == []


@pytest.mark.parametrize("target", ["lot", "box"])
def test_a_hold_and_a_sending_always_see_each_other(target: str) -> None:
    size = factories.make_size(factories.make_recipe())
    outcomes = set()
    for round_ in range(ROUNDS):
        box = factories.make_labelled_box(size)
        shipment = factories.make_shipment(box, factories.make_labelled_box(size))
        value = box.pk if target == "box" else BoxLine.objects.get(box=box).lot_id
        acts: list[Callable[[], Any]] = [place(target, value), send(shipment)]
        results = at_once(acts[:: 1 if round_ % 2 else -1])
        held = next(out for out in results.of if isinstance(out, holds.Held))
        shipment.refresh_from_db()
        box.refresh_from_db()
        if shipment.stage == "sent":  # then the hold says who must be told
            assert (held.boxes_here, held.boxes_gone) == (0, 1)
            assert (box.stage, results.errors) == ("sent", [])
        else:  # then the sending named the box
            assert (held.boxes_here, held.boxes_gone) == (1, 0)
            assert box.stage == "loaded"
            (error,) = results.errors
            assert isinstance(error, OnHold)
            assert error.params["box"] == box.serial
        outcomes.add(shipment.stage)
    assert outcomes <= {"open", "sent"}
    assert factories.prove() == []


def test_a_hold_and_a_scan_always_see_each_other() -> None:
    size = factories.make_size(factories.make_recipe())
    shipment = factories.make_shipment()
    for _ in range(ROUNDS):
        box = factories.make_labelled_box(size)
        results = at_once([place("box", box.pk), load(shipment, box)])
        held = results.of[0]
        assert (held.boxes_here, held.boxes_gone) == (1, 0)
        assert codes(results) in ([], ["box_held"])
    assert factories.prove() == []


def test_a_shipment_that_is_sent_while_a_box_is_scanned_leaves_with_it_or_without() -> (
    None
):
    size = factories.make_size(factories.make_recipe())
    for _ in range(ROUNDS):
        first, late = (factories.make_labelled_box(size) for _ in range(2))
        shipment = factories.make_shipment(first)
        seen = shipment.scans.latest("pk").pk
        results = at_once([send(shipment, seen=seen), load(shipment, late)])
        shipment.refresh_from_db()
        late.refresh_from_db()
        assert codes(results) in (["box_came_on"], ["shipment_not_open"])
        # What the sender did not see never leaves.
        if shipment.stage == "sent":
            assert (shipment.boxes, late.stage) == (1, "labelled")
        else:
            assert late.stage == "loaded"
    assert factories.prove() == []


def test_a_shipment_is_sent_or_cancelled_and_never_both() -> None:
    size = factories.make_size(factories.make_recipe())
    for _ in range(ROUNDS):
        box = factories.make_labelled_box(size)
        shipment = factories.make_shipment(box)
        results = at_once(
            [
                send(shipment),
                lambda shipment=shipment: services.cancel_shipment(  # type: ignore[misc]
                    shipment_id=shipment.pk, reason="No van", sign=sign()
                ),
            ]
        )
        assert len(results.values) == 1, results.of
        (error,) = results.errors
        assert isinstance(error, Conflict | WrongStage)
        box.refresh_from_db()
        shipment.refresh_from_db()
        assert (shipment.stage, box.stage) in {
            ("sent", "sent"),
            ("cancelled", "labelled"),
        }
    assert factories.prove() == []


def test_clerks_who_scan_the_same_boxes_in_opposite_orders_do_not_block() -> None:
    size = factories.make_size(factories.make_recipe())
    boxes = [factories.make_labelled_box(size) for _ in range(6)]
    two = [factories.make_shipment() for _ in range(2)]

    def scan_all(n: int) -> list[str]:
        said = []
        for box in boxes[:: 1 if n else -1]:
            try:
                said.append(load(two[n], box)().box)
            except Conflict as error:
                said.append(error.code)
        return said

    results = times(2, scan_all)
    assert results.errors == []
    assert ShipmentBox.objects.filter(live=True).count() == len(boxes)
    assert sum(said == "box_in_shipment" for got in results.of for said in got) == 6
    assert factories.prove() == []
