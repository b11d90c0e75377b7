"""The pages on which a clerk writes down what became of the boxes of a case."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Case, Consignee, Reply, ReplyBox, ReplyTerm
from dispatch.replies import services
from kitting.ledger import clock
from kitting.models import Operation, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.replies.replying import One, Two, case_on, lines, reply, sent_to
from tests.factories import sign

pytestmark = pytest.mark.django_db

DAY = reverse("kitting:day")


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def page_of(case: Case, whom: Consignee) -> str:
    return reverse("dispatch:case-reply", args=[case.number, whom.code])


def case_page(case: Case) -> str:
    return reverse("dispatch:case-detail", args=[case.number])


def said(**changes: object) -> dict[str, object]:
    who = {"way": "call", "told_by": "M. Ward", "note": "", "whom": "", "to": ""}
    return {"op_key": str(uuid.uuid4()), "seen": 0, **who, **changes}


def words_of(answer: Any) -> str:
    return " ".join(text_of(answer).split())


@pytest.mark.smoke
def test_a_clerk_writes_down_several_boxes_in_one_act(clerk: Client) -> None:
    whom = factories.make_consignee()
    first, second, third = sent_to(whom, 3)
    case = case_on(first, second, third)
    page = page_of(case, whom)
    assert page in clerk.get(case_page(case)).content.decode()
    sent = said(
        all="quarantine",
        **{
            f"how-{first.pk}": "used",
            f"how-{second.pk}": "found",
            f"used-{second.pk}": "4",
            f"how-{third.pk}": "",
        },
    )
    answer = clerk.post(page, sent, follow=True)
    assert answer.redirect_chain[-1][0] == f"{case_page(case)}#answers"
    assert f"What {whom.name} says of 3 boxes is on record." in words_of(answer)
    assert sorted(ReplyBox.objects.values_list("box", "answer", "sets")) == sorted(
        [
            (first.pk, "used", 6),
            (second.pk, "used", 4),
            (second.pk, "found", 2),
            (third.pk, "quarantine", 6),
        ]
    )
    assert "2 boxes of 3 not accounted for: 8 sets." in words_of(answer)
    clerk.post(page, sent)  # sent again: it is the same act
    assert Reply.objects.count() == 1
    again = words_of(clerk.get(page))
    assert "Said so far: 6 used (M. Ward" in again
    assert "0 without a full answer" in again


@pytest.mark.parametrize("answer", ["used", "passed"])
def test_what_is_sent_again_gets_its_first_answer_and_another_none(
    answer: str, clerk: Client
) -> None:
    whom, other = factories.make_consignee(), factories.make_consignee()
    boxes = sent_to(whom, 2)
    page = page_of(case_on(*boxes), whom)
    fields = {f"how-{box.pk}": "" for box in boxes}
    sent = said(all=answer, to=other.code, **fields)
    first = clerk.post(page, sent)
    again = clerk.post(page, sent)
    assert (again.status_code, again["Location"]) == (302, first["Location"])
    assert clerk.post(page, {**sent, "all": "destroyed"}).status_code == 409
    assert Reply.objects.count() == 1


def test_a_box_that_was_not_on_the_page_is_not_answered_for(
    clerk: Client, two: Two
) -> None:
    whom, (seen, _later), case = two
    sent = said(all="destroyed", **{f"how-{seen.pk}": ""})
    clerk.post(page_of(case, whom), sent)
    assert list(ReplyBox.objects.values_list("box", flat=True)) == [seen.pk]


def test_who_was_passed_a_box_after_an_answer_answers_for_it(clerk: Client) -> None:
    first, then = factories.make_consignee(), factories.make_consignee()
    [box] = sent_to(first)
    case = case_on(box)
    passed = said(to=then.code, **{f"how-{box.pk}": "passed"})
    clerk.post(page_of(case, first), passed)
    for nth, answer in enumerate(("quarantine", "destroyed")):
        page = clerk.get(page_of(case, then)).content.decode()
        shown = re.search(r'name="seen" value="(\d+)"', page)
        assert shown is not None
        sent = said(seen=shown[1], **{f"how-{box.pk}": answer})
        assert clerk.post(page_of(case, then), sent).status_code == 302, nth
    assert ReplyBox.objects.latest("pk").answer == "destroyed"
    assert factories.prove() == []


@pytest.mark.smoke
@pytest.mark.parametrize(
    "wrong",
    [
        {"how-{pk}": "used", "told_by": ""},
        {"used-{pk}": "4"},
        {"used-{pk}": "7"},
        {"used-{pk}": "four", "how-{pk}": "used"},
        {"how-{pk}": "lost at sea"},
        {"how-{pk}": "passed"},
        {"how-{pk}": "used", "way": "link"},
        {"how-{pk}": "used", "seen": "x"},
        {"how-{pk}": "used", "op_key": "odd"},
        {},
    ],
)
def test_bad_entries_are_named_and_nothing_is_written(
    clerk: Client, wrong: dict[str, str], one: One
) -> None:
    whom, box, case = one
    page = page_of(case, whom)
    before = Operation.objects.count()
    sent = said(**{name.format(pk=box.pk): value for name, value in wrong.items()})
    for headers in ({}, {"HX-Request": "true"}):
        answer = clerk.post(page, sent, headers=headers)
        assert answer.status_code == 422
        assert "Nothing was saved yet" in words_of(answer)
    assert Operation.objects.count() == before


def test_what_was_said_meanwhile_is_shown_and_not_written_over(
    clerk: Client, one: One
) -> None:
    whom, box, case = one
    reply(case, whom, *lines(box, used=6), told_by="N. Desk")
    answer = clerk.post(page_of(case, whom), said(**{f"how-{box.pk}": "found"}))
    assert answer.status_code == 409
    assert "N. Desk" in words_of(answer)
    assert Reply.objects.count() == 1


def test_a_box_is_passed_on_to_a_consignee_on_record(clerk: Client, one: One) -> None:
    whom, box, case = one
    next_door = factories.make_consignee()
    sent = said(to=next_door.code, **{f"how-{box.pk}": "passed"})
    answer = clerk.post(page_of(case, whom), sent, follow=True)
    assert page_of(case, next_door) in answer.content.decode()
    assert page_of(case, whom) not in answer.content.decode()
    assert clerk.get(page_of(case, next_door)).status_code == 200
    told = words_of(clerk.get(page_of(case, whom)))
    assert f"6 passed on ({next_door.name})" in told


def test_what_is_said_of_all_leaves_what_was_answered_as_it_is(
    clerk: Client, two: Two
) -> None:
    whom, (first, second), case = two
    reply(case, whom, *lines(first, used=2, found=4))
    page = page_of(case, whom)
    assert "as on record" in words_of(clerk.get(page))
    seen = Reply.objects.get().pk
    shown = {f"how-{box.pk}": "" for box in (first, second)}
    sent = said(all="destroyed", seen=seen, **shown)
    assert clerk.post(page, sent).status_code == 302
    newest = Reply.objects.latest("pk")
    assert [(x.box_id, x.answer) for x in newest.lines.all()] == [
        (second.pk, "destroyed")
    ]
    sent = said(all="unknown", seen=newest.pk, **{f"how-{first.pk}": "returned"})
    assert clerk.post(page, sent).status_code == 302
    said_now = Reply.objects.latest("pk").lines.values_list("box", "answer", "sets")
    assert list(said_now) == [(first.pk, "returned", 6)]


def test_who_may_write_and_which_pages_there_are(
    client_for: Callable[[User], Client], clerk: Client, one: One
) -> None:
    whom, _box, case = one
    other = factories.make_consignee()
    page = page_of(case, whom)
    assert client_for(factories.make_person("packer")).get(page).status_code == 403
    assert Client().get(page)["Location"].startswith("/sign-in/")
    assert clerk.get(page_of(case, other)).status_code == 404
    case.number = "V0"
    assert clerk.get(page_of(case, whom)).status_code == 404
    due = reverse("dispatch:case-term", args=["V0"])
    assert clerk.get(due).status_code == 403


def test_of_many_boxes_those_without_an_answer_come_first(
    clerk: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dispatch.replies.views.replies.MOST_BOXES", 2)
    whom = factories.make_consignee()
    boxes = sent_to(whom, 3)
    case = case_on(*boxes)
    page = page_of(case, whom)
    reply(case, whom, *lines(boxes[0], used=6))
    shown = clerk.get(page).content.decode()
    assert f"how-{boxes[0].pk}" not in shown
    assert f"how-{boxes[2].pk}" in shown
    one = clerk.get(page, {"box": boxes[0].serial}).content.decode()
    assert f"how-{boxes[0].pk}" in one
    assert f"how-{boxes[2].pk}" not in one


def test_the_officer_sets_the_day_and_who_is_late_is_listed(
    clerk: Client,
    client_for: Callable[[User], Client],
    monkeypatch: pytest.MonkeyPatch,
    one: One,
) -> None:
    quality = client_for(factories.make_person("quality officer"))
    whom, box, case = one
    due = reverse("dispatch:case-term", args=[case.number])
    assert quality.get(due).status_code == 200
    assert (
        quality.post(due, {"op_key": str(uuid.uuid4()), "days": 91}).status_code == 422
    )
    quality.post(due, {"op_key": str(uuid.uuid4()), "days": 1})
    assert ReplyTerm.objects.get().days == 1
    assert "Answers are due on" in words_of(clerk.get(case_page(case)))
    assert "has not answered" not in words_of(clerk.get(DAY))
    later = timezone.now() + timedelta(days=3)
    monkeypatch.setattr(clock, "now", lambda: later)
    assert "Answers were due on" in words_of(clerk.get(case_page(case)))
    page = clerk.get(DAY)
    assert f"{whom.name} has not answered for 1 box." in words_of(page)
    assert page_of(case, whom) in page.content.decode()
    packer = client_for(factories.make_person("packer"))
    assert "has not answered" not in words_of(packer.get(DAY))
    reply(case, whom, *lines(box, unknown=6))
    assert "has not answered" not in words_of(clerk.get(DAY))


def test_the_pages_ask_the_same_for_any_number_of_boxes(clerk: Client) -> None:
    def asked(boxes: int) -> list[int]:
        whom = factories.make_consignee()
        some = sent_to(whom, boxes)
        case = case_on(*some)
        for box in some:
            reply(case, whom, *lines(box, used=2, found=4))
        found = []
        for page in (case_page(case), page_of(case, whom)):
            clerk.get(page)
            with CaptureQueriesContext(connection) as queries:
                clerk.get(page)
            found.append(len(queries))
        return found

    assert asked(1) == asked(3)


def test_the_journal_finds_the_answers_of_a_case(clerk: Client, one: One) -> None:
    whom, box, case = one
    reply(case, whom, *lines(box, used=6))
    services.want_replies(number=case.number, days=2, sign=sign())
    text = words_of(clerk.get(reverse("dispatch:journal"), {"about": case.number}))
    assert "Answer about boxes of a case recorded" in text
    assert "Day set by which a case wants answers" in text
