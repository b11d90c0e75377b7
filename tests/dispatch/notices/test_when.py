"""When a call was and an answer was said, where it is noted later."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dispatch.closing.queries.lifted import untold
from dispatch.domain.notices import Heard
from dispatch.domain.replies import Line
from dispatch.models import Case, CaseCall, Consignee, PassedOn, Reply
from dispatch.notices.queries.left import left_to_call
from dispatch.notices.queries.whom import Whom, whom
from dispatch.notices.services.calls import note_call
from dispatch.recall.services import widen_case
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.models import Hold, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.notices.calling import REACHED, There, a_case, box_at
from tests.dispatch.notices.test_calls import passed
from tests.dispatch.replies.replying import lines, reply, sent_to
from tests.factories import NOW, sign, sign_by_another

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


def note(
    case: Case,
    consignee: Consignee,
    when: datetime | None,
    at: datetime,
    heard: Heard = REACHED,
) -> None:
    of = {"number": case.number, "consignee_id": consignee.pk}
    note_call(**of, heard=heard, when=when, sign=sign(now=at))  # type: ignore[arg-type]


def the_one(case: Case) -> Whom:
    [one] = whom(case)
    return one


@pytest.mark.parametrize(
    ("after", "code"),
    [
        (timedelta(seconds=1), "said_later"),
        (-HOUR - timedelta(minutes=1), "said_before_case"),
    ],
)
def test_nothing_is_said_in_the_future_or_before_the_case(
    after: timedelta, code: str, there: There
) -> None:
    box, consignee = there
    case, at = a_case(box), NOW + HOUR
    with pytest.raises(LotwardError) as caught:
        note(case, consignee, at + after, at)
    assert caught.value.code == code
    with pytest.raises(LotwardError) as caught:
        reply(case, consignee, *lines(box, used=6), by=sign(now=at), when=at + after)
    assert caught.value.code == code
    assert not (CaseCall.objects.exists())
    assert not (Reply.objects.exists())
    note(case, consignee, NOW, at)
    note(case, consignee, at, at)
    assert factories.prove() == []


def test_boxes_that_were_added_after_a_call_were_not_told_by_its_later_note() -> None:
    (box, consignee), (more, _same) = (first := box_at()), box_at(first[1])
    case = a_case(box)
    said = {"scope": [("box", more.pk)], "reason": "the same bench"}
    widen_case(number=case.number, **said, sign=sign(now=NOW + HOUR))  # type: ignore[arg-type]
    note(case, consignee, NOW + HOUR / 2, NOW + 2 * HOUR)
    assert [each.box for each in the_one(case).since] == [more]
    assert the_one(case).is_to_call
    note(case, consignee, None, NOW + 3 * HOUR)
    assert the_one(case).knows


def test_a_box_that_came_after_a_call_was_not_told_by_its_later_note(
    there: There, there_too: There
) -> None:
    (box, giver), (other, taker) = there, there_too
    case = a_case(box, other)
    note(case, giver, None, NOW)
    passed(box, taker, now=NOW + HOUR)
    note(case, taker, NOW + HOUR / 2, NOW + 2 * HOUR)
    [one] = [each for each in whom(case) if each.is_to_call]
    assert [each.box for each in one.since] == [box]
    assert [each.to_call for each in left_to_call()] == [1]
    note(case, taker, NOW + HOUR, NOW + 3 * HOUR)
    assert not any(each.is_to_call for each in whom(case))
    assert [each.to_call for each in left_to_call()] == [0]
    assert factories.prove() == []


def test_the_last_call_is_the_one_that_was_last(there: There) -> None:
    box, consignee = there
    case = a_case(box)
    note(case, consignee, None, NOW + HOUR)
    note(case, consignee, NOW, NOW + 2 * HOUR, Heard("no_answer"))
    last = the_one(case).last
    assert last is not None
    assert last.outcome == "reached"


def test_who_was_called_before_a_hold_was_lifted_is_to_be_told_of_it(
    there: There,
) -> None:
    box, consignee = there
    case = a_case(box)
    note(case, consignee, None, NOW)
    lifting = sign_by_another(now=NOW + HOUR)
    holds.lift_hold(hold_id=Hold.objects.get().pk, reason="none", sign=lifting)
    note(case, consignee, NOW + HOUR / 2, NOW + 2 * HOUR)
    assert [each.consignees for each in untold(case)] == [[consignee]]
    note(case, consignee, NOW + 2 * HOUR, NOW + 3 * HOUR)
    assert untold(case) == []


SECONDS = timedelta(seconds=40)
"""What the note of a minute leaves out, where something was done within that minute."""


def test_who_was_called_in_the_minute_of_the_opening_was_told_of_it(
    there: There,
) -> None:
    box, consignee = there
    case = a_case(box)
    note(case, consignee, NOW - SECONDS, NOW + HOUR)
    assert the_one(case).knows
    assert [each.to_call for each in left_to_call()] == [0]
    lifting = sign_by_another(now=NOW + 2 * HOUR)
    holds.lift_hold(hold_id=Hold.objects.get().pk, reason="none", sign=lifting)
    assert [each.consignees for each in untold(case)] == [[consignee]]
    # In the minute of the lift it may have been before that.
    note(case, consignee, NOW + 2 * HOUR - SECONDS, NOW + 3 * HOUR)
    assert [each.consignees for each in untold(case)] == [[consignee]]
    note(case, consignee, NOW + 2 * HOUR, NOW + 3 * HOUR)
    assert untold(case) == []
    assert factories.prove() == []


def test_whom_a_call_in_the_minute_of_a_widening_may_have_told_is_told_twice() -> None:
    (box, consignee), (more, _same) = (first := box_at()), box_at(first[1])
    case = a_case(box)
    said = {"scope": [("box", more.pk)], "reason": "the same bench"}
    widen_case(number=case.number, **said, sign=sign(now=NOW + HOUR))  # type: ignore[arg-type]
    note(case, consignee, NOW + HOUR - SECONDS, NOW + 2 * HOUR)
    assert [each.box for each in the_one(case).since] == [more]
    assert [each.to_call for each in left_to_call()] == [1]
    hold = Hold.objects.get(box=more)
    lifting = sign_by_another(now=NOW + 3 * HOUR)
    holds.lift_hold(hold_id=hold.pk, reason="none", sign=lifting)
    assert [each.consignees for each in untold(case)] == [[consignee]]


def test_an_older_answer_does_not_count_instead_of_a_newer_one() -> None:
    whom_ = factories.make_consignee()
    [box] = sent_to(whom_)
    case = a_case(box)
    reply(case, whom_, *lines(box, found=6), by=sign(now=NOW + HOUR))
    late = {"by": sign(now=NOW + 2 * HOUR)}
    with pytest.raises(LotwardError) as caught:
        reply(case, whom_, *lines(box, used=6), when=NOW, **late)
    assert caught.value.code == "answer_older"
    reply(case, whom_, *lines(box, used=6), when=NOW + HOUR, **late)
    assert factories.prove() == []


def test_no_answer_is_about_a_box_that_came_onto_the_list_later() -> None:
    whom_ = factories.make_consignee()
    box, more = sent_to(whom_, 2)
    case = a_case(box)
    said = {"scope": [("box", more.pk)], "reason": "the same bench"}
    widen_case(number=case.number, **said, sign=sign(now=NOW + HOUR))  # type: ignore[arg-type]
    late = {"by": sign(now=NOW + 2 * HOUR)}
    with pytest.raises(LotwardError) as caught:
        reply(case, whom_, *lines(more, used=6), when=NOW + HOUR / 2, **late)
    assert caught.value.code == "said_before_box"
    reply(case, whom_, *lines(box, used=6), when=NOW + HOUR / 2, **late)
    late = {"by": sign(now=NOW + 2 * HOUR)}
    reply(case, whom_, *lines(more, used=6), when=NOW + HOUR, **late)
    assert factories.prove() == []


def test_a_box_is_passed_on_the_day_that_was_said() -> None:
    whom_, other = factories.make_consignee(), factories.make_consignee()
    [box] = sent_to(whom_)
    case = a_case(box)
    line = Line(box.pk, "passed", 6, "", other.pk)
    at = NOW + timedelta(days=1)
    reply(case, whom_, line, when=NOW + HOUR, by=sign(now=at))
    assert PassedOn.objects.get().on == NOW.date()
    assert factories.prove() == []


def moments(**changes: str) -> dict[str, str]:
    return {"op_key": str(uuid.uuid4()), "on": "", "at": "", **changes}


@pytest.mark.smoke
def test_the_day_and_the_time_are_written_on_the_pages(
    client_for: Callable[[User], Client], there: There
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    box, consignee = there
    case = a_case(box)
    opened = timezone.localtime(case.operation.at)
    on, at = f"{opened:%Y-%m-%d}", f"{opened:%H:%M}"
    called = {"outcome": "reached", "spoke_to": "Porter"}
    answered = {"way": "call", "told_by": "Porter", "seen": "0"}
    answered |= {f"how-{box.pk}": "used"}
    of = [case.number, consignee.code]
    for name, said in (("call", called), ("reply", answered)):
        address = reverse(f"dispatch:case-{name}", args=of)
        for half in ({"on": on}, {"at": at}):
            refused = clerk.post(address, moments(**said, **half))
            assert refused.status_code == 422
            assert "Write the day and the time" in text_of(refused)
        sent = moments(**said, on=on, at=at)
        for _ in range(2):
            assert clerk.post(address, sent).status_code == 302
    minute = opened.replace(second=0, microsecond=0)
    assert CaseCall.objects.get().called_at == minute
    assert Reply.objects.get().said_at == minute
    calls = clerk.get(reverse("dispatch:case-calls", args=[case.number]))
    assert "noted " in text_of(calls)
    assert factories.prove() == []
