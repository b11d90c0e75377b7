"""Two cases on one thing at the same moment: there is one, and the other is led to it."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest
from django.db import connection

from dispatch.models import Case
from dispatch.recall import services, steps
from kitting.domain.errors import Conflict
from kitting.models import Hold
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


def two_officers() -> Results:
    """Let two people open a case on the same lot."""
    lot = factories.make_labelled_box().lines.get().lot_id
    said = {"hazard": "Cracks", "reason": "A ward called"}
    return at_once(
        [
            partial(services.open_case, scope=[("lot", lot)], **said, sign=sign())
            for _ in range(2)
        ]
    )


@pytest.mark.parametrize("nth", range(4))
def test_of_two_who_open_a_case_at_once_one_is_led_to_the_other(nth: int) -> None:
    (error,) = two_officers().errors
    assert isinstance(error, Conflict)
    number = Case.objects.get().number
    assert (error.code, error.params["case"]) == ("case_has_it", number)
    assert Hold.objects.count() == 1
    assert factories.prove() == []


@control
def test_without_the_gate_there_would_be_two(monkeypatch: pytest.MonkeyPatch) -> None:
    meet = meeting(2)
    asked = steps.standing_targets
    numbers = iter(("V1000001A", "V1000002A"))

    def both_asked() -> Any:
        found = asked()
        meet()
        return found

    monkeypatch.setattr(services.locking, "shut_gate", lambda: None)
    monkeypatch.setattr(steps, "take", lambda *_of: [next(numbers)])
    monkeypatch.setattr(steps, "standing_targets", both_asked)
    assert two_officers().errors == []
    assert Case.objects.count() == 2
