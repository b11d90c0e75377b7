"""Who was told of a case is told that a hold of it is lifted."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.closing.queries.lifted import untold
from dispatch.domain.notices import Heard
from dispatch.models import Case, CaseCall, Consignee
from dispatch.notices.services.calls import note_call, undo_call
from kitting.ledger import holds
from kitting.models import Box, Hold, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.closing.test_closings import a_case, close, sent_box
from tests.dispatch.replies.replying import lines, reply
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

REACHED = Heard("reached", "Sister on duty")


def whom(box: Box) -> Consignee:
    return box.shipment_boxes.get(live=True).shipment.consignee


def call(case: str, box: Box, heard: Heard = REACHED) -> int:
    of = {"number": case, "consignee_id": whom(box).pk}
    note_call(**of, heard=heard, sign=sign())  # type: ignore[arg-type]
    return CaseCall.objects.latest("pk").pk


def lift(box: Box) -> None:
    hold = Hold.objects.get(box=box)
    holds.lift_hold(hold_id=hold.pk, reason="It is sound", sign=sign_by_another())


def still(case: str) -> list[list[Consignee]]:
    return [each.consignees for each in untold(Case.objects.get(number=case))]


def test_who_was_told_is_to_be_told_until_a_call_reaches_one() -> None:
    box, other = sent_box(), sent_box()
    case = a_case(box, other)
    call(case, box)
    call(case, other, Heard("no_answer"))
    assert still(case) == []
    lift(box)
    assert still(case) == [[whom(box)]]
    call(case, box, Heard("no_answer"))
    assert still(case) == [[whom(box)]]
    again = call(case, box)
    assert still(case) == []
    undo_call(call_id=again, reason="another ward", sign=sign())
    assert still(case) == [[whom(box)]]


def test_who_was_told_after_a_hold_was_lifted_never_heard_of_it() -> None:
    box, other = sent_box(), sent_box()
    case = a_case(box, other)
    lift(box)
    call(case, other)
    assert still(case) == []
    lift(other)
    assert still(case) == [[whom(other)]]


def test_the_pages_name_whom_to_tell(client_for: Callable[[User], Client]) -> None:
    box = sent_box()
    case = a_case(box)
    call(case, box)
    quality = client_for(factories.make_person("quality officer"))
    hold = Hold.objects.get(box=box)
    shown = text_of(quality.get(reverse("dispatch:lift", args=[hold.pk])))
    assert "are to be told that it is lifted" in " ".join(shown.split())
    assert whom(box).name in shown
    page = reverse("dispatch:case-detail", args=[case])
    assert "To be told that a hold is lifted" not in text_of(quality.get(page))
    lift(box)
    answer = quality.get(page)
    assert "To be told that a hold is lifted" in text_of(answer)
    to = reverse("dispatch:case-call", args=[case, whom(box).code])
    assert f'href="{to}"' in answer.content.decode()


def said_of(quality: Client, hold: Hold) -> str:
    page = reverse("dispatch:lift", args=[hold.pk])
    return " ".join(text_of(quality.get(page)).split())


LAST = "It is the last hold of the case, and 1 box of it"


def test_the_last_hold_says_what_nothing_recalls_any_more(
    client_for: Callable[[User], Client],
) -> None:
    box, here, freed = sent_box(), factories.make_labelled_box(), sent_box()
    a_case(box, here, freed)
    quality = client_for(factories.make_person("quality officer"))

    def said(of: Box) -> str:
        return said_of(quality, Hold.objects.get(box=of))

    assert "the last hold of the case" not in said(box)
    lift(here)
    lift(freed)
    assert f"{LAST} is not back" in said(box)


def test_it_says_nothing_of_what_another_hold_recalls(
    client_for: Callable[[User], Client],
) -> None:
    box = sent_box()
    a_case(box)
    mine = Hold.objects.get()
    quality = client_for(factories.make_person("quality officer"))
    lot = box.lines.get().lot_id
    holds.place_hold(target="lot", value=lot, reason="Cracks", sign=sign())
    other = Hold.objects.latest("pk")
    assert "the last hold of the case" not in said_of(quality, mine)
    holds.lift_hold(hold_id=other.pk, reason="Sound", sign=sign_by_another())
    assert f"{LAST} is not back" in said_of(quality, mine)


def test_it_says_nothing_of_what_is_used_or_closed(
    client_for: Callable[[User], Client],
) -> None:
    box, closed = sent_box(), sent_box()
    quality = client_for(factories.make_person("quality officer"))
    for one, end in ((box, used_up), (closed, given_up)):
        case = a_case(one)
        hold = Hold.objects.get(box=one)
        assert f"{LAST} is not back" in said_of(quality, hold)
        end(case, one)
        assert "the last hold of the case" not in said_of(quality, hold)


def used_up(case: str, box: Box) -> None:
    row = Case.objects.get(number=case)
    reply(row, whom(box), *lines(box, used=box.size.sets))


def given_up(case: str, box: Box) -> None:
    close(case, (box.pk, "Its ward is closed"))
