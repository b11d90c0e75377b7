"""What answers leave to do, and what a consignee reads of its case in its language."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dispatch.closing.services import reopen_case
from dispatch.domain.replies import Line
from dispatch.models import Return
from dispatch.recall import links
from dispatch.receipts.services import returns
from dispatch.replies import services
from dispatch.replies.queries import follow_up
from kitting.models import User
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.assertions import text_of
from tests.dispatch.notices.calling import TEXTS, named_workshop, write
from tests.dispatch.replies.replying import case_on, closed, lines, reply, sent_to
from tests.factories import sign

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def words(client: Client, address: str) -> str:
    return " ".join(text_of(client.get(address)).split())


def test_whoever_sets_were_passed_on_to_and_nobody_knows_is_to_be_told(
    clerk: Client,
) -> None:
    whom, next_door = factories.make_consignee(), factories.make_consignee()
    box, known = sent_to(whom, 2)
    case = case_on(box, known)
    page = reverse("dispatch:case-detail", args=[case.number])
    assert "Passed on, as was answered" not in words(clerk, page)
    reply(
        case,
        whom,
        *lines(box, passed=2, used=4),
        Line(known.pk, "passed", 6, "", next_door.pk),
    )
    shown = words(clerk, page)
    assert "Tell those to whom sets of 1 box were passed on" in shown
    part = shown[shown.index('id="passed"') :]
    part = part[: part.index("</ul>")]
    assert "2 sets: <strong>Ward 7, next door</strong>" in part
    assert f"said by {whom.name}, M. Ward" in part
    assert part.count("<li>") == 1  # the other consignee is told as any other
    reply(case, whom, *lines(box, used=6))
    assert "Passed on, as was answered" not in words(clerk, page)


def test_what_did_not_come_back_after_all_is_answered_for_again() -> None:
    whom = factories.make_consignee()
    box, other = sent_to(whom, 2)
    case = case_on(box, other)
    services.want_replies(number=case.number, days=1, sign=sign())
    later = timezone.localdate() + timedelta(days=1000)
    cage = factories.make_place(PlaceKind.QUARANTINE)
    came = {"sets": 4, "opened": True, "place_id": cage.pk, "note": "Recall"}
    returns.record_return(box_id=box.pk, **came, sign=sign())
    reply(case, whom, *lines(box, used=2), *lines(other, used=6))
    assert follow_up.late(later) == []
    row = Return.objects.get()
    returns.undo_return(return_id=row.pk, reason="Another box", sign=sign())
    [late] = follow_up.late(later)
    assert (late.code, late.boxes) == (whom.code, 1)
    [asked] = follow_up.follow_up(case, later).late
    assert (asked.consignee, asked.to_answer) == (whom, 1)
    reply(case, whom, *lines(box, used=6))
    assert follow_up.late(later) == []


def test_a_consignee_reads_what_the_letter_to_it_says(client: Client) -> None:
    named_workshop()
    whom = factories.make_consignee()
    [box] = sent_to(whom)
    case = case_on(box)
    address = links.path_of(case, whom)
    assert "A visor cracks" in words(client, address)
    type(whom).objects.filter(pk=whom.pk).update(language="de")
    whom.refresh_from_db()
    write(case, whom)
    shown = words(client, address)
    for said in TEXTS["de"]:
        assert said in shown
    assert "A visor cracks" not in shown


def test_a_link_is_good_again_with_the_case(client: Client) -> None:
    whom = factories.make_consignee()
    [box] = sent_to(whom)
    case = case_on(box)
    address = links.path_of(case, whom)
    closed(case, box)
    assert client.get(address).status_code == 404
    reopen_case(number=case.number, reason="A second ward", sign=sign())
    assert client.get(address).status_code == 200
