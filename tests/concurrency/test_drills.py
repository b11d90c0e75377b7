"""Two drills at the same moment: there is one, and the other is told who began it."""

from __future__ import annotations

from functools import partial

import pytest
from django.db import connection

from dispatch.drills import services
from dispatch.models import Drill
from kitting.domain.errors import Conflict
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture(autouse=True)
def _a_box_was_sent(transactional_db: None) -> None:
    factories.send(factories.make_shipment(factories.make_labelled_box()))


def two_officers() -> Results:
    begin = services.begin_drill
    return at_once([partial(begin, calling=False, sign=sign()) for _ in range(2)])


@pytest.mark.parametrize("nth", range(3))
def test_of_two_who_begin_a_drill_at_once_one_is_refused(nth: int) -> None:
    (error,) = two_officers().errors
    assert isinstance(error, Conflict)
    assert error.code == "drill_running"
    assert Drill.objects.count() == 1
    assert factories.prove() == []


@control
def test_without_the_gate_there_would_be_two(monkeypatch: pytest.MonkeyPatch) -> None:
    meet = meeting(2)
    asked = services.lots_sent

    def both_asked() -> object:
        meet()
        return asked()

    monkeypatch.setattr(services.locking, "shut_gate", lambda: None)
    monkeypatch.setattr(services, "lots_sent", both_asked)
    assert two_officers().errors == []
    assert Drill.objects.count() == 2
