"""The quality officer reduces an inspection; a checker counts on the smaller sample."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from kitting.checking.queries.switching import states_of
from kitting.ledger.setup import ensure_workshop
from kitting.lots.services.lots import NewBag
from kitting.models import Lot, Switching
from tests import factories
from tests.browser.test_inspection import TABLET, sign_in
from tests.browser.walking import Walker

pytestmark = pytest.mark.django_db(transaction=True)

OF = "/inspection/?part=HB&source=Print%20bench"


@pytest.fixture
def lot(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Lot:
    """Ten lots accepted, and one of 500 that waits.

    Letter H of MIL-STD-105E at AQL 1.0: 50 pieces 1/2, reduced 20 pieces 0/2.
    """
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("checker", name="checker")
    factories.make_person("quality officer", name="quality")
    factories.make_kind(name="Scratched")
    revision = factories.sampled_revision(code="HB", name="Headband")
    for _ in range(10):
        factories.accept(factories.make_lot(revision, bags=(NewBag(500),)))
    bags = (NewBag(300), NewBag(200))
    return factories.make_lot(revision, number="HB-7", bags=bags)


def go_there(page: Page, address: str, who: str) -> None:
    sign_in(page, address, who, "/inspection/")
    page.goto(f"{address}{OF}")


def reduce_major(page: Page) -> None:
    page.get_by_role("link", name="Reduce for major").click()
    expect(page.locator(".answer")).to_contain_text("10 lots in a row")
    page.get_by_label("Why reduced inspection is wanted").fill("Good for weeks")
    page.get_by_label("Your password again").fill("pass")
    page.get_by_role("button", name="Begin reduced inspection").click()
    expect(page.locator(".wrong")).to_contain_text("at a steady rate only")
    page.get_by_label("Production is at a steady rate").check()
    page.get_by_label("Your password again").fill("pass")
    page.get_by_role("button", name="Begin reduced inspection").click()
    expect(page.locator(".why")).to_contain_text("Reduced: 10 lots in a row")


def test_the_officer_decides_and_a_lot_that_passes_only_just_ends_it(
    page: Page, live_server, lot: Lot
) -> None:
    page.set_viewport_size(TABLET)  # type: ignore[arg-type]
    walker = Walker(page, live_server.url)
    go_there(page, live_server.url, "quality")
    walker.look("What reduced inspection asks for")
    reduce_major(page)
    go_there(page, live_server.url, "checker")
    expect(page.locator(".standings")).to_contain_text("on reduced inspection")
    expect(
        page.get_by_role("link", name=re.compile("^(End|Reduce) for"))
    ).to_have_count(0)
    page.goto(f"{live_server.url}/lots/HB-7/check/")
    walker.look("Check a lot on reduced inspection")
    expect(page.locator(".plan")).to_contain_text("20")
    says = page.locator("[data-says]")
    page.locator("button[data-more]").filter(has_text="Scratched").click()
    expect(says).to_have_text(
        "By the plan the lot is accepted; its next lot is on normal inspection."
    )
    page.locator("button[data-more]").filter(has_text="Scratched").click()
    expect(says).to_have_text("By the plan the lot is rejected.")
    page.locator("button[data-less]").first.click()
    page.get_by_label(re.compile("^I looked at all")).check()
    page.get_by_role("button", name="Give the verdict").click()
    expect(page.locator("#main")).to_contain_text("Reduced inspection ends")
    page.goto(f"{live_server.url}{OF}")
    walker.look("After reduced inspection")
    expect(page.locator("rect.band-reduced, rect.band-normal")).to_have_count(11)
    assert walker.complaints == []
    assert walker.barriers == []
    state = states_of(lot.part_id, lot.source)["major"]
    assert (state.severity, state.why) == ("normal", "between_on_reduced")


def test_it_begins_and_ends_where_javascript_is_switched_off(
    browser: Browser, live_server, lot: Lot
) -> None:
    context = browser.new_context(java_script_enabled=False)
    try:
        page = context.new_page()
        go_there(page, live_server.url, "quality")
        reduce_major(page)
        page.get_by_role("link", name="End for major").click()
        page.get_by_label("Why normal inspection is needed again").fill("Printer moved")
        page.get_by_role("button", name="Back to normal inspection").click()
        expect(page.locator(".why")).to_contain_text("ended reduced inspection")
    finally:
        context.close()
    assert list(Switching.objects.order_by("pk").values_list("to", flat=True)) == [
        "reduced",
        "normal",
    ]
