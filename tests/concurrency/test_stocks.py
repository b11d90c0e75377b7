"""Managers at the same moment at the same stock, and at the same printer."""

from __future__ import annotations

from dataclasses import replace
from uuid import uuid4

import pytest
from django.db import connection, transaction

from kitting.domain.errors import Conflict
from kitting.ledger.coded import mark_of
from kitting.ledger.operations import Sign
from kitting.ledger.setup import ensure_workshop
from kitting.models import Operation, Print, PrintJob, Stock
from kitting.printing.services.printers import print_test_page
from kitting.printing.services.stocks import keep_stock
from tests import factories
from tests.concurrency.threads import meeting, times
from tests.concurrency.twins import Meet
from tests.printers import BAG_ROLL, BOX_ROLL, make_printer, make_stock

pytestmark = pytest.mark.django_db(transaction=True)
MANAGERS = 4


@pytest.fixture
def signs(transactional_db: None) -> list[Sign]:
    ensure_workshop("Harrow Lane Workshop")
    people = [
        factories.make_person("manager", name=f"manager-{n}") for n in range(MANAGERS)
    ]
    return [Sign(one, uuid4(), factories.NOW) for one in people]


def test_of_two_changes_to_a_stock_one_counts(signs: list[Sign]) -> None:
    seen = mark_of(make_stock(BAG_ROLL))
    found = times(
        MANAGERS,
        lambda n: keep_stock(
            facts=replace(BAG_ROLL, name=f"Name {n}"),
            was="BAG",
            seen=seen,
            sign=signs[n],
        ),
    )
    assert len(found.values) == 1
    assert {getattr(error, "code", error) for error in found.errors} == {"page_is_old"}
    changed = Operation.objects.exclude(by__username="tester").get()
    assert Stock.objects.get().name == f"Name {changed.by.username[-1]}"


def test_of_two_stocks_of_one_code_one_is_entered(signs: list[Sign]) -> None:
    found = times(MANAGERS, lambda n: keep_stock(facts=BAG_ROLL, sign=signs[n]))
    assert len(found.values) == 1
    assert {getattr(error, "code", error) for error in found.errors} == {"code_taken"}
    assert Stock.objects.count() == 1


def test_test_pages_of_one_stock_are_copies_with_numbers_of_their_own(
    signs: list[Sign],
) -> None:
    first = make_printer("ipp://192.0.2.7/", BOX_ROLL)
    other = make_printer("ipp://192.0.2.8/", BOX_ROLL, code="P2")
    found = times(
        MANAGERS,
        lambda n: print_test_page(
            printer_id=(first if n % 2 else other).pk, sign=signs[n]
        ),
    )
    assert found.errors == []
    assert sorted(tried.copy for tried in found.values) == [1, 2, 3, 4]
    assert Print.objects.count() == PrintJob.objects.count() == MANAGERS


def change_without_the_lock(n: int, seen: str, meet: Meet) -> None:
    """The same reads and writes as the service's, no lock."""
    with transaction.atomic(durable=True):
        stock = Stock.objects.get(code="BAG")
        if seen != mark_of(stock):
            raise Conflict("page_is_old")
        meet()
        stock.name = f"Name {n}"
        stock.save()


@pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
def test_without_the_lock_the_later_change_covers_the_earlier(
    signs: list[Sign],
) -> None:
    seen, meet = mark_of(make_stock(BAG_ROLL)), meeting(MANAGERS)
    found = times(MANAGERS, lambda n: change_without_the_lock(n, seen, meet))
    assert len(found.values) > 1
