"""Two drills at the same moment are one; a box that moves on is called about as it was."""

from __future__ import annotations

import time
from functools import partial

import pytest
from django.db import connection

from dispatch.drills import services
from dispatch.models import Consignee, Drill, DrillCall, PassedOn
from kitting.domain.errors import Conflict
from kitting.models import Box, Lot
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.dispatch.notices.test_calls import passed
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


def pass_on_meanwhile(monkeypatch: pytest.MonkeyPatch) -> Results:
    """The only box of a lot moves on while a call is noted that has read who has it."""
    drill = services.begin_drill(calling=True, sign=sign()).drill_id
    services.list_drill(drill_id=drill, sign=sign())
    box, other = Box.objects.get(), factories.make_consignee()
    meet, asked = meeting(2), services.consignees_of

    def slowly(lot: Lot) -> list[Consignee]:
        found = asked(lot)
        meet()
        time.sleep(0.5)  # the other is done by then, if nothing keeps it
        return found

    def go_on() -> None:
        meet()
        passed(box, other)

    monkeypatch.setattr(services, "consignees_of", slowly)
    said = {"code": box.shipment_boxes.get().shipment.consignee.code, "sign": sign()}
    heard = {"answered": True, "said_by": "Porter"}
    call = partial(services.note_drill_call, drill_id=drill, **said, **heard)
    return at_once([call, go_on])


def test_a_call_is_to_who_has_a_box_that_moves_on_meanwhile(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert pass_on_meanwhile(monkeypatch).errors == []
    assert DrillCall.objects.get().operation_id < PassedOn.objects.get().operation_id
    assert factories.prove() == []


@control
def test_without_the_gate_a_call_would_be_to_who_had_no_box(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(services.locking, "shut_gate", lambda: None)
    assert pass_on_meanwhile(monkeypatch).errors == []
    assert [fault.words for fault in factories.prove()] == [
        "Somebody was called who had no box of the lot."
    ]
