"""The page of a box says which cases reached it, and how each of them ended."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from dispatch.recall.queries.reaching import reaching
from dispatch.recall.services import open_case
from kitting.ledger import holds
from kitting.models import Hold, Lift, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.closing.test_closings import DECIDED, close
from tests.dispatch.notices.calling import a_case, box_at
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def told(client: Client, number: object) -> str:
    answer = client.get(reverse("dispatch:recall"), {"q": str(number)})
    return " ".join(text_of(answer).split())


def test_a_box_says_what_a_closed_case_decided_of_it(clerk: Client) -> None:
    box, _whom = box_at()
    case = a_case(box)
    open_words = told(clerk, box)
    assert "This case holds it." in open_words
    assert DECIDED["cause"] not in open_words
    close(case.number, (box.pk, "burnt with the ward"))
    words = told(clerk, box)
    for said in (*DECIDED.values(), "burnt with the ward", "This case holds it."):
        assert said in words
    assert "Recall cases about it" not in told(clerk, factories.make_labelled_box())


def test_what_is_free_again_says_by_which_lift(clerk: Client) -> None:
    box, _whom = box_at()
    other = factories.make_labelled_box()
    lot = box.lines.get().lot
    done = open_case(
        scope=[("lot", lot.pk), ("box", other.pk)],
        hazard="A visor cracks",
        reason="A ward called",
        sign=sign(),
    )
    for of, why in ((Hold.objects.get(lot=lot), "Sound after all"),):
        holds.lift_hold(hold_id=of.pk, reason=why, sign=sign_by_another())
    last = Hold.objects.get(box=other)
    holds.lift_hold(hold_id=last.pk, reason="Never bent", sign=sign_by_another())
    for number, why, other_why in (
        (box, "Sound after all", "Never bent"),
        (other, "Never bent", "Sound after all"),
    ):
        words = told(clerk, number)
        assert done.case in words
        assert "It is free again:" in words
        assert why in words
        assert other_why not in words


def lifted(case: str) -> None:
    for hold in Hold.objects.filter(of_case__look__case__number=case, lift=None):
        holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())


def test_the_database_is_asked_the_same_for_any_number_of_cases_and_lifts() -> None:
    one, many = factories.make_labelled_box(), factories.make_labelled_box()
    for box, cases in ((one, 1), (many, 3)):
        for _ in range(cases):
            line = box.lines.get()
            scope = [("lot", line.lot_id), ("bag", line.bag_id), ("box", box.pk)]
            said = {"hazard": "A visor cracks", "reason": "A ward called"}
            number = open_case(scope=scope, **said, sign=sign()).case
            close(number, (box.pk, "burnt"))
            lifted(number)
    asked = []
    for box, cases in ((one, 1), (many, 3)):
        with CaptureQueriesContext(connection) as queries:
            found = reaching(box, [])
        asked.append(len(queries))
        assert [each.without for each in found] == ["burnt"] * cases
        for each in found:
            assert each.closing is not None
            assert each.freed is not None
            assert each.freed == Lift.objects.filter(
                hold__of_case__look__case=each.case
            ).latest("pk")
    assert asked[0] == asked[1]
