"""Two clerks at a pallet, and a hold against its loading; file SQLite and PostgreSQL."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest
from django.db import connection, transaction

from dispatch.models import Pallet, PalletBox, PalletScan, Shipment, ShipmentBox
from dispatch.pallets import services
from dispatch.shipments import services as shipments
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.models import Box
from tests import factories
from tests.concurrency.threads import Results, at_once, times
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
ROUNDS = 4


@pytest.fixture(autouse=True)
def _who_signs(transactional_db: None) -> None:
    sign()  # the person who signs is made once, before any thread


def stack(pallet: Pallet, box: Box) -> Callable[[], services.Stacked]:
    return lambda: services.stack_box(pallet_id=pallet.pk, box_id=box.pk, sign=sign())


def load(shipment: Shipment, pallet: Pallet) -> Callable[[], shipments.PalletScanned]:
    return lambda: factories.load_pallet(shipment, pallet)


def box_off(shipment: Shipment, box: Box) -> Callable[[], shipments.Scanned]:
    on = {"shipment_id": shipment.pk, "box_id": box.pk}
    return lambda: shipments.take_off_box(**on, sign=sign())


def pallet_off(
    shipment: Shipment, pallet: Pallet
) -> Callable[[], shipments.PalletScanned]:
    on = {"shipment_id": shipment.pk, "pallet_id": pallet.pk}
    return lambda: shipments.take_off_pallet(**on, sign=sign())


def codes(results: Results) -> list[str]:
    """The codes of the refusals; anything but a refusal is no answer."""
    assert all(isinstance(error, LotwardError) for error in results.errors), results.of
    return sorted(error.code for error in results.errors)  # type: ignore[attr-defined]


@control
def test_control_without_the_lock_on_the_pallet_a_box_misses_the_shipment() -> None:
    size = factories.make_size(factories.make_recipe())
    first, late = (factories.make_labelled_box(size) for _ in range(2))
    pallet, shipment = factories.make_pallet(first), factories.make_shipment()
    both_looked = threading.Barrier(2)

    def stack_without_the_lock() -> bool:
        with transaction.atomic():
            free = not ShipmentBox.objects.filter(pallet=pallet, live=True).exists()
            both_looked.wait(30)
            PalletBox.objects.create(pallet=pallet, box=late)
        return free

    def load_without_the_lock() -> int:
        with transaction.atomic():
            on = list(PalletBox.objects.filter(pallet=pallet, live=True))
            both_looked.wait(30)
            for row in on:
                loads = shipment.shipment_boxes
                loads.create(box_id=row.box_id, pallet=pallet)
        return len(on)

    results = at_once([stack_without_the_lock, load_without_the_lock])
    # The pallet seemed to be on no shipment, and it went without the box.
    assert results.of == [True, 1]
    assert PalletBox.objects.filter(pallet=pallet, live=True).count() == 2
    assert factories.prove() != []


def test_a_pallet_is_loaded_with_a_box_or_the_box_does_not_come_on() -> None:
    size = factories.make_size(factories.make_recipe())
    for round_ in range(ROUNDS):
        first, late = (factories.make_labelled_box(size) for _ in range(2))
        pallet, shipment = factories.make_pallet(first), factories.make_shipment()
        acts = [stack(pallet, late), load(shipment, pallet)]
        results = at_once(acts[:: 1 if round_ % 2 else -1])
        said = codes(results)
        assert said in ([], ["pallet_in_shipment"], ["pallet_changed"]), results.of
        on = PalletBox.objects.filter(pallet=pallet, live=True).count()
        loads = ShipmentBox.objects.filter(pallet=pallet, live=True).count()
        assert loads == (0 if said == ["pallet_changed"] else on)
    assert factories.prove() == []


def test_two_clerks_scan_one_box_onto_two_pallets_and_one_gets_it() -> None:
    size = factories.make_size(factories.make_recipe())
    two = [factories.make_pallet() for _ in range(2)]
    for _ in range(ROUNDS):
        box = factories.make_labelled_box(size)
        results = at_once([stack(pallet, box) for pallet in two])
        assert len(results.values) == 1, results.of
        assert codes(results) == ["box_on_another_pallet"]
        assert PalletScan.objects.filter(box=box).count() == 1
    assert factories.prove() == []


def test_one_pallet_scanned_onto_two_shipments_goes_onto_one() -> None:
    box = factories.make_labelled_box()
    pallet = factories.make_pallet(box)
    two = [factories.make_shipment() for _ in range(2)]
    results = times(4, lambda n: load(two[n % 2], pallet)())
    assert len(results.values) == 1, results.of
    assert set(codes(results)) <= {"pallet_in_shipment", "pallet_on_already"}
    assert ShipmentBox.objects.filter(box=box, live=True).count() == 1
    assert factories.prove() == []


def test_a_hold_and_the_loading_of_a_pallet_always_see_each_other() -> None:
    size = factories.make_size(factories.make_recipe())
    for round_ in range(ROUNDS):
        held, other = (factories.make_labelled_box(size) for _ in range(2))
        pallet, shipment = factories.make_pallet(held, other), factories.make_shipment()

        def place(box: Box = held) -> holds.Held:
            what = {"target": "box", "value": box.pk, "reason": "Rough edge"}
            return holds.place_hold(**what, sign=sign())

        acts = [place, load(shipment, pallet)]
        results = at_once(acts[:: 1 if round_ % 2 else -1])
        assert codes(results) in ([], ["pallet_stays"])
        loads = ShipmentBox.objects.filter(shipment=shipment, live=True).count()
        assert loads == (2 if not results.errors else 0)
    assert factories.prove() == []


def test_a_box_comes_off_a_shipment_while_its_pallet_does() -> None:
    size = factories.make_size(factories.make_recipe())
    for round_ in range(ROUNDS):
        boxes = [factories.make_labelled_box(size) for _ in range(3)]
        pallet, shipment = factories.make_pallet(*boxes), factories.make_shipment()
        load(shipment, pallet)()
        acts = [box_off(shipment, boxes[0]), pallet_off(shipment, pallet)]
        results = at_once(acts[:: 1 if round_ % 2 else -1])
        assert results.values, results.of
        assert set(codes(results)) <= {"pallet_changed", "box_not_in_shipment"}
    assert factories.prove() == []
