"""A case is closed at the moment at which it looks again, is widened, or a hold is lifted."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.db import connection

from dispatch.closing import services
from dispatch.closing.queries.closings import mark_of_scope
from dispatch.models import Case, CaseLook, Closing
from dispatch.recall import services as cases
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.models import Hold
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)

DECIDED = {"cause": "A blunt knife", "done": "All called", "prevention": "New knives"}


def look(case: str) -> Callable[[], Any]:
    return partial(cases.look_again, number=case, sign=sign())


def widen(case: str) -> Callable[[], Any]:
    scope = [("box", factories.make_labelled_box().pk)]
    said = {"number": case, "scope": scope, "reason": "the same bench"}
    return partial(cases.widen_case, **said, sign=sign())  # type: ignore[arg-type]


def lift(case: str) -> Callable[[], Any]:
    hold = Hold.objects.get(of_case__look__case__number=case)
    said = {"hold_id": hold.pk, "reason": "Sound"}
    return partial(holds.lift_hold, **said, sign=sign_by_another())  # type: ignore[arg-type]


def close_beside(other: Callable[[str], Callable[[], Any]]) -> Results:
    """Close a case while something else is done with it."""
    box = factories.make_labelled_box()
    said = {"hazard": "Cracks", "reason": "A ward called"}
    case = cases.open_case(scope=[("box", box.pk)], **said, sign=sign()).case
    close = partial(
        services.close_case,
        number=case,
        seen=mark_of_scope(Case.objects.get()),
        reasons=[(box.pk, "lost")],
        **DECIDED,
        sign=sign_by_another(),
    )
    return at_once([close, other(case)])


@pytest.mark.parametrize("other", [look, widen, lift])
def test_a_case_is_closed_as_it_was_read_or_not_at_all(
    other: Callable[[str], Callable[[], Any]],
) -> None:
    errors = close_beside(other).errors
    codes = [error.code for error in errors if isinstance(error, LotwardError)]
    assert len(codes) == len(errors)
    if not Closing.objects.exists():
        assert codes == ["case_changed"]
    elif other is lift:
        assert codes == []  # which a closed case may have
    else:
        assert codes == ["case_closed"]
        assert CaseLook.objects.count() == 1
    assert factories.prove() == []


@control
def test_without_the_gate_it_would_look_for_boxes_while_closed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    meet = meeting(2)
    asked = services.need_open_case

    def both_asked(number: str) -> Case:
        found = asked(number)
        meet()
        return found

    monkeypatch.setattr(services.locking, "shut_gate", lambda: None)
    monkeypatch.setattr(services, "need_open_case", both_asked)
    monkeypatch.setattr(cases, "need_open_case", both_asked)
    assert close_beside(look).errors == []
    assert Closing.objects.exists()
    assert CaseLook.objects.count() == 2
