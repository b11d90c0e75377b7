"""Two people at once who write of one shipment: received, settled, back, passed on."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest
from django.db import connection, transaction
from django.db.models import Sum

from dispatch.domain.receipts import BoxSaid
from dispatch.models import PassedOn, Return, Settlement
from dispatch.receipts.services import deliveries, links, passing, returns
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.ledger.operations import Sign
from kitting.models import Box, Link, Operation
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.concurrency.threads import Results, at_once, times
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture(autouse=True)
def _who_signs(transactional_db: None) -> None:
    sign()  # the person who signs is made once, before any thread


def codes(results: Results) -> list[str]:
    """The codes of the refusals; anything but a refusal is no answer."""
    assert all(isinstance(error, LotwardError) for error in results.errors), results.of
    return sorted(error.code for error in results.errors)  # type: ignore[attr-defined]


@control
def test_control_without_the_lock_both_find_room_for_their_sets() -> None:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    cage = factories.make_place(PlaceKind.QUARANTINE)
    both_looked = threading.Barrier(2)
    act = Operation.objects.latest("pk")

    def bring_without_the_lock(_nth: int) -> bool:
        with transaction.atomic():
            before = Return.objects.filter(box=box).aggregate(n=Sum("sets"))["n"] or 0
            both_looked.wait(30)
            row = {"sets": 4, "opened": True, "place": cage, "note": "Twin"}
            Return.objects.create(box=box, operation=act, **row)
        return before + 4 <= box.size.sets

    assert times(2, bring_without_the_lock).of == [True, True]
    assert Return.objects.aggregate(n=Sum("sets"))["n"] > box.size.sets


def test_no_more_sets_come_back_than_left() -> None:
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    cage = factories.make_place(PlaceKind.QUARANTINE)
    what = {"sets": 4, "opened": True, "note": "Loose"}
    signs = [later(shipment) for _ in range(2)]
    results = times(
        2,
        lambda n: returns.record_return(
            box_id=box.pk, place_id=cage.pk, sign=signs[n], **what
        ),
    )
    assert codes(results) == ["sets_not_in_box"]
    assert Return.objects.get().sets == 4
    assert factories.prove() == []


def test_one_of_two_clerks_records_the_delivery() -> None:
    shipment = factories.send(factories.make_shipment(factories.make_labelled_box()))
    signs = [later(shipment) for _ in range(2)]
    note = said(shipment, 1)
    results = times(
        2,
        lambda n: deliveries.record_delivery(
            shipment_id=shipment.pk, said=note, sign=signs[n]
        ),
    )
    assert codes(results) == ["delivery_on_record"]
    assert shipment.receipts.count() == 1
    assert [box.stage for box in Box.objects.all()] == ["delivered"]
    assert factories.prove() == []


@pytest.mark.parametrize("nth", range(4))
def test_boxes_that_two_pass_on_at_once_go_from_one_to_the_next(nth: int) -> None:
    """Whoever is second got them from the first, so that a recall finds them."""
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    assert shipment.sent_at is not None
    to = [factories.make_consignee() for _ in range(2)]
    told = {"point": "", "told_by": "Store", "on": shipment.sent_at.date(), "note": ""}
    signs = [later(shipment) for _ in range(2)]
    results = times(
        2,
        lambda n: passing.pass_on(
            shipment_id=shipment.pk,
            box_ids=[box.pk],
            consignee_id=to[n].pk,
            sign=signs[n],
            **told,
        ),
    )
    assert codes(results) == []
    first, second = PassedOn.objects.order_by("pk")
    assert (first.giver, second.giver) == (shipment.consignee, first.consignee)
    assert shipment.shipment_boxes.get().passed == second
    assert factories.prove() == []


def test_of_two_who_settle_a_delivery_one_is_told() -> None:
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    damaged = said(shipment, 1, BoxSaid(box.pk, "damaged"))
    of = {"shipment_id": shipment.pk}
    deliveries.record_delivery(**of, said=damaged, sign=later(shipment))
    of["seen"] = shipment.receipts.get().pk
    signs = [later(shipment) for _ in range(2)]
    results = times(
        2,
        lambda n: deliveries.settle_delivery(**of, note=f"Call {n}", sign=signs[n]),
    )
    assert codes(results) == ["delivery_settled"]
    assert Settlement.objects.count() == 1
    assert factories.prove() == []


def test_of_two_who_correct_a_delivery_one_is_told() -> None:
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    of = {"shipment_id": shipment.pk}
    deliveries.record_delivery(**of, said=said(shipment, 1), sign=later(shipment))
    seen = shipment.receipts.get().pk
    signs = [later(shipment) for _ in range(2)]
    results = times(
        2,
        lambda n: deliveries.correct_delivery(
            **of,
            said=said(shipment, 1, BoxSaid(box.pk, "damaged", note=f"Side {n}")),
            reason="Looked again",
            seen=seen,
            sign=signs[n],
        ),
    )
    assert codes(results) == ["page_is_old"]
    assert shipment.receipts.count() == 2
    assert factories.prove() == []


@pytest.mark.parametrize("nth", range(4))
def test_no_answer_comes_after_the_end_of_its_link(nth: int) -> None:
    shipment = factories.send(factories.make_shipment(factories.make_labelled_box()))
    of = {"shipment_id": shipment.pk}
    links.give_link(**of, days=3, sign=later(shipment))
    theirs = replace(later(shipment), by=links.consignee())
    counted = said(shipment, 1, way="link")
    answer = partial(links.answer_link, **of, nth=1, said=counted, sign=theirs)
    end = partial(links.end_link, **of, sign=later(shipment))
    results = at_once([answer, end])
    assert codes(results) in ([], ["link_is_over"])
    acts = Link.objects.order_by("seq").values_list("operation__name", flat=True)
    assert list(acts)[-1] == "end_link"
    assert shipment.receipts.count() == 1 - len(results.errors)
    assert factories.prove() == []


def hold_beside(act: Callable[[], object], box: Box, now: Sign) -> Results:
    """Place a hold on a lot in a box while something else is done with the box."""
    lot = box.lines.values_list("lot", flat=True)[0]
    hold = {"target": "lot", "value": lot, "reason": "Haze"}
    return at_once([act, partial(holds.place_hold, **hold, sign=now)])


@pytest.mark.parametrize("nth", range(4))
def test_a_hold_counts_a_box_that_comes_back_where_it_is(nth: int) -> None:
    """It is gone if the hold was first, and here no more than a consignee has it."""
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    cage = factories.make_place(PlaceKind.QUARANTINE)
    what = {"sets": 6, "opened": False, "place_id": cage.pk, "note": "Not wanted"}
    back = partial(returns.record_return, box_id=box.pk, sign=later(shipment), **what)
    results = hold_beside(back, box, later(shipment))
    assert codes(results) == []
    held = results.of[1]
    names = Link.objects.order_by("-seq").values_list("operation__name", flat=True)
    assert held.boxes_gone == (1 if names[0] == "record_return" else 0)
    assert factories.prove() == []


@pytest.mark.parametrize("nth", range(4))
def test_a_hold_and_passing_on_stop_each_other_never(nth: int) -> None:
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    assert shipment.sent_at is not None
    told = {"point": "", "told_by": "Store", "on": shipment.sent_at.date(), "note": ""}
    of = {"shipment_id": shipment.pk, "box_ids": [box.pk]}
    to = factories.make_consignee()
    on = partial(
        passing.pass_on, **of, **told, consignee_id=to.pk, sign=later(shipment)
    )
    results = hold_beside(on, box, later(shipment))
    assert codes(results) == []
    assert results.of[1].boxes_gone == 1
    assert PassedOn.objects.get().consignee == to
    assert factories.prove() == []
