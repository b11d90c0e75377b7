"""Who is alone with a case reads whom to fetch; the day says who is not reached yet."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.consignees.services.consignees import merge_consignees
from dispatch.domain.notices import Heard
from dispatch.notices.queries.left import left_to_call
from dispatch.notices.queries.whom import whom
from dispatch.recall.services import widen_case
from kitting.ledger import holds
from kitting.models import Box, Hold, User, Workshop
from tests import factories
from tests.assertions import text_of
from tests.dispatch.closing.test_closings import close
from tests.dispatch.notices.calling import There, a_case, box_at, call, came_back
from tests.dispatch.notices.test_calls import passed
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

DAY = reverse("kitting:day")


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def words(client: Client, address: str) -> str:
    return " ".join(text_of(client.get(address)).split())


def test_a_clerk_reads_who_decides_and_the_number_for_the_night(
    clerk: Client, client_for: Callable[[User], Client], box: Box
) -> None:
    officer = factories.make_person("quality officer", "quinn")
    gone = factories.make_person("manager", "gone")
    gone.is_active = False
    gone.save()
    Workshop.objects.update(night_contact="+44 1632 960199")
    case = a_case(box)
    page = reverse("dispatch:case-detail", args=[case.number])
    for address in (page, reverse("dispatch:recall")):
        shown = words(clerk, address)
        assert f"{officer} (quality officer)" in shown
        assert "Number of the workshop at night: +44 1632 960199" in shown
        assert str(gone) not in shown
        assert "is for:" not in words(client_for(officer), address)


def test_the_day_says_how_many_are_not_reached(
    clerk: Client, there: There, there_too: There
) -> None:
    (box, first), (other, second) = there, there_too
    assert "not reached yet" not in words(clerk, DAY)
    case = a_case(box, other)
    assert "2 consignees are not reached yet." in words(clerk, DAY)
    page = reverse("dispatch:case-detail", args=[case.number])
    assert f'href="{page}"' in words(clerk, DAY)
    call(case, first)
    call(case, second, Heard("no_answer"))
    assert "1 consignee is not reached yet." in words(clerk, DAY)
    close(case.number, (box.pk, "lost"), (other.pk, "lost"))
    assert "not reached yet" not in words(clerk, DAY)


def test_the_day_counts_as_the_page_of_the_case_does() -> None:
    (box, giver), (back, returner), (sound, _free) = box_at(), box_at(), box_at()
    later, double = box_at()
    other = factories.make_consignee()
    case = a_case(box, back, sound)
    passed(box, other)
    came_back(back, opened=True)

    def alike() -> int:
        [left] = left_to_call()
        assert left.to_call == sum(one.is_to_call for one in whom(case))
        return left.to_call

    assert alike() == 4  # giver, other, returner and free
    hold = Hold.objects.get(box=sound)
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    assert alike() == 3
    for one in (giver, other, returner):
        call(case, one)
    assert alike() == 0
    merge_consignees(code=double.code, into_id=giver.pk, reason="one", sign=sign())
    widen_case(
        number=case.number, scope=[("box", later.pk)], reason="also", sign=sign()
    )
    assert alike() == 1
    call(case, giver)
    assert alike() == 0


def test_the_day_counts_who_got_a_box_after_a_call(
    there: There, there_too: There
) -> None:
    (box, giver), (other, taker) = there, there_too
    (more, ward), third = box_at(), factories.make_consignee()
    case = a_case(box, other, more)
    for one in (giver, taker, ward):
        call(case, one)

    def alike() -> int:
        [left] = left_to_call()
        assert left.to_call == sum(one.is_to_call for one in whom(case))
        return left.to_call

    assert alike() == 0
    passed(box, taker)
    assert alike() == 1
    call(case, taker)
    assert alike() == 0
    passed(box, giver)  # both were told of it while they had it
    passed(box, taker)
    assert alike() == 0
    passed(more, third)
    assert alike() == 1
    merge_consignees(code=third.code, into_id=ward.pk, reason="one", sign=sign())
    assert alike() == 0


def test_the_quality_officer_brings_in_what_a_case_holds(
    client_for: Callable[[User], Client], box: Box
) -> None:
    case = a_case(box)
    address = reverse("dispatch:case-bring", args=[case.number])
    officer = client_for(factories.make_person("quality officer"))
    assert officer.get(address).status_code == 200
    page = reverse("dispatch:case-detail", args=[case.number])
    assert f'href="{address}"' in words(officer, page)
