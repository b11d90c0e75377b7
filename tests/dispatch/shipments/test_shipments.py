"""The service: what may go on a shipment, what may leave, and what nothing changes."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date
from functools import partial

import pytest

from dispatch.models import ShipEvent, Shipment, ShipmentBox, ShipScan
from dispatch.shipments import services
from dispatch.shipments.steps import refuse_changed
from kitting.domain.errors import LotwardError, OperationKeyReused
from kitting.ledger import holds
from kitting.lots.services import lots
from kitting.models import Box, BoxEvent, Link, Operation
from kitting.packing.services import boxes as packing
from kitting.packing.services import voiding
from kitting.packing.services.labels import print_box_label
from kitting.web.messages import ALL, sentence
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

Act = Callable[[], object]


def rows() -> list[list[object]]:
    """Everything that the services of shipments write, for telling that none did."""
    models = (Shipment, ShipmentBox, ShipScan, ShipEvent, Box, BoxEvent)
    counts: list[list[object]] = [[Operation.objects.count(), Link.objects.count()]]
    return counts + [
        list(model.objects.order_by("pk").values_list()) for model in models
    ]


def refused(act: Act) -> LotwardError:
    """Do an act that is refused: it has a sentence, and nothing is written."""
    sign()  # the signing person is made before, not by the act
    before = rows()
    with pytest.raises(LotwardError) as caught:
        act()
    assert rows() == before
    assert caught.value.code in ALL
    assert "%(" not in sentence(caught.value)
    assert f"({caught.value.code})" not in sentence(caught.value)
    return caught.value


def load(shipment: Shipment, box: Box) -> services.Scanned:
    return services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())


def hold(target: str, value: int | str) -> None:
    holds.place_hold(target=target, value=value, reason="Rough edge", sign=sign())


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


@once_a_module
def shipment(box: Box) -> Shipment:
    """An open one with a labelled box on it."""
    return factories.make_shipment(box)


# -- Beginning -----------------------------------------------------------------------


def test_a_shipment_begins_open_and_is_found_by_all_its_names() -> None:
    whom = factories.make_consignee("Szpital w Łodzi")
    begun = services.begin_shipment(
        consignee_id=whom.pk, reference="  Zamówienie 7 ", sign=sign()
    )
    shipment = Shipment.objects.get(pk=begun.shipment_id)
    assert (shipment.stage, shipment.reference) == ("open", "Zamówienie 7")
    assert shipment.search == " ".join(
        [begun.shipment.lower(), whom.code.lower(), "szpital w lodzi zamowienie 7"]
    )
    assert [(e.before, e.after) for e in shipment.events.all()] == [("", "open")]


def test_a_shipment_to_nobody_or_with_an_endless_reference_is_refused() -> None:
    whom = factories.make_consignee()

    def begin(pk: int, reference: str) -> LotwardError:
        return refused(
            lambda: services.begin_shipment(
                consignee_id=pk, reference=reference, sign=sign()
            )
        )

    assert_refused(begin(1, ""), "row_missing", what="consignee")
    assert_refused(begin(whom.pk, "R" * 41), "entry_too_long", most=40)


# -- On and off ----------------------------------------------------------------------


def test_a_labelled_box_goes_on_and_comes_off_and_goes_on_again(box: Box) -> None:
    shipment = factories.make_shipment()
    assert load(shipment, box).boxes == 1
    off = services.take_off_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())
    assert (off.box, off.boxes) == (box.serial, 0)
    box.refresh_from_db()
    assert box.stage == "labelled"
    assert load(shipment, box).boxes == 1
    box.refresh_from_db()
    assert box.stage == "loaded"
    assert [scan.on for scan in shipment.scans.order_by("pk")] == [True, False, True]
    assert factories.prove() == []


def test_a_box_that_is_on_already_is_refused_with_the_shipment_it_is_on(
    box: Box,
) -> None:
    first, second = factories.make_shipment(box), factories.make_shipment()
    again = refused(lambda: load(first, box))
    assert_refused(again, "box_on_already", shipment=first.number)
    other = refused(lambda: load(second, box))
    assert_refused(other, "box_in_shipment", shipment=first.number)
    assert first.consignee.name in sentence(other)


def test_a_box_that_left_is_refused_with_where_it_went(box: Box) -> None:
    gone = factories.send(factories.make_shipment(box))
    second = factories.make_shipment()
    error = refused(lambda: load(second, box))
    assert_refused(error, "box_left", shipment=gone.number)
    assert gone.consignee.name in sentence(error)


def test_a_box_that_is_not_labelled_is_refused_with_its_stage() -> None:
    shipment = factories.make_shipment()
    closed = factories.make_closed_box()
    opened = factories.make_open_box()
    for box, stage in ((closed, "closed"), (opened, "open")):
        error = refused(lambda box=box: load(shipment, box))  # type: ignore[misc]
        assert_refused(error, "box_not_labelled", box=str(box), stage=stage)


def test_a_voided_box_is_refused(box: Box) -> None:
    shipment = factories.make_shipment()
    voiding.void_box(
        box_id=box.pk, reason="Crushed", label=str(box.serial), sign=sign()
    )
    assert_refused(refused(lambda: load(shipment, box)), "box_voided", box=box.serial)


@pytest.mark.parametrize("target", ["lot", "bag", "box", "revision", "source"])
def test_a_held_box_is_refused_with_the_hold_that_reaches_it(
    target: str, box: Box
) -> None:
    shipment = factories.make_shipment()
    line = box.lines.get()
    values = {
        "lot": line.lot_id,
        "bag": line.bag_id,
        "box": box.pk,
        "revision": line.lot.revision_id,
        "source": line.lot.source,
    }
    hold(target, values[target])
    error = refused(lambda: load(shipment, box))
    assert_refused(error, "box_held", box=box.serial, reason="Rough edge")
    assert "Rough edge" in sentence(error)
    assert target in sentence(error)


def test_a_hold_on_a_material_reaches_the_boxes_of_what_was_made_from_it() -> None:
    free = {"needs_check": False, "needs_clearing": False}
    sheet = factories.make_lot(factories.make_revision(factories.make_part(**free)))
    visor = factories.make_revision(factories.make_part(**free))
    lot = factories.make_lot(visor, bags=(lots.NewBag(6),), made_from=((sheet.pk, 10),))
    size = factories.make_size(factories.make_recipe([(visor, 1, "set")]), 6)
    box = factories.make_open_box(size, None, lot.bags.get())
    packing.close_box(box_id=box.pk, sign=sign())
    print_box_label(box_id=box.pk, sign=sign())
    box.refresh_from_db()
    packing.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    shipment = factories.make_shipment()
    hold("lot", sheet.pk)
    error = refused(lambda: load(shipment, box))
    assert_refused(error, "box_held", box=box.serial, on=f"lot {sheet.number}")


def test_a_box_past_its_use_by_date_neither_goes_on_nor_leaves(box: Box) -> None:
    late = factories.make_labelled_box()
    shipment = factories.make_shipment(late)
    for one in (box, late):
        Box.objects.filter(pk=one.pk).update(use_by=date(2026, 1, 13))
    error = refused(lambda: load(shipment, box))
    assert_refused(error, "box_past_use_by", use_by=date(2026, 1, 13))
    sending = refused(
        lambda: services.send_shipment(
            unlabelled="by hand",
            driver="Driver 2",
            shipment_id=shipment.pk,
            sign=sign(),
        )
    )
    assert_refused(sending, "box_past_use_by", box=late.serial)


def test_a_box_on_its_last_day_may_go(box: Box) -> None:
    Box.objects.filter(pk=box.pk).update(use_by=factories.TODAY)
    assert factories.send(factories.make_shipment(box)).boxes == 1


def test_what_is_not_there_is_missing(box: Box) -> None:
    shipment = factories.make_shipment()
    for shipment_id, box_id in ((shipment.pk, 1), (1, box.pk)):
        for act in (services.load_box, services.take_off_box):
            error = refused(
                lambda act=act, s=shipment_id, b=box_id: act(  # type: ignore[misc]
                    shipment_id=s, box_id=b, sign=sign()
                )
            )
            assert error.code == "row_missing"


def test_only_a_box_that_is_on_comes_off(box: Box) -> None:
    other = factories.make_labelled_box()
    shipment, second = factories.make_shipment(box), factories.make_shipment(other)
    error = refused(
        lambda: services.take_off_box(
            shipment_id=shipment.pk, box_id=other.pk, sign=sign()
        )
    )
    assert_refused(error, "box_not_in_shipment", shipment=shipment.number)
    assert second.shipment_boxes.get().live


# -- Leaving ---------------------------------------------------------------------------


def test_a_shipment_leaves_whole_and_counts_what_left() -> None:
    recipe = factories.make_recipe()
    small, large = factories.make_size(recipe, 6), factories.make_size(recipe, 24)
    boxes = [factories.make_labelled_box(size) for size in (small, small, large)]
    shipment = factories.send(factories.make_shipment(*boxes))
    assert (shipment.boxes, shipment.sets) == (3, 36)
    assert (shipment.sent_at, shipment.sent_by) == (factories.NOW, "tester")
    assert {box.stage for box in Box.objects.all()} == {"sent"}
    for box in Box.objects.all():
        last = box.events.get(nth=box.events_seen)
        assert (last.before, last.after) == ("loaded", "sent")
    assert factories.prove() == []


def test_an_empty_shipment_does_not_leave() -> None:
    shipment = factories.make_shipment()
    error = refused(
        lambda: services.send_shipment(
            unlabelled="by hand",
            driver="Driver 2",
            shipment_id=shipment.pk,
            sign=sign(),
        )
    )
    assert_refused(error, "shipment_empty", shipment=shipment.number)


def test_a_hold_after_loading_stops_the_whole_shipment_and_names_the_box() -> None:
    good, bad = factories.make_labelled_box(), factories.make_labelled_box()
    shipment = factories.make_shipment(good, bad)
    hold("lot", bad.lines.get().lot_id)
    send = partial(
        services.send_shipment,
        unlabelled="by hand",
        driver="Driver 2",
        shipment_id=shipment.pk,
    )
    assert_refused(refused(lambda: send(sign=sign())), "box_held", box=bad.serial)
    services.take_off_box(shipment_id=shipment.pk, box_id=bad.pk, sign=sign())
    assert (
        services.send_shipment(
            unlabelled="by hand",
            driver="Driver 2",
            shipment_id=shipment.pk,
            sign=sign(),
        ).boxes
        == 1
    )


def test_a_box_that_came_on_or_off_since_the_page_was_shown_is_named(
    box: Box, shipment: Shipment
) -> None:
    later = factories.make_labelled_box()
    seen = shipment.scans.get().pk

    def send(seen: int) -> services.Sent:
        return services.send_shipment(
            unlabelled="by hand",
            driver="Driver 2",
            shipment_id=shipment.pk,
            seen=seen,
            sign=sign(),
        )

    load(shipment, later)
    assert_refused(refused(lambda: send(seen)), "box_came_on", box=later.serial)
    seen = shipment.scans.latest("pk").pk
    services.take_off_box(shipment_id=shipment.pk, box_id=later.pk, sign=sign())
    assert_refused(refused(lambda: send(seen)), "box_came_off", box=later.serial)
    assert send(shipment.scans.latest("pk").pk).boxes == 1


def test_a_sent_shipment_changes_no_more(box: Box) -> None:
    other = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    for act in (
        lambda: load(shipment, other),
        lambda: services.take_off_box(
            shipment_id=shipment.pk, box_id=box.pk, sign=sign()
        ),
        lambda: services.send_shipment(
            unlabelled="by hand",
            driver="Driver 2",
            shipment_id=shipment.pk,
            sign=sign(),
        ),
        lambda: services.cancel_shipment(
            shipment_id=shipment.pk, reason="Late", sign=sign()
        ),
    ):
        assert_refused(refused(act), "shipment_not_open", stage="sent")


# -- Cancelling -----------------------------------------------------------------------


def test_calling_off_frees_the_boxes_and_keeps_the_reason() -> None:
    boxes = [factories.make_labelled_box() for _ in range(2)]
    shipment = factories.make_shipment(*boxes)
    services.cancel_shipment(shipment_id=shipment.pk, reason=" No van ", sign=sign())
    shipment.refresh_from_db()
    assert (shipment.stage, shipment.boxes, shipment.sent_at) == ("cancelled", 0, None)
    assert shipment.events.get(after="cancelled").reason == "No van"
    assert {box.stage for box in Box.objects.all()} == {"labelled"}
    other = factories.send(factories.make_shipment(*boxes))
    assert other.boxes == 2
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("reason", "code"), [(" ", "reason_missing"), ("x" * 201, "entry_too_long")]
)
def test_calling_off_needs_a_reason_that_fits(
    reason: str, code: str, shipment: Shipment
) -> None:
    error = refused(
        lambda: services.cancel_shipment(
            shipment_id=shipment.pk, reason=reason, sign=sign()
        )
    )
    assert error.code == code


# -- The same act sent twice -----------------------------------------------------------


def test_an_act_that_is_sent_again_is_answered_as_the_first_time(box: Box) -> None:
    shipment = factories.make_shipment()
    once = sign()
    first = services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=once)
    again = services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=once)
    assert first == again
    leave = sign()
    sent = services.send_shipment(
        unlabelled="by hand",
        driver="Driver 2",
        shipment_id=shipment.pk,
        seen=None,
        sign=leave,
    )
    before = rows()
    assert sent == services.send_shipment(
        unlabelled="by hand", driver="Driver 2", shipment_id=shipment.pk, sign=leave
    )
    assert first == services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=once)
    assert rows() == before


def test_a_key_does_not_stand_for_two_boxes(box: Box) -> None:
    other = factories.make_labelled_box()
    shipment = factories.make_shipment()
    key = uuid.uuid4()
    services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign(key=key))
    error = refused(
        lambda: services.load_box(
            shipment_id=shipment.pk, box_id=other.pk, sign=sign(key=key)
        )
    )
    assert isinstance(error, OperationKeyReused)


def test_what_changes_between_the_locks_of_boxes_and_shipment_is_named(
    box: Box, shipment: Shipment
) -> None:
    with pytest.raises(LotwardError) as came_on:
        refuse_changed(shipment, [])
    assert_refused(came_on.value, "box_came_on", box=box.serial)
    services.take_off_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())
    with pytest.raises(LotwardError) as came_off:
        refuse_changed(shipment, [box.pk])
    assert_refused(came_off.value, "box_came_off", box=box.serial)
