"""A box in two cases: what was said in one is offered in the other, and counts once said."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Case, Consignee, ReplyBox
from dispatch.recall import links
from dispatch.recall.services import open_case
from dispatch.replies.queries.accounts import unaccounted
from kitting.models import Box, BoxLine, User
from tests import factories
from tests.assertions import text_of
from tests.databases import once_a_module
from tests.dispatch.notices.calling import came_back
from tests.dispatch.replies.replying import case_on, lines, newest, reply, sent_to
from tests.factories import sign

pytestmark = pytest.mark.django_db

Told = tuple[Case, Consignee, list[Box], str]


@once_a_module
def told() -> Told:
    """Two boxes in two cases, answered for in the first; the address in the second."""
    whom = factories.make_consignee()
    boxes = sent_to(whom, 2)
    lots = BoxLine.objects.filter(box__in=boxes).values_list("lot", flat=True)
    scope = [("lot", lot) for lot in set(lots)]
    values = {"hazard": "An elastic tears", "reason": "A ward called"}
    opened = open_case(scope=scope, **values, sign=sign())
    first, second = case_on(*boxes), Case.objects.get(number=opened.case)
    mixed = lines(boxes[0], used=4, passed=2)
    reply(first, whom, *mixed, *lines(boxes[1], destroyed=6))
    page = reverse("dispatch:case-reply", args=[second.number, whom.code])
    return second, whom, boxes, page


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def choice_in(page: Any) -> str:
    found = re.search(r'value="(before-\d+)"', page.content.decode())
    return found[1] if found else ""


def said(boxes: list[Box], **changes: object) -> dict[str, object]:
    key = {"op_key": str(uuid.uuid4()), "seen": 0, **dict.fromkeys(("note", "to"), "")}
    who = {"way": "call", "told_by": "M. Ward", "by": "M. Ward", "whom": ""}
    return {**key, **who, **{f"how-{box.pk}": "" for box in boxes}, **changes}


def said_of(case: Case) -> list[tuple[int, str, int, str]]:
    rows = ReplyBox.objects.filter(reply__case=case).order_by("box", "answer")
    return list(rows.values_list("box", "answer", "sets", "whom"))


@pytest.mark.smoke
def test_what_was_said_in_another_case_is_taken_over_by_one_choice(
    told: Told, clerk: Client
) -> None:
    case, _whom, boxes, page = told
    shown = clerk.get(page)
    words = " ".join(text_of(shown).split())
    assert "4 used; 2 passed on (Ward 7, next door) (M. Ward" in words
    assert len(unaccounted(case)) == 2  # nobody confirmed it yet
    sent = said(boxes, all=choice_in(shown))
    for _ in range(2):  # the same again is the same answer
        assert clerk.post(page, sent).status_code == 302
    first, second = (box.pk for box in boxes)
    assert said_of(case) == [
        (first, "passed", 2, "Ward 7, next door"),
        (first, "used", 4, ""),
        (second, "destroyed", 6, ""),
    ]
    assert [each.box.box for each in unaccounted(case)] == [first]
    assert not choice_in(clerk.get(page))
    assert factories.prove() == []


def test_what_came_back_since_is_not_taken_over(told: Told, clerk: Client) -> None:
    case, _whom, boxes, page = told
    came_back(boxes[1], opened=True)
    sent = said(boxes, **{f"how-{boxes[0].pk}": choice_in(clerk.get(page))})
    assert clerk.post(page, sent).status_code == 302
    assert {box for box, *_rest in said_of(case)} == {boxes[0].pk}
    assert factories.prove() == []


def test_what_was_said_since_the_page_was_shown_is_not_taken_over(
    told: Told, clerk: Client
) -> None:
    case, whom, boxes, page = told
    seen = choice_in(clerk.get(page))
    first = Case.objects.exclude(pk=case.pk).get()
    reply(first, whom, *lines(boxes[1], found=6), seen=newest(first))
    refused = clerk.post(page, said(boxes, all=seen))
    assert refused.status_code == 422
    assert "6 still there, unused" in " ".join(text_of(refused).split())
    assert said_of(case) == []


def test_sets_are_not_counted_beside_what_is_taken_over(
    told: Told, clerk: Client
) -> None:
    case, _whom, boxes, page = told
    known, pk = choice_in(clerk.get(page)), boxes[0].pk
    sent = said(boxes, **{f"how-{pk}": known, f"used-{pk}": "3"})
    assert clerk.post(page, sent).status_code == 422
    assert said_of(case) == []


def test_whoever_has_it_now_answers_anew(told: Told, clerk: Client) -> None:
    case, whom, boxes, _page = told
    other = factories.make_consignee()
    to = [lines(box, passed=6)[0] for box in boxes]
    whole = [type(line)(line.box_id, "passed", 6, "", other.pk) for line in to]
    reply(case, whom, *whole)
    page = reverse("dispatch:case-reply", args=[case.number, other.code])
    assert not choice_in(clerk.get(page))


def test_a_consignee_takes_over_its_own_answer(told: Told, client: Client) -> None:
    case, whom, boxes, _page = told
    address = links.path_of(case, whom)
    shown = client.get(address)
    assert "as said for the other recall" in text_of(shown)
    sent = said(boxes, all=choice_in(shown), remark="")
    assert client.post(address, sent).status_code == 302
    assert len(said_of(case)) == 3
    assert factories.prove() == []
