"""The page of a case says whom to call; a call is noted in a few touches."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from io import BytesIO
from zipfile import ZipFile

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import strip_tags

from dispatch.models import CaseCall, Consignee
from kitting.ledger import holds
from kitting.models import Hold, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.notices.calling import There, a_case, box_at, call
from tests.dispatch.notices.test_calls import passed
from tests.factories import sign_by_another

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def said(**entries: str) -> dict[str, str]:
    return {"op_key": str(uuid.uuid4()), "outcome": "reached", **entries}


@pytest.mark.smoke
def test_a_clerk_calls_and_notes_it(clerk: Client, there: There) -> None:
    box, consignee = there
    consignee.contact = "Stores, +44 (0)607 123 4567"
    consignee.night_contact = "Duty porter, extension 200"
    consignee.save()
    case = a_case(box)
    page = reverse("dispatch:case-detail", args=[case.number])
    address = reverse("dispatch:case-call", args=[case.number, consignee.code])
    shown = clerk.get(page)
    assert "0 of 1 consignee reached by telephone." in " ".join(text_of(shown).split())
    assert "not called yet" in text_of(shown)
    html = shown.content.decode()
    assert 'href="tel:+446071234567"' in html
    assert "extension 200" in html
    assert f'href="{address}"' in html
    assert str(box) in clerk.get(address).content.decode()
    key = said(spoke_to="Sister on duty", said="All in the cage", set_aside="on")
    for _ in range(2):  # the same twice
        answer = clerk.post(address, key, follow=True)
        assert answer.redirect_chain[-1][0] == f"{page}#whom"
    text = " ".join(text_of(answer).split())
    assert "1 of 1 consignee reached by telephone." in text
    assert "Sister on duty" in text
    assert "“All in the cage”<br>The boxes are in quarantine there." in text
    note = CaseCall.objects.get()
    assert (note.set_aside, note.stopped, note.told_on) == (True, False, False)
    calls = clerk.get(reverse("dispatch:case-calls", args=[case.number]))
    assert "Sister on duty" in text_of(calls)


def test_what_became_of_a_box_stands_right_behind_it(
    clerk: Client, there: There
) -> None:
    (gone, whom), other = there, factories.make_consignee(name="Eskmoor General")
    here, _same = box_at(whom)
    case = a_case(gone, here)
    passed(gone, other)
    page = reverse("dispatch:case-call", args=[case.number, whom.code])
    text = " ".join(strip_tags(clerk.get(page).content.decode()).split())
    assert f"{gone} passed on to Eskmoor General, {here}" in text
    free = Hold.objects.get(box=gone)
    holds.lift_hold(hold_id=free.pk, reason="Sound", sign=sign_by_another())
    html = clerk.get(page).content.decode()
    text = " ".join(strip_tags(html).split())
    assert f"{gone} passed on to Eskmoor General; no longer recalled, {here}" in text
    assert "Who was reached" in text
    assert "Who was reached (may stay empty)" not in text


@pytest.mark.smoke
def test_bad_input_is_said_at_the_field_and_writes_nothing(
    clerk: Client, there: There
) -> None:
    box, consignee = there
    case = a_case(box)
    address = reverse("dispatch:case-call", args=[case.number, consignee.code])
    for sent, words in (
        (said(), "Write who was reached"),
        (said(outcome=""), "Choose what came of the call."),
        (said(outcome="no_answer", stopped="on"), "Nobody was reached"),
    ):
        answer = clerk.post(address, sent)
        assert answer.status_code == 422
        assert words in text_of(answer)
        part = clerk.post(address, sent, headers={"HX-Request": "true"})
        assert part.status_code == 422
        assert "<html" not in part.content.decode()
    assert not CaseCall.objects.exists()


def test_a_note_is_undone_on_its_page(clerk: Client, there: There) -> None:
    box, consignee = there
    case = a_case(box)
    call(case, consignee)
    note = CaseCall.objects.get()
    address = reverse("dispatch:call-undo", args=[note.pk])
    page = reverse("dispatch:case-call", args=[case.number, consignee.code])
    assert f'href="{address}"' in clerk.get(page).content.decode()
    assert clerk.post(address, said()).status_code == 422
    answer = clerk.post(address, said(reason="Another ward"), follow=True)
    assert "not called yet" in text_of(answer)
    assert "Another ward" in text_of(clerk.get(page))
    assert f'href="{address}"' not in clerk.get(page).content.decode()
    assert clerk.post(address, said(reason="Again")).status_code == 409


def test_the_log_is_a_file(clerk: Client, there: There) -> None:
    box, consignee = there
    case = a_case(box)
    call(case, consignee)
    address = reverse("dispatch:case-calls", args=[case.number])
    lines = clerk.get(address, {"as": "csv"})
    body = b"".join(lines.streaming_content).decode()  # type: ignore[arg-type]
    row = body.splitlines()[1]
    assert (
        f",{consignee.code},{consignee.name},reached,Night sister,We stop,1,0,0," in row
    )
    book = clerk.get(address, {"as": "xlsx"})
    data = b"".join(book.streaming_content)  # type: ignore[arg-type]
    assert (
        "Night sister"
        in ZipFile(BytesIO(data)).read("xl/worksheets/sheet1.xml").decode()
    )


def test_others_are_kept_out(
    client_for: Callable[[User], Client], there: There
) -> None:
    box, consignee = there
    case = a_case(box)
    call(case, consignee)
    note = CaseCall.objects.get().pk
    pages = [
        reverse("dispatch:case-calls", args=[case.number]),
        reverse("dispatch:case-call", args=[case.number, consignee.code]),
        reverse("dispatch:call-undo", args=[note]),
    ]
    packer = client_for(factories.make_person("packer"))
    quality = client_for(factories.make_person("quality officer"))
    for page in pages:
        assert Client().get(page).status_code == 302
        assert packer.get(page).status_code == 403
        assert packer.post(page, said(spoke_to="x", reason="x")).status_code in {
            403,
            405,
        }
        assert quality.get(page).status_code == 200
    assert CaseCall.objects.count() == 1
    other = factories.make_consignee()
    for name, args in (
        ("case-calls", ["K999"]),
        ("case-call", [case.number, "NOBODY"]),
        ("case-call", [case.number, other.code]),
        ("call-undo", [note + 1]),
    ):
        address = reverse(f"dispatch:{name}", args=args)
        assert quality.get(address).status_code == 404


def test_a_consignee_page_says_what_is_recalled_and_there(clerk: Client) -> None:
    (bad, at), (other, giver), (sound, elsewhere) = box_at(), box_at(), box_at()
    case = a_case(bad, other, sound)
    passed(other, at)
    free = Hold.objects.get(box=sound)
    holds.lift_hold(hold_id=free.pk, reason="Sound", sign=sign_by_another())

    def said(whom: Consignee) -> str:
        page = reverse("dispatch:consignee-detail", args=[whom.code])
        html = text_of(clerk.get(page)).replace("\u202f", "")
        return " ".join(re.sub(r"<[^>]+>", "", html).split())

    there = said(at)
    assert "Recalled, and there now" in there
    assert f"2 boxes: {bad.serial}, {other.serial}" in there
    page = clerk.get(reverse("dispatch:consignee-detail", args=[at.code]))
    call_page = reverse("dispatch:case-call", args=[case.number, at.code])
    assert call_page in page.content.decode()
    for whom in (giver, elsewhere):
        assert "Recalled, and there now" not in said(whom)
