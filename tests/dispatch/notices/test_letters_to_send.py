"""Which letters are still to be sent: none that says of good boxes to give them up."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from dispatch.models import Case, Consignee, LetterSent
from dispatch.notices.parts import _of_case
from dispatch.notices.queries.whom import whom
from dispatch.notices.services.letters import note_letter_back, send_letter
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.models import Box, Hold, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.notices.calling import (
    a_case,
    box_at,
    call,
    named_workshop,
    write,
)
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def page_of(case: Case, name: str) -> str:
    return reverse(f"dispatch:case-{name}", args=[case.number])


def words_of(answer: Any) -> str:
    return " ".join(text_of(answer).split())


def ticked(clerk: Client, case: Case) -> list[int]:
    initial = clerk.get(page_of(case, "send")).context["form"]["letters"].initial
    return sorted(initial)


def ways_to_tell(case: Case) -> list[str]:
    """What is to be done of telling once everybody is reached by telephone."""
    for one in whom(case):
        if not one.knows:
            call(case, one.consignee)
    return [way.to_do for way in _of_case(case)["ways"]]


def free(box: Box) -> None:
    hold = Hold.objects.get(box=box)
    holds.lift_hold(hold_id=hold.pk, reason="It is sound", sign=sign_by_another())


def two_at() -> tuple[Case, tuple[Box, Consignee], tuple[Box, Consignee]]:
    named_workshop()
    first, second = box_at(), box_at()
    return a_case(first[0], second[0]), first, second


def test_a_letter_that_names_nothing_recalled_is_not_to_be_sent(clerk: Client) -> None:
    case, (box, one), (other, two) = two_at()
    old, still = write(case, one, two)
    assert ways_to_tell(case) == ["Send 2 letters"]
    assert ticked(clerk, case) == [old.pk, still.pk]
    free(box)
    page = words_of(clerk.get(page_of(case, "detail")))
    assert ways_to_tell(case) == ["Send 1 letter"]
    assert page.count("not sent yet") == 1
    assert "not sent; none is recalled any more" in page
    assert ticked(clerk, case) == [still.pk]
    shown = words_of(clerk.get(page_of(case, "send")))
    assert shown.count("nothing that it names is recalled any more") == 1
    free(other)
    assert ways_to_tell(case) == [""]
    assert ticked(clerk, case) == []
    page = clerk.get(page_of(case, "detail"))
    assert page_of(case, "letters") + '"' not in page.content.decode()
    assert clerk.get(page_of(case, "letters")).status_code == 404
    assert clerk.get(page_of(case, "letters") + "?all").status_code == 200


def test_it_goes_to_nobody_by_e_mail_and_on_paper_it_may_have_gone(
    clerk: Client, settings: Any
) -> None:
    settings.EMAIL_HOST = "mail.example"
    case, (box, one), _second = two_at()
    Consignee.objects.filter(pk=one.pk).update(email="stores@eskmoor.example")
    [letter] = write(case, one)
    free(box)
    of: dict[str, Any] = {"letter_id": letter.pk}
    with pytest.raises(LotwardError) as caught:
        send_letter(**of, way="email", sign=sign())
    assert caught.value.code == "letter_not_recalled"
    sent = {"op_key": str(uuid.uuid4()), "letters": [letter.pk], "way": "email"}
    answer = clerk.post(page_of(case, "send"), sent)
    assert answer.status_code == 422
    said = f"Nothing that the letter to {one.name} names is recalled any more"
    assert said in words_of(answer)
    assert mail.outbox == []
    assert not LetterSent.objects.exists()
    send_letter(**of, way="paper", by="This morning's post", sign=sign())
    assert LetterSent.objects.count() == 1
    assert factories.prove() == []


def test_what_bears_an_old_address_is_to_be_made_anew_and_not_sent(
    clerk: Client,
) -> None:
    case, (_box, one), (_other, two) = two_at()
    old, still = write(case, one, two)
    Consignee.objects.filter(pk=one.pk).update(address="2 New Road\nLodebridge")
    assert ticked(clerk, case) == [still.pk]
    send_letter(letter_id=still.pk, way="paper", by="Driver 2", sign=sign())
    assert ticked(clerk, case) == []
    assert clerk.get(page_of(case, "letters")).status_code == 404
    [way] = ways_to_tell(case)
    assert way == "Make 1 letter anew"
    [new] = write(case, one)
    assert ticked(clerk, case) == [new.pk]
    [way] = ways_to_tell(case)
    assert way == "Send 1 letter"
    page = words_of(clerk.get(page_of(case, "detail")))
    assert "make another letter" not in page
    assert page.count("not sent; a later one is in its place") == 1
    shown = words_of(clerk.get(page_of(case, "send")))
    assert shown.count("a later letter is in its place") == 1
    assert f"{old.consignee.name}, no e-mail address is on record; a later" in shown


def test_what_came_back_is_sent_again_until_another_stands_in_its_place(
    clerk: Client,
) -> None:
    case, (_box, one), _second = two_at()
    [old] = write(case, one)
    send_letter(letter_id=old.pk, way="paper", by="Post", sign=sign())
    assert ticked(clerk, case) == []
    sending = LetterSent.objects.get().pk
    note_letter_back(sending_id=sending, reason="It came back", sign=sign())
    assert ticked(clerk, case) == [old.pk]
    [new] = write(case, one)
    assert ticked(clerk, case) == [new.pk]
    send_letter(letter_id=new.pk, way="paper", by="Driver 2", sign=sign())
    assert ticked(clerk, case) == []
