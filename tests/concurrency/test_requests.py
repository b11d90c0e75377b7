"""Requests and boxes at the same moment: nothing serves what is cancelled, or too much."""

from __future__ import annotations

import threading
from functools import partial
from typing import Any

import pytest
from django.db import OperationalError, connection, transaction
from django.db.models import Sum

from dispatch.consignees.services import consignees
from dispatch.consignees.services.consignees import WhereTo, change_consignee
from dispatch.domain.needs import Asked
from dispatch.models import Consignee, Request, ShipmentBox
from dispatch.requests import services as requests
from dispatch.requests import steps
from dispatch.requests.services import (
    cancel_request,
    take_in_requests,
    take_request,
)
from dispatch.shipments import services
from kitting.domain.errors import Refused
from kitting.models import Box
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.factories import sign
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture(autouse=True)
def _who_signs(transactional_db: None) -> None:
    sign()  # the person who signs is made once, before any thread


def ask(whom: Consignee, box: Box, sets: int = 6) -> Request:
    done = take_request(
        consignee_id=whom.pk,
        product_id=box.size.product_id,
        asked=Asked(sets=sets, tier=1, way="telephone"),
        sign=sign(),
    )
    return Request.objects.get(number=done.request)


def given(asked: Request) -> int:
    loads = ShipmentBox.objects.filter(request=asked, live=True)
    return loads.aggregate(sets=Sum("box__size__sets"))["sets"] or 0


def load_both() -> Request:
    """Load two boxes for one request that a single one would serve, at once."""
    first = factories.make_labelled_box()
    second = factories.make_labelled_box(size=first.size)
    whom = factories.make_consignee()
    asked = ask(whom, first)
    acts = [
        partial(
            services.load_box,
            shipment_id=factories.make_shipment(consignee=whom).pk,
            box_id=box.pk,
            sign=sign(),
        )
        for box in (first, second)
    ]
    assert at_once(acts).errors == []
    return asked


@pytest.mark.parametrize("nth", range(4))
def test_two_boxes_loaded_at_once_do_not_serve_one_request_twice(nth: int) -> None:
    assert given(load_both()) == 6
    assert ShipmentBox.objects.filter(live=True, request=None).count() == 1
    assert factories.prove() == []


@control
def test_without_its_lock_both_would_serve_it(monkeypatch: pytest.MonkeyPatch) -> None:
    meet = meeting(2)

    def unlocked(consignee: int, product: int) -> list[Request]:
        rows = Request.objects.filter(consignee=consignee, product=product)
        return list(rows)

    def both_there(asked: list[Request], **options: bool) -> dict[int, int]:
        found = counted(asked, **options)
        meet()
        return found

    counted = steps.sets_given
    monkeypatch.setattr(services, "read_ahead", lambda shipment_id, box_id: None)
    monkeypatch.setattr(services, "_in_turn", lambda box: None)
    monkeypatch.setattr(steps, "_LOCKED", unlocked)
    monkeypatch.setattr(steps, "sets_given", both_there)
    assert given(load_both()) == 12


@pytest.mark.parametrize("nth", range(4))
def test_a_box_and_the_end_of_its_request_come_one_after_the_other(nth: int) -> None:
    box = factories.make_labelled_box()
    whom = factories.make_consignee()
    asked = ask(whom, box)
    shipment = factories.make_shipment(consignee=whom)
    load = partial(
        services.load_box, shipment_id=shipment.pk, box_id=box.pk, sign=sign()
    )
    cancel = partial(cancel_request, number=asked.number, reason="Enough", sign=sign())
    done = at_once([load, cancel])
    asked.refresh_from_db()
    assert all(isinstance(error, Refused) for error in done.errors), done.errors
    refused = [error.code for error in done.errors if isinstance(error, Refused)]
    assert (asked.stage, given(asked), refused) in [
        ("cancelled", 0, []),
        ("open", 6, ["request_loaded"]),
    ]
    assert factories.prove() == []


@pytest.mark.parametrize("nth", range(4))
def test_asking_and_closing_come_one_after_the_other(nth: int) -> None:
    box = factories.make_labelled_box()
    whom = factories.make_consignee()
    closed = WhereTo(name="N", country="GB", street="s", city="c", active=False)
    close = partial(
        change_consignee, code=whom.code, to=closed, sure="Moved", sign=sign()
    )
    begin = partial(
        services.begin_shipment, consignee_id=whom.pk, reference="", sign=sign()
    )
    asks = [partial(ask, whom, box) for _ in range(3)]
    done = at_once([*asks, close, begin])
    codes = {getattr(error, "code", repr(error)) for error in done.errors}
    assert codes <= {"consignee_closed"}
    assert factories.prove() == []


def test_what_waits_for_the_closing_of_a_consignee_is_refused() -> None:
    box = factories.make_labelled_box()
    whom = factories.make_consignee()
    held, asked = threading.Event(), threading.Event()

    def close() -> None:
        with transaction.atomic():
            Consignee.objects.filter(pk=whom.pk).update(active=False)
            held.set()
            asked.wait(0.5)

    def take() -> None:
        held.wait(PATIENCE_S)
        try:
            ask(whom, box)
        finally:
            asked.set()

    (error,) = at_once([close, take]).errors
    assert isinstance(error, Refused)
    assert error.code == "consignee_closed"


def take_a_file_and_close() -> tuple[Consignee, Results]:
    box = factories.make_labelled_box()
    whom = factories.make_consignee()
    product = box.size.product.code
    data = f"consignee;product;sets\n{whom.code};{product};6\n".encode()
    closed = WhereTo(name="N", country="GB", street="s", city="c", active=False)
    take = partial(take_in_requests, data=data, date_order=None, sign=sign())
    close = partial(change_consignee, code=whom.code, to=closed, sign=sign())
    return whom, at_once([take, close])


def has_open(whom: Consignee) -> bool:
    return whom.requests.filter(stage="open").exists()


@pytest.mark.parametrize("nth", range(4))
def test_a_file_of_requests_and_closing_come_one_after_the_other(nth: int) -> None:
    whom, done = take_a_file_and_close()
    codes = [getattr(error, "code", repr(error)) for error in done.errors]
    assert codes in (["file_has_problems"], ["consignee_asked"])
    whom.refresh_from_db()
    assert whom.active == has_open(whom)
    assert factories.prove() == []


@control
def test_without_its_lock_nobody_who_takes_a_file_or_closes_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    meet = meeting(2)
    planned, opened = requests._planned, consignees.open_numbers

    def both_planned(*said: Any) -> requests.Plan:
        found = planned(*said)
        meet()
        return found

    def unlocked(model: Any, ids: Any, *_beside: str) -> dict[int, Any]:
        return model.objects.in_bulk(list(ids))  # type: ignore[no-any-return]

    def both_looked(row: Consignee) -> list[str]:
        found = opened(row)
        meet()
        return found

    monkeypatch.setattr(requests, "_planned", both_planned)
    monkeypatch.setattr(consignees, "open_numbers", both_looked)
    monkeypatch.setattr(requests.locking, "lock_rows", unlocked)
    monkeypatch.setattr(consignees, "lock_with_merged", lambda act, rows: {})
    monkeypatch.setattr(consignees, "row_to_change", lambda act, rows, seen: rows.get())
    _whom, done = take_a_file_and_close()
    for error in done.errors:  # the database alone may stop one of them
        assert isinstance(error, OperationalError)
