"""The call sheet of a case: whom to call, about what, and what was said so far."""

from __future__ import annotations

from collections.abc import Callable

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from dispatch.domain.notices import Heard
from dispatch.models import Case
from kitting.models import Box, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.closing.test_closing_pages import bare
from tests.dispatch.notices.calling import There, a_case, box_at, call
from tests.dispatch.notices.test_calls import passed

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def sheet(client: Client, case: Case) -> str:
    answer = client.get(reverse("dispatch:case-call-sheet", args=[case.number]))
    assert answer.headers["Content-Type"] == "application/pdf"
    pages = pypdfium2.PdfDocument(answer.content)
    return bare("".join(page.get_textpage().get_text_bounded() for page in pages))


def test_the_sheet_says_whom_to_call_and_what_was_said(
    clerk: Client, there: There
) -> None:
    (box, consignee), other = there, factories.make_consignee(name="Eskmoor General")
    consignee.contact = "Stores, 01632 960204"
    consignee.night_contact = "Duty porter, 01632 960200"
    consignee.save()
    moved, _same = box_at(consignee)
    case = a_case(box, moved)
    passed(moved, other)
    call(case, consignee, Heard("reached", "Sister \N{THUMBS UP SIGN}", "In the cage"))
    text = sheet(clerk, case)
    sent = box.shipment_boxes.get(live=True).shipment
    day = f"{sent.sent_at:%Y-%m-%d}"
    for words in (
        f"Whom to call about recall case {case.number}",
        consignee.contact,
        consignee.night_contact,
        str(box),
        box.size.product.name,
        f"{sent.number} {day}",
        f"{moved.size.product.name}, passed on to Eskmoor General",
        "Sister ? – In the cage",
        "passed on by " + consignee.name,
        "What they said",
    ):
        assert bare(words) in text, words
    assert text.index(bare("1. Eskmoor General")) < text.index(bare(consignee.name))
    page = clerk.get(reverse("dispatch:case-detail", args=[case.number]))
    assert reverse("dispatch:case-call-sheet", args=[case.number]) in text_of(page)
    address = reverse("dispatch:case-call", args=[case.number, consignee.code])
    at = text_of(clerk.get(address))
    assert box.size.product.name in at
    assert day in at


def test_nobody_is_called_about_what_is_here(clerk: Client, box: Box) -> None:
    case = a_case(box)
    address = reverse("dispatch:case-call-sheet", args=[case.number])
    answer = clerk.get(address, follow=True)
    assert "No box of it is recalled from anybody." in text_of(answer)


def test_the_sheet_is_for_who_may_see_cases(
    client_for: Callable[[User], Client], client: Client, there: There
) -> None:
    box, _whom = there
    address = reverse("dispatch:case-call-sheet", args=[a_case(box).number])
    assert client.get(address).status_code == 302
    assert client_for(factories.make_person("packer")).get(address).status_code == 403
    assert client.get(address.replace("V", "K")).status_code == 302
