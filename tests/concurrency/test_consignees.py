"""Consignees that two people merge at once: none leads in turns, or to nobody."""

from __future__ import annotations

from functools import partial

import pytest
from django.db import OperationalError, connection

from dispatch.consignees.services import consignees as services
from dispatch.models import Consignee
from dispatch.shipments.services import begin_shipment
from kitting.domain.errors import LotwardError
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture(autouse=True)
def _who_signs(transactional_db: None) -> None:
    sign()  # the person who signs is made once, before any thread


def merging(one: Consignee, into: Consignee) -> partial[services.MergedConsignee]:
    of = {"code": one.code, "into_id": into.pk, "reason": "the same door"}
    return partial(services.merge_consignees, **of, sign=sign())


def each_into_the_other() -> Results:
    one, two = (
        factories.make_consignee("North End"),
        factories.make_consignee("Northend"),
    )
    return at_once([merging(one, two), merging(two, one)])


def codes(results: Results) -> list[str]:
    """The codes of the refusals; anything but a refusal is no answer."""
    assert all(isinstance(error, LotwardError) for error in results.errors), results.of
    return sorted(error.code for error in results.errors)  # type: ignore[attr-defined]


@pytest.mark.parametrize("nth", range(4))
def test_of_two_who_merge_each_into_the_other_one_is_refused(nth: int) -> None:
    assert codes(each_into_the_other()) == ["consignee_closed"]
    assert Consignee.objects.filter(active=True, merged_into=None).count() == 1
    assert factories.prove() == []


@control
def test_control_without_their_locks_nobody_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Both find the other one open; the database alone may stop one of them."""
    meet = meeting(2)

    def unlocked(model: type[Consignee], ids: set[int]) -> dict[int, Consignee]:
        found = model.objects.in_bulk(ids)
        meet()
        return found

    monkeypatch.setattr(services.locking, "lock_row", lambda model, pk: None)
    monkeypatch.setattr(services.locking, "lock_rows", unlocked)
    for error in each_into_the_other().errors:
        assert isinstance(error, OperationalError)


@pytest.mark.parametrize("nth", range(4))
def test_merging_and_beginning_a_shipment_come_one_after_the_other(nth: int) -> None:
    gone, stays = factories.make_consignee(), factories.make_consignee()
    begin = partial(begin_shipment, consignee_id=gone.pk, reference="", sign=sign())
    results = at_once([merging(gone, stays), begin])
    assert codes(results) in (["consignee_closed"], ["merged_while_loading"])
    gone.refresh_from_db()
    assert gone.active == gone.shipments.filter(stage="open").exists()
    assert factories.prove() == []
