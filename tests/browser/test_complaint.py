"""A ward calls: a clerk takes it down, a quality officer opens a case from it."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from dispatch.models import Case, Complaint
from kitting.ledger.setup import ensure_workshop
from kitting.models import Box, Hold
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def sent(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Box:
    """A box at a ward, sent now: the server reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    for name, role in (("clerk", "clerk"), ("quality", "quality officer")):
        factories.make_person(role, name=name)
    box = factories.make_labelled_box()
    whom = factories.make_consignee("Thornwick Children's")
    factories.send(factories.make_shipment(box, consignee=whom))
    return box


def sign_in(page: Page, address: str, name: str) -> None:
    page.context.clear_cookies()
    page.goto(f"{address}/sign-in/?next=/recall/")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/recall/")


def test_a_complaint_becomes_a_case(page: Page, live_server, sent: Box) -> None:
    sign_in(page, live_server.url, "clerk")
    page.get_by_role("link", name="Complaints: what wards say").click()
    page.get_by_role("link", name="Take a complaint down").click()
    page.get_by_label("What happened").fill("The visor cracked on a face")
    page.get_by_label("somebody could have been hurt").check()
    page.get_by_label("Who says so").fill("Sister, Ward 3")
    page.fill("input[name=about]", str(sent.serial))
    page.get_by_label("Consignee").select_option(label="Thornwick Children's")
    page.get_by_role("button", name="Take it down").click()
    page.wait_for_url(re.compile("/complaints/F[0-9]"))
    expect(page.get_by_text("Tell them its number.")).to_be_visible()
    row = Complaint.objects.get()
    expect(page.get_by_role("link", name="Open a case from it")).to_have_count(0)
    page.get_by_role("link", name="Trace what it is about").click()
    expect(page.get_by_text("Thornwick Children's").first).to_be_visible()
    sign_in(page, live_server.url, "quality")
    page.goto(f"{live_server.url}/complaints/")
    page.get_by_role("link", name=row.number).click()
    page.get_by_role("link", name="Open a case from it").click()
    hazard = page.get_by_label("What can happen to whom")
    expect(hazard).to_have_value("The visor cracked on a face")
    page.get_by_role("button", name="Open the case").click()
    page.wait_for_url(re.compile("/recall/cases/V[0-9]"))
    expect(page.get_by_role("link", name=row.number)).to_be_visible()
    case = Case.objects.get()
    assert Hold.objects.get().box == sent
    assert case.boxes.get().consignee.name == "Thornwick Children's"
    page.get_by_role("link", name=row.number).click()
    expect(page.get_by_text("Decided: followed in a case.")).to_be_visible()
