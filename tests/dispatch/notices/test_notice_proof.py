"""The proof finds what letters and replacements say otherwise than it was."""

from __future__ import annotations

from typing import Any

import pytest

from dispatch.models import Case, Consignee, LetterBox, Replacement, Request
from dispatch.requests.services import cancel_request
from kitting.ledger.proof import CHECKS
from kitting.ledger.proof.faults import Tally
from kitting.models import Box, Link
from tests import factories
from tests.commands.tampering.ways import change
from tests.databases import guards_away, once_a_module
from tests.dispatch.notices.calling import a_case, box_at, named_workshop, write
from tests.dispatch.notices.test_calls import passed
from tests.dispatch.notices.test_replacements import instead
from tests.factories import sign

pytestmark = pytest.mark.django_db

Told = tuple[Case, Box, Consignee, Consignee]


@once_a_module
def told() -> Told:
    """A case of a box that one passed on to another."""
    named_workshop()
    (box, first), second = box_at(), factories.make_consignee()
    passed(box, second)
    return a_case(box), box, first, second


def bend(row: Any, **values: Any) -> None:
    with guards_away():
        change(row, **values)


def found() -> list[str]:
    tallies = [Tally(name, of) for name, of, _check in CHECKS]
    for tally, (name, _of, check) in zip(tallies, CHECKS, strict=True):
        if name in {"boxes in letters", "replacements"}:
            check(tally)
    return [fault.words for tally in tallies for fault in tally.faults]


def test_a_letter_says_to_whom_its_box_went_on(told: Told) -> None:
    case, _box, first, second = told
    write(case, first, second)
    assert found() == []
    on, there = LetterBox.objects.order_by("pk")
    assert on.passed_to == second
    bend(on, passed_to=None)
    assert found() == ["Its box was not passed on to them."]
    bend(on, passed_to=second)
    bend(there, passed_to=second)
    assert found() == ["Its box was not passed on to them."]


def test_what_came_back_to_whoever_passed_it_on_is_there(told: Told) -> None:
    case, box, first, second = told
    passed(box, first)
    write(case, first, second)
    there, on = LetterBox.objects.order_by("pk")
    assert (there.passed_to, on.passed_to) == (None, first)
    assert found() == []
    bend(there, passed_to=second)
    assert found() == ["Its box was not passed on to them."]


def test_a_box_is_replaced_for_whoever_has_it(told: Told) -> None:
    case, box, first, second = told
    instead(case, second, box)
    assert found() == []
    bend(Request.objects.get(), consignee=first)
    assert "Another had its box." in found()


def test_a_box_is_replaced_once(told: Told) -> None:
    case, box, _first, second = told
    [number] = instead(case, second, box).requests
    cancel_request(number=number, reason="They have others", sign=sign())
    instead(case, second, box)
    assert found() == []
    before, after = Replacement.objects.order_by("pk")
    act = Link.objects.get(operation=before.operation).seq
    cancelled = Link.objects.get(seq=act + 1).operation
    bend(after, operation=before.operation)
    bend(before, operation=cancelled)
    assert "Its box was replaced before." in found()
