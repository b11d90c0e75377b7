"""Two people tell the same consignee at the same moment: it is told and replaced once."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.db import connection

from dispatch.domain.needs import Asked
from dispatch.models import CallUndone, Case, CaseCall, Consignee, Letter, Replacement
from dispatch.notices.services import calls, letters, replacements
from kitting.models import Box
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.dispatch.notices.calling import TEXTS, a_case, box_at, call, named_workshop
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture
def told() -> tuple[Case, Consignee, Box]:
    sign()  # the person who signs is made once, before any thread
    named_workshop()
    box, whom = box_at()
    return a_case(box), whom, box


def twice(act: Callable[..., Any], **values: Any) -> Results:
    return at_once([partial(act, **values, sign=sign()) for _ in range(2)])


def replace_twice(case: Case, whom: Consignee, box: Box) -> Results:
    asked = Asked(sets=0, tier=1, way="telephone")
    to = {"number": case.number, "consignee_id": whom.pk, "box_ids": [box.pk]}
    return twice(replacements.replace_boxes, **to, asked=asked)


def test_a_box_is_replaced_once(told: tuple[Case, Consignee, Box]) -> None:
    (error,) = replace_twice(*told).errors
    assert error.code == "box_replaced"
    assert Replacement.objects.count() == 1
    assert factories.prove() == []


@control
def test_without_the_lock_it_would_be_replaced_twice(
    told: tuple[Case, Consignee, Box], monkeypatch: pytest.MonkeyPatch
) -> None:
    meet, asked = meeting(2), replacements.replaced

    def both_asked(case: Case) -> Any:
        found = asked(case)
        meet()
        return found

    def unlocked(model: Any, ids: Any, *_beside: str) -> Any:
        return model.objects.in_bulk(list(ids))

    monkeypatch.setattr(replacements.locking, "lock_rows", unlocked)
    monkeypatch.setattr(replacements, "replaced", both_asked)
    replace_twice(*told)
    assert Replacement.objects.count() == 2


def test_of_two_letters_made_at_once_the_second_says_that_nothing_is_new(
    told: tuple[Case, Consignee, Box],
) -> None:
    case, whom, _box = told
    to = {"number": case.number, "consignee_ids": [whom.pk]}
    assert twice(letters.make_letters, **to, texts=TEXTS, urgent=True).errors == []
    rows = Letter.objects.order_by("nth").values_list("nth", "boxes__new")
    assert list(rows) == [(1, True), (2, False)]
    assert factories.prove() == []


def test_a_note_is_undone_once(told: tuple[Case, Consignee, Box]) -> None:
    case, whom, _box = told
    call(case, whom)
    note = {"call_id": CaseCall.objects.get().pk, "reason": "another ward"}
    (error,) = twice(calls.undo_call, **note).errors
    assert error.code == "call_undone"
    assert CallUndone.objects.count() == 1
