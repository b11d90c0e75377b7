"""What was signed says on paper who signed it, when, and what that means."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.models import Protocol, Signature
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def protocol(transactional_db: None) -> Protocol:
    ensure_workshop("Harrow Lane Workshop")
    factories.make_person("quality officer", name="officer")
    return factories.make_protocol()


def test_a_protocol_and_the_act_that_signed_it_show_all_three_in_print(
    page: Page, live_server, protocol: Protocol
) -> None:
    """21 CFR 11.50 (b): also on what is printed of a record."""
    signed = Signature.objects.get(protocol=protocol)
    act = signed.operation
    to = f"/protocols/{protocol.code}/{protocol.version}/"
    page.goto(f"{live_server.url}/sign-in/?next={to}")
    page.fill("input[name=username]", "officer")
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url(f"**{to}")
    page.emulate_media(media="print")
    day = f"{act.at:%Y-%m-%d}"
    for said in (f"{act.by_name}, {day}", signed.meaning):
        expect(page.get_by_text(said).first).to_be_visible()
    page.goto(f"{live_server.url}/journal/{act.link.seq}/")
    told = page.get_by_text(f"by {act.by_name} on {day}")
    expect(told).to_be_visible()
    expect(told).to_contain_text("Protocol signed")
