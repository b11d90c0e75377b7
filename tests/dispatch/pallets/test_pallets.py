"""Pallets: begun, built by scans, broken up; loaded whole or not at all."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any, TypeVar

import pytest
from stdnum import ean
from stdnum.iso7064 import mod_37_36

from dispatch.domain.needs import Asked
from dispatch.models import Consignee, Pallet, PalletBox, Shipment, ShipmentBox
from dispatch.pallets import services
from dispatch.receipts.services.returns import record_return
from dispatch.requests.services import take_request
from dispatch.shipments import services as shipments
from kitting.domain.errors import Conflict, LotwardError, OnHold, Refused, WrongStage
from kitting.ledger import holds
from kitting.models import Box, Counter, Workshop
from kitting.packing.services import voiding
from tests import factories
from tests.databases import once_a_module
from tests.dispatch.allotment.allotting import confirm, promised
from tests.factories import load_pallet, make_pallet, make_shipment, sign

pytestmark = pytest.mark.django_db

Error = TypeVar("Error", bound=LotwardError)


def refusal(kind: type[Error], act: Callable[[], Any]) -> Error:
    with pytest.raises(kind) as caught:
        act()
    return caught.value


@once_a_module
def boxes() -> list[Box]:
    """Three boxes of six, ready to go, in a workshop with a company prefix."""
    Workshop.objects.update(gs1_prefix="9521234")
    first = factories.make_labelled_box()
    return [first, *(factories.make_labelled_box(size=first.size) for _ in range(2))]


def on(pallet: Pallet) -> set[Box]:
    return set(Box.objects.filter(pallet_boxes__pallet=pallet, pallet_boxes__live=True))


def loaded(shipment: Shipment) -> set[Box]:
    live = ShipmentBox.objects.filter(shipment=shipment, live=True)
    return set(Box.objects.filter(pk__in=live.values("box")))


def stack(pallet: Pallet, box: Box) -> services.Stacked:
    return services.stack_box(pallet_id=pallet.pk, box_id=box.pk, sign=sign())


def unstack(pallet: Pallet, box: Box) -> services.Stacked:
    return services.unstack_box(pallet_id=pallet.pk, box_id=box.pk, sign=sign())


def break_up(pallet: Pallet) -> services.BrokenUp:
    return services.break_up_pallet(pallet_id=pallet.pk, reason="It leans", sign=sign())


def ask(whom: Consignee, box: Box, sets: int) -> None:
    take_request(
        consignee_id=whom.pk,
        product_id=box.size.product_id,
        asked=Asked(sets=sets, tier=1, way="mail"),
        sign=sign(),
    )


# -- Numbers ---------------------------------------------------------------------------


def test_its_number_has_a_check_character_and_its_sscc_is_the_next_after_a_box(boxes):
    before = Counter.objects.get(name="sscc").next
    pallet = make_pallet()
    assert pallet.number[0] == "P"
    # python-stdnum, stdnum.iso7064.mod_37_36 and stdnum.ean (the GS1 check digit).
    assert mod_37_36.is_valid(pallet.number)
    assert pallet.sscc is not None
    assert pallet.sscc[-1] == ean.calc_check_digit(pallet.sscc[:-1])
    assert pallet.sscc[:-1] == f"09521234{before:09}"
    later = factories.make_labelled_box(size=boxes[0].size)
    assert later.sscc is not None
    assert later.sscc[:-1] == f"09521234{before + 1:09}"


def test_without_a_prefix_it_has_its_number_only(boxes):
    Workshop.objects.update(gs1_prefix="")
    pallet = make_pallet(boxes[0])
    assert (pallet.number[0], pallet.sscc) == ("P", None)
    assert factories.prove() == []


# -- Building --------------------------------------------------------------------------


def test_it_is_built_scan_by_scan_and_a_mistake_comes_off(boxes):
    first, second, _ = boxes
    pallet = make_pallet(first)
    done = stack(pallet, second)
    assert (done.pallet, done.box, done.boxes) == (pallet.number, second.serial, 2)
    assert unstack(pallet, first).boxes == 1
    assert on(pallet) == {second}
    assert stack(pallet, first).boxes == 2
    assert {box.stage for box in on(pallet)} == {"labelled"}
    assert factories.prove() == []


def test_a_box_is_on_one_pallet_at_a_time(boxes):
    pallet, other = make_pallet(boxes[0]), make_pallet()
    error = refusal(Conflict, lambda: stack(other, boxes[0]))
    assert (error.code, error.params["pallet"]) == (
        "box_on_another_pallet",
        pallet.number,
    )
    assert (
        refusal(Conflict, lambda: stack(pallet, boxes[0])).code == "box_on_this_pallet"
    )
    error = refusal(Refused, lambda: unstack(other, boxes[0]))
    assert error.code == "box_not_on_pallet"


def test_only_a_box_that_may_go_comes_on(boxes):
    pallet, (first, second, third) = make_pallet(), boxes
    closed = factories.make_closed_box(size=first.size)
    assert refusal(WrongStage, lambda: stack(pallet, closed)).code == "box_not_labelled"
    shipment = make_shipment(first)
    error = refusal(Conflict, lambda: stack(pallet, first))
    assert (error.code, error.params["shipment"]) == (
        "box_in_shipment",
        shipment.number,
    )
    factories.send(shipment)
    assert refusal(Conflict, lambda: stack(pallet, first)).code == "box_left"
    hold(second)
    assert refusal(OnHold, lambda: stack(pallet, second)).code == "box_held"
    Box.objects.filter(pk=third.pk).update(use_by=factories.TODAY - timedelta(1))
    assert refusal(Refused, lambda: stack(pallet, third)).code == "box_past_use_by"
    assert on(pallet) == set()


def hold(box: Box) -> None:
    held = {"target": "box", "value": box.pk, "reason": "Crushed corner"}
    holds.place_hold(**held, sign=sign())


def test_broken_up_it_lets_its_boxes_go_and_takes_none(boxes):
    pallet = make_pallet(*boxes[:2])
    assert break_up(pallet).boxes == 2
    assert on(pallet) == set()
    for act in (lambda: stack(pallet, boxes[2]), lambda: break_up(pallet)):
        assert refusal(WrongStage, act).code == "pallet_broken_up"
    error = refusal(WrongStage, lambda: load_pallet(make_shipment(), pallet))
    assert error.code == "pallet_broken_up"
    assert on(make_pallet(*boxes[:2])) == set(boxes[:2])
    assert factories.prove() == []


# -- Loading ---------------------------------------------------------------------------


def test_one_scan_loads_all_of_its_boxes(boxes):
    pallet, shipment = make_pallet(*boxes), make_shipment()
    done = load_pallet(shipment, pallet)
    assert (done.pallet, done.its, done.boxes) == (pallet.number, 3, 3)
    assert loaded(shipment) == set(boxes)
    assert {box.stage for box in loaded(shipment)} == {"loaded"}
    assert factories.prove() == []
    gone = factories.send(shipment)
    assert (gone.boxes, gone.sets) == (3, 18)
    assert factories.prove() == []


def test_a_box_on_a_pallet_is_not_loaded_by_itself(boxes):
    pallet, shipment = make_pallet(*boxes), make_shipment()
    one = {"shipment_id": shipment.pk, "box_id": boxes[0].pk}
    error = refusal(Conflict, lambda: shipments.load_box(**one, sign=sign()))
    assert (error.code, error.params["pallet"]) == ("box_on_pallet", pallet.number)
    unstack(pallet, boxes[0])
    shipments.load_box(**one, sign=sign())
    load_pallet(shipment, pallet)
    assert loaded(shipment) == set(boxes)


def test_what_may_not_go_is_one_list_and_nothing_is_half_loaded(boxes):
    held, voided, past = boxes
    fine = factories.make_labelled_box(size=held.size)
    pallet, shipment = make_pallet(held, fine, voided, past), make_shipment()
    hold(held)
    voiding.void_box(
        box_id=voided.pk, label=str(voided.serial), reason="Wet", sign=sign()
    )
    Box.objects.filter(pk=past.pk).update(use_by=factories.TODAY - timedelta(1))
    error = refusal(Refused, lambda: load_pallet(shipment, pallet))
    assert (error.code, error.params["boxes"]) == ("pallet_stays", 3)
    assert {(each.code, each.params["box"]) for each in error.besides} == {
        ("box_held", held.serial),
        ("box_voided", voided.serial),
        ("box_past_use_by", past.serial),
    }
    assert loaded(shipment) == set()
    fine.refresh_from_db()
    assert fine.stage == "labelled"
    for box in (held, voided, past):
        unstack(pallet, box)
    load_pallet(shipment, pallet)
    assert loaded(shipment) == {fine}


def test_a_box_of_what_they_did_not_ask_for_keeps_the_pallet_here(boxes):
    other, whom = factories.make_labelled_box(), factories.make_consignee()
    shipment = make_shipment(consignee=whom)
    ask(whom, boxes[0], 12)
    pallet = make_pallet(*boxes, other)
    error = refusal(Refused, lambda: load_pallet(shipment, pallet))
    assert [each.code for each in error.besides] == ["box_not_asked"]
    assert error.besides[0].params["box"] == other.serial
    unstack(pallet, other)
    load_pallet(shipment, pallet)
    served = ShipmentBox.objects.filter(shipment=shipment, live=True)
    # Two boxes of six serve twelve sets; the third is more than they asked for.
    assert served.exclude(request=None).count() == 2
    assert factories.prove() == []


def test_boxes_that_are_promised_to_another_keep_the_pallet_here(boxes):
    hill, dale = (factories.make_consignee(name) for name in ("Hill", "Dale"))
    ask(hill, boxes[0], 6)
    confirm(boxes[0].size.product)
    pallet, shipment = make_pallet(*boxes), make_shipment(consignee=dale)
    error = refusal(Refused, lambda: load_pallet(shipment, pallet))
    # Three are ready and one is promised: two may go, and the third may not.
    (stays,) = error.besides
    assert (stays.code, stays.params["whom"]) == ("box_promised", "Hill (1)")
    assert loaded(shipment) == set()
    unstack(pallet, Box.objects.get(serial=stays.params["box"]))
    load_pallet(shipment, pallet)
    assert len(loaded(shipment)) == 2
    assert factories.prove() == []


def test_a_pallet_keeps_a_promise_to_its_own_consignee(boxes):
    hill = factories.make_consignee("Hill")
    ask(hill, boxes[0], 18)
    confirm(boxes[0].size.product)
    shipment = make_shipment(consignee=hill)
    load_pallet(shipment, make_pallet(*boxes))
    loads = ShipmentBox.objects.filter(shipment=shipment, live=True)
    assert loads.exclude(promise=None).count() == 3
    shipments.cancel_shipment(shipment_id=shipment.pk, reason="No van", sign=sign())
    assert promised(boxes[0].size.product) != {}
    assert factories.prove() == []


def test_an_empty_pallet_is_not_loaded():
    pallet = make_pallet()
    error = refusal(Refused, lambda: load_pallet(make_shipment(), pallet))
    assert error.code == "pallet_empty"
    break_up(pallet)


def test_a_loaded_pallet_stays_as_it_is(boxes):
    pallet, shipment = make_pallet(*boxes[:2]), make_shipment()
    load_pallet(shipment, pallet)
    code = refusal(Conflict, lambda: load_pallet(shipment, pallet)).code
    assert code == "pallet_on_already"
    for act in (
        lambda: load_pallet(make_shipment(), pallet),
        lambda: stack(pallet, boxes[2]),
        lambda: unstack(pallet, boxes[0]),
        lambda: break_up(pallet),
    ):
        error = refusal(Conflict, act)
        assert (error.code, error.params["shipment"]) == (
            "pallet_in_shipment",
            shipment.number,
        )
    factories.send(shipment)
    assert refusal(Conflict, lambda: break_up(pallet)).code == "pallet_left"


# -- Unloading -------------------------------------------------------------------------


def test_taken_off_whole_it_stands_as_before(boxes):
    pallet, shipment = make_pallet(*boxes[:2]), make_shipment(boxes[2])
    load_pallet(shipment, pallet)
    off = {"shipment_id": shipment.pk, "pallet_id": pallet.pk}
    done = shipments.take_off_pallet(**off, sign=sign())
    assert (done.its, done.boxes) == (2, 1)
    assert loaded(shipment) == {boxes[2]}
    assert on(pallet) == set(boxes[:2])
    error = refusal(Refused, lambda: shipments.take_off_pallet(**off, sign=sign()))
    assert error.code == "pallet_not_in_shipment"
    load_pallet(make_shipment(), pallet)
    assert factories.prove() == []


def test_a_box_that_came_on_a_pallet_comes_off_it_and_that_is_said(boxes):
    pallet, shipment = make_pallet(*boxes), make_shipment()
    load_pallet(shipment, pallet)
    hold(boxes[0])
    off = {"shipment_id": shipment.pk, "box_id": boxes[0].pk}
    done = shipments.take_off_box(**off, sign=sign())
    assert (done.pallet, done.boxes) == (pallet.number, 2)
    assert on(pallet) == loaded(shipment) == set(boxes[1:])
    factories.send(shipment)
    assert factories.prove() == []


def test_a_cancelled_shipment_leaves_it_as_it_was(boxes):
    pallet, shipment = make_pallet(*boxes), make_shipment()
    load_pallet(shipment, pallet)
    shipments.cancel_shipment(shipment_id=shipment.pk, reason="No van", sign=sign())
    assert on(pallet) == set(boxes)
    assert {box.stage for box in on(pallet)} == {"labelled"}
    load_pallet(make_shipment(), pallet)
    assert factories.prove() == []


def test_a_box_that_comes_back_leaves_the_sent_pallet_on_record(boxes):
    pallet, shipment = make_pallet(*boxes), make_shipment()
    load_pallet(shipment, pallet)
    factories.send(shipment)
    cage = factories.make_place("quarantine")
    record_return(
        box_id=boxes[0].pk,
        sets=6,
        opened=False,
        place_id=cage.pk,
        note="Not needed",
        sign=sign(),
    )
    assert on(pallet) == set(boxes)
    assert refusal(Conflict, lambda: break_up(pallet)).code == "pallet_left"
    error = refusal(Conflict, lambda: stack(make_pallet(), boxes[0]))
    assert error.code == "box_left"
    assert factories.prove() == []


def test_the_same_act_sent_twice_happens_once(boxes):
    begin = sign()
    first, again = (services.begin_pallet(sign=begin) for _ in range(2))
    assert first == again
    pallet, shipment = Pallet.objects.get(number=first.pallet), make_shipment()
    put = sign()
    for _ in range(2):
        services.stack_box(pallet_id=pallet.pk, box_id=boxes[0].pk, sign=put)
    load = sign()
    done = [
        shipments.load_pallet(shipment_id=shipment.pk, pallet_id=pallet.pk, sign=load)
        for _ in range(2)
    ]
    assert done[0] == done[1]
    assert PalletBox.objects.filter(pallet=pallet).count() == 1
    assert loaded(shipment) == {boxes[0]}
