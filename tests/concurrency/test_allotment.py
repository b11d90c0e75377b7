"""Allotting and loading at the same moment: nothing is promised twice, or loaded past it."""

from __future__ import annotations

from functools import partial

import pytest
from django.db import connection

from dispatch.allotment import services as allotment
from dispatch.allotment.queries.proposals import Facts
from dispatch.domain.proposal import Chosen
from dispatch.models import Allotment, Promise, Request, ShipmentBox
from dispatch.requests import steps
from dispatch.requests.queries.promises import Promises, open_promises, remaining
from dispatch.shipments import services
from kitting.domain.errors import Conflict, Refused
from kitting.models import Box, Product
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.dispatch.allotment.allotting import ask, confirm, facts, pack
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture(autouse=True)
def _who_signs(transactional_db: None) -> None:
    sign()  # the person who signs is made once, before any thread


def two_clerks() -> Results:
    """Let two clerks confirm the same proposal of two boxes for two requests."""
    first = factories.make_labelled_box()
    pack(first.size, 1)
    product = first.size.product
    for _ in range(2):
        ask(factories.make_consignee(), product, 60)
    seen = facts(product)
    confirm = [
        partial(
            allotment.allot,
            product_id=product.pk,
            chosen=Chosen(7, {}),
            beyond=seen.beyond,
            seen=seen.mark,
            sign=sign(),
        )
        for _ in range(2)
    ]
    return at_once(confirm)


@pytest.mark.parametrize("nth", range(4))
def test_of_two_clerks_who_confirm_at_once_the_second_is_told(nth: int) -> None:
    (error,) = two_clerks().errors
    assert isinstance(error, Conflict)
    number = Allotment.objects.get().number
    assert (error.code, error.params["allotment"]) == ("allotted_meanwhile", number)
    assert factories.prove() == []


@control
def test_without_their_locks_both_would_promise_the_same_boxes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    meet = meeting(2)
    asked = allotment.facts_of

    def both_there(*said: object) -> Facts:
        found = asked(*said)  # type: ignore[arg-type]
        meet()
        return found

    def unlocked(model: type, pk: int, *beside: str) -> object:
        return model._default_manager.get(pk=pk)  # type: ignore[attr-defined]

    monkeypatch.setattr(allotment, "facts_of", both_there)
    monkeypatch.setattr(allotment.locking, "lock_row", unlocked)
    monkeypatch.setattr(allotment.locking, "lock_found", list)
    assert two_clerks().errors == []
    product = Product.objects.get(pk=Allotment.objects.first().product_id)  # type: ignore[union-attr]
    assert open_promises([product.pk]).total() == {6: 4}


def load_two() -> Results:
    """Load two of three boxes for two who have no promise; two are promised to another."""
    first = factories.make_labelled_box()
    boxes = [first, *pack(first.size, 2)]
    product = first.size.product
    ask(factories.make_consignee(), product, 12)
    seen = facts(product)
    allotment.allot(
        product_id=product.pk,
        chosen=Chosen(7, {}),
        beyond=seen.beyond,
        seen=seen.mark,
        sign=sign(),
    )
    return at_once([_loading(box) for box in boxes[:2]])


def _loading(box: Box) -> partial[services.Scanned]:
    shipment = factories.make_shipment()
    return partial(
        services.load_box, shipment_id=shipment.pk, box_id=box.pk, sign=sign()
    )


@pytest.mark.parametrize("nth", range(4))
def test_of_two_who_load_the_last_free_box_one_is_refused(nth: int) -> None:
    (error,) = load_two().errors
    assert isinstance(error, Refused)
    assert error.code == "box_promised"
    assert ShipmentBox.objects.filter(live=True).count() == 1
    assert factories.prove() == []


@control
def test_without_its_turn_both_would_take_what_is_promised(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    meet = meeting(2)
    asked = steps.open_promises

    def both_there(products: list[int]) -> Promises:
        found = asked(products)
        meet()
        return found

    monkeypatch.setattr(services, "read_ahead", lambda shipment_id, box_id: None)
    monkeypatch.setattr(services, "_in_turn", lambda box: None)
    monkeypatch.setattr(steps, "open_promises", both_there)
    assert load_two().errors == []
    assert Request.objects.count() == 1
    assert ShipmentBox.objects.filter(live=True).count() == 2


def load_and_release() -> Results:
    """Load the one box that is promised while the promise is released."""
    box = factories.make_labelled_box()
    product = box.size.product
    whom = factories.make_consignee()
    ask(whom, product, 6)
    number = confirm(product).allotment
    shipment = factories.make_shipment(consignee=whom)
    of = {"shipment_id": shipment.pk, "box_id": box.pk}
    why = {"number": number, "reason": "Packed tomorrow"}
    load = partial(services.load_box, **of, sign=sign())
    return at_once([load, partial(allotment.release_promise, **why, sign=sign())])


@pytest.mark.parametrize("nth", range(4))
def test_a_promise_is_kept_or_released_and_never_both(nth: int) -> None:
    """Who is second finds it so: nothing to release, or a box that keeps no promise."""
    errors = load_and_release().errors
    assert [getattr(error, "code", error) for error in errors] in (
        [],
        ["nothing_promised"],
    )
    kept = ShipmentBox.objects.get(live=True).promise is not None
    assert kept == bool(errors)
    assert [row.remains for row in remaining(Promise.objects.all())] == [0]
    assert factories.prove() == []


@control
def test_without_their_turn_it_would_be_both(monkeypatch: pytest.MonkeyPatch) -> None:
    meet = meeting(2)

    def both_there(products: list[int]) -> Promises:
        found = open_promises(products)
        meet()
        return found

    def unlocked(model: type, pk: int, *beside: str) -> object:
        return model._default_manager.select_related(*beside).get(pk=pk)  # type: ignore[attr-defined]

    monkeypatch.setattr(services, "_in_turn", lambda boxes: None)
    monkeypatch.setattr(steps, "open_promises", both_there)
    monkeypatch.setattr(allotment, "open_promises", both_there)
    monkeypatch.setattr(allotment.locking, "lock_row", unlocked)
    assert load_and_release().errors == []
    assert [row.remains for row in remaining(Promise.objects.all())] == [-1]
